"""XML in a stream, without what could reach out of the file: no DOCTYPE, no entities, no files from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from typing import Any
from xml.etree.ElementTree import Element, ParseError
from xml.sax.saxutils import escape, quoteattr

from habitatlint.exchange.features import NAMESPACE, ExchangeTrouble, plain_text

#: elements nested deeper than this are no map
DEEPEST = 60


def elements(data: bytes) -> Iterator[tuple[str, Element, list[Element]]]:
    """`start` and `end` of every element, with those it lies in, the outermost first.

    At its end an element is whole. What the reader of it has done with, it gives back by `drop`, so that memory
    holds no more than one thing of the file at a time. Raises ExchangeTrouble, with a reason and a remedy, for what
    is no XML.
    """
    # the parser that refuses what XML can do to its reader
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    above: list[Element] = []
    try:
        for event, element in iterparse(BytesIO(data), ("start", "end"), forbid_dtd=True):
            if event == "end":
                above.pop()
            elif len(above) >= DEEPEST:
                raise ExchangeTrouble(f"its elements nest deeper than {DEEPEST}; save it anew from a map program")
            yield event, element, above
            if event == "start":
                above.append(element)
    except DefusedXmlException:
        raise ExchangeTrouble(
            "has a DOCTYPE or entities, which can reach out of the file and are not read; save it anew without"
        ) from None
    except (ParseError, LookupError, ValueError) as error:
        where = f":{error.position[0]}" if isinstance(error, ParseError) else ""
        raise ExchangeTrouble(f"{where} cannot be read: no whole XML ({_said(error)}); save it anew".lstrip()) from None


def _said(error: Exception) -> str:
    return plain_text(str(error).partition(":")[0].lower(), 80)


def drop(element: Element, above: list[Element]) -> None:
    """Gives back what an element held."""
    if above:
        above[-1].remove(element)


def local(element: Element) -> str:
    """An element's name without its name space."""
    tag: Any = element.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def child(element: Element, name: str) -> str:
    """The text of a child by its local name, "" where there is none."""
    return next((one.text or "" for one in element if local(one) == name), "")


def own_properties(element: Element | None) -> dict[str, str]:
    """What stands below an element in this program's own name space."""
    if element is None:
        return {}
    return {local(one): one.text or "" for one in element if str(one.tag).startswith(f"{{{NAMESPACE}}}")}


def text(words: str) -> str:
    return escape("\n".join(plain_text(line, 4000) for line in words.splitlines()))


def attribute(words: str) -> str:
    return quoteattr(plain_text(words, 4000))
