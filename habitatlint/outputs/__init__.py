"""What is shown of verdicts, one file a form; a table of the forms by name.

A form is a module with `render(verdicts, style) -> str`; it is imported when it is asked for.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from habitatlint.verdict import Verdict

if TYPE_CHECKING:  # only one form shows rules
    from habitatlint.rulebook.rules import Rule

#: form -> its module
FORMS = {
    "text": "habitatlint.outputs.text",
    "gnu": "habitatlint.outputs.gnu",
    "json": "habitatlint.outputs.json",
    "sarif": "habitatlint.outputs.sarif",
}


class Run(NamedTuple):
    """What is told of a run beside its verdicts.

    `status` is the command's exit status, `troubles` the files that could not be read, a line each; `baseline` is the
    path of the baseline it was held to, "" for none, and `gone` how many of its findings are found no more; `failing`
    says whether anything that it does not have fails the run. `rules` has, by name, every rule that was judged, for the
    form that shows them.
    """

    status: int = 0
    troubles: tuple[str, ...] = ()
    baseline: str = ""
    gone: int = 0
    failing: bool = False
    rules: Mapping[str, Rule] = {}

    @property
    def stale(self) -> str:
        """What is told where findings of the baseline are gone, else "". Written again beside what is new, it would
        accept that too."""
        if not self.gone:
            return ""
        findings = "1 finding of the baseline is" if self.gone == 1 else f"{self.gone} findings of the baseline are"
        return f"{findings} gone: {'mend what is new first, then write it again' if self.failing else 'write it again'}"


class Style(NamedTuple):
    """How to show: with colour or plain; seconds that the run took, for the summary; and what else is told of it."""

    colour: bool = False
    seconds: float | None = None
    run: Run = Run()


def render(form: str, verdicts: Sequence[Verdict], style: Style) -> str:
    """Verdicts in a form; KeyError for a form that is not in the table."""
    return str(importlib.import_module(FORMS[form]).render(verdicts, style))
