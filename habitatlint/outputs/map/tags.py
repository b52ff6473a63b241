"""SVG as text: tags with their attributes escaped, and figures as short as a hundredth of a millimetre allows."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from html import escape


def tag(name: str, inner: str = "", /, **attributes: object) -> str:
    """An element: `stroke_width=0.3` is written `stroke-width=".3"`, `class_` is `class`; what is None or "" is left
    out, numbers are lengths in millimetres. `inner` is markup already; attributes are escaped here."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_attribute(value)}"'
        for key, value in attributes.items()
        if value is not None and value != ""
    )
    return f"<{name}{written}>{inner}</{name}>" if inner else f"<{name}{written}/>"


def path(d: str, **attributes: object) -> str:
    """A path of strokes, not filled unless it says so; nothing for no strokes."""
    return tag("path", d=d, **{"fill": "none", **attributes}) if d else ""


def group(inner: str, x: float, y: float, turn: float = 0.0, /, **attributes: object) -> str:
    """What is drawn about an origin, set at a place and turned by degrees."""
    turned = f"rotate({figure(turn)})" if turn else ""
    return tag("g", inner, transform=f"translate({figure(x)} {figure(y)}){turned}", **attributes)


def words(text: str, **attributes: object) -> str:
    """A line of text; without its attributes escaped, `text` is whatever a person wrote."""
    return tag("text", escape(text), **attributes)


def haloed(text: str, wide: float, **attributes: object) -> str:
    """A line of text with white about its letters, so that it reads on whatever lies beneath."""
    return words(text, stroke="#FFFFFF", stroke_width=wide, stroke_linejoin="round", paint_order="stroke", **attributes)


def dashes(lengths: Sequence[float]) -> str:
    """The lengths of a dashed line's strokes and gaps, as `stroke-dasharray` has them."""
    return " ".join(figure(length) for length in lengths)


def _attribute(value: object) -> str:
    if isinstance(value, float | int) and not isinstance(value, bool):
        return figure(float(value))
    return escape(str(value), quote=True)


def figure(value: float) -> str:
    """A length in millimetres to a hundredth."""
    return hundredths(round(value * 100))


def hundredths(value: int) -> str:
    """A count of hundredths as a figure: 120 is 1.2."""
    whole, part = divmod(abs(value), 100)
    text = f"{whole or ''}.{part:02d}".rstrip("0") if part else str(whole)
    return f"-{text}" if value < 0 else text


def steps_written(values: Sequence[int]) -> list[str]:
    """Counts of hundredths as they follow another figure: with a blank unless a sign parts them."""
    common = _common()
    most = len(common) // 2
    return [common[value] if -most <= value <= most else _step(value) for value in values]


@cache
def _common() -> list[str]:
    """The steps that are written most, by their counts; negative ones stand from the end."""
    return [_step(value) for value in (*range(1001), *range(-1000, 0))]


def _step(value: int) -> str:
    text = hundredths(value)
    return text if value < 0 else f" {text}"
