"""What is shown of reports, one file a form; a table of the forms by name.

A form is a module with `render(reports, style) -> str`; it is imported when it is asked for.
"""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from typing import NamedTuple

from habitatlint.check import Report

#: form -> its module
FORMS = {
    "text": "habitatlint.outputs.text",
    "gnu": "habitatlint.outputs.gnu",
    "json": "habitatlint.outputs.json",
}


class Style(NamedTuple):
    """How to show: with colour or plain; seconds that the run took, for the summary."""

    colour: bool = False
    seconds: float | None = None


def render(form: str, reports: Sequence[Report], style: Style) -> str:
    """Reports in a form; KeyError for a form that is not in the table."""
    return str(importlib.import_module(FORMS[form]).render(reports, style))
