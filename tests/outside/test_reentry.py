"""How long people stay out where several products are used.

Source: 40 CFR 170.112 (the number before 2017): "the restricted-entry interval shall be the longest of the
applicable intervals". It binds agricultural employers; how long a product keeps people out is its label's.
"""

from __future__ import annotations

import pytest

from habitatlint.measures.herbicide import longest


def test_twelve_and_forty_eight_hours_are_forty_eight() -> None:
    assert longest([12.0, 48.0]) == 48.0
    assert longest([48.0, 12.0]) == 48.0


def test_of_no_product_there_is_no_interval() -> None:
    with pytest.raises(ValueError):
        longest([])
