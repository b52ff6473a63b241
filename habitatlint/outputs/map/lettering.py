"""How wide words are in the map's type, so that labels can be kept apart before anything is printed.

Advance widths of the printable ASCII characters in the two cuts that ship (thousandths of the type size); an
accented letter is as wide as its base, and what the type does not have is taken as wide as its widest letter.
"""

from __future__ import annotations

import unicodedata
from functools import cache

FAMILY = "Atkinson Hyperlegible Next"
#: height of capitals and of small letters, as shares of the type size
CAPITALS, SMALL = 0.668, 0.496

_FIRST = 32
_REGULAR = (
    280, 286, 301, 651, 592, 919, 731, 160, 299, 299, 485, 606, 210, 362, 210, 387, 648, 407, 548,
    576, 614, 588, 598, 510, 615, 595, 210, 210, 553, 628, 553, 480, 778, 626, 613, 645, 669, 569,
    552, 694, 694, 392, 512, 631, 541, 824, 693, 714, 592, 724, 614, 592, 558, 690, 593, 856, 623,
    575, 607, 317, 387, 344, 552, 372, 243, 525, 566, 485, 564, 538, 314, 558, 550, 252, 245, 492,
    262, 845, 550, 548, 566, 574, 349, 471, 326, 540, 461, 684, 481, 449, 460, 344, 237, 344, 555,
)  # fmt: skip
_BOLD = (
    312, 303, 390, 765, 610, 969, 725, 210, 335, 335, 485, 595, 271, 373, 272, 440, 659, 440, 579,
    600, 624, 607, 626, 537, 624, 571, 272, 272, 569, 612, 569, 547, 781, 678, 643, 658, 688, 597,
    566, 718, 701, 424, 561, 663, 552, 858, 717, 746, 629, 756, 650, 610, 607, 686, 644, 886, 685,
    650, 618, 340, 440, 344, 582, 400, 288, 552, 596, 510, 596, 563, 365, 593, 571, 300, 259, 555,
    318, 882, 571, 576, 596, 599, 376, 508, 376, 567, 530, 740, 539, 521, 505, 381, 254, 381, 537,
)  # fmt: skip


def advance(text: str, size: float, bold: bool = False) -> float:
    """How wide a text is in type of a size, in the size's unit."""
    return size * sum(_width(character, bold) for character in text) / 1000


@cache
def _width(character: str, bold: bool) -> int:
    table = _BOLD if bold else _REGULAR
    if unicodedata.combining(character):
        return 0
    base = unicodedata.normalize("NFD", character)[0]
    place = ord(base) - _FIRST
    return table[place] if 0 <= place < len(table) else 1000
