"""Versions of packs, and stretches of versions as people write them.

A version is numbers with dots: `1`, `1.2`, `1.2.0`. A stretch is one version, or two with `..` between, both ends
included; each end stands for every version that begins with it, so that `1.2..2` takes 1.2, 1.10 and 2.9 but not 3,
and `1.2` takes 1.2.5. An end that is left out is open: `1.2..` takes all from 1.2 on.
"""

from __future__ import annotations

import re

_VERSION = re.compile(r"[0-9]{1,9}(\.[0-9]{1,9}){0,5}")
#: how a stretch is written, for those who wrote something else
WRITTEN = '"1.2" for any 1.2, "1.2..2" for 1.2 to any 2, or "1.2.." for 1.2 or newer'


def is_version(text: str) -> bool:
    """Whether a text is numbers with dots."""
    return _VERSION.fullmatch(text) is not None


def is_stretch(text: str) -> bool:
    """Whether a text is a version, or a stretch of them."""
    least, dots, most = text.partition("..")
    if not dots:
        return is_version(text)
    if not (least or most) or any(end and not is_version(end) for end in (least, most)):
        return False
    return not (least and most) or not _newer(least, most)


def takes(stretch: str, version: str) -> bool:
    """Whether a stretch takes a version; nothing is in one that is none, and no text without numbers."""
    if not is_stretch(stretch) or not is_version(version):
        return False
    least, dots, most = stretch.partition("..")
    most = most if dots else least
    if least and older(version, least):
        return False
    return not most or not _newer(version, most)


def older(version: str, other: str) -> bool:
    """Whether a version comes before another."""
    first, second = _numbers(version), _numbers(other)
    places = max(len(first), len(second))  # 1.2 is 1.2.0
    return (*first, *[0] * places)[:places] < (*second, *[0] * places)[:places]


def _newer(version: str, end: str) -> bool:
    """Whether a version comes after all that begin with an end."""
    last = _numbers(end)
    begins = (*_numbers(version), *[0] * len(last))[: len(last)]
    return begins > last


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))
