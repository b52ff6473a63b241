"""Which findings came, went and stayed between two plans: known by their rule and the blocks they are on, as in a
baseline."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal, NamedTuple

from habitatlint.check import Report
from habitatlint.findings import Finding
from habitatlint.outputs.baseline import Content, content

#: what may be a block's name
_NAME = re.compile(r"[a-z][a-z0-9-]*")


class FindingChange(NamedTuple):
    """What became of a finding; `before` and `after` are None where the plan does not have it. Waived ones count."""

    before: Finding | None
    after: Finding | None

    @property
    def what(self) -> Literal["came", "went", "stayed"]:
        return "came" if self.before is None else "went" if self.after is None else "stayed"

    @property
    def finding(self) -> Finding:
        """The finding as it is, or as it was where it is gone."""
        finding = self.after or self.before
        assert finding is not None
        return finding

    @property
    def graver(self) -> bool:
        return self.before is not None and self.after is not None and self.after.level > self.before.level

    @property
    def lighter(self) -> bool:
        return self.before is not None and self.after is not None and self.after.level < self.before.level


def finding_changes(before: Report, after: Report, names: Mapping[str, str]) -> tuple[FindingChange, ...]:
    """Every finding of two plans, the later one's in their order and then what went. `names` leads from a block's
    name in the earlier plan to the one it has now."""
    left: dict[Content, list[Finding]] = {}
    for finding in sorted(_every(before), key=lambda one: (-one.level, one.order)):
        left.setdefault(_renamed(content(finding), names), []).append(finding)
    partners: dict[int, Finding] = {}
    ours = _every(after)
    for finding in sorted(ours, key=lambda one: (-one.level, one.order)):
        held = left.get(content(finding))
        if held:
            partners[id(finding)] = held.pop(0)
    changes = [FindingChange(partners.get(id(finding)), finding) for finding in ours]
    went = sorted((one for held in left.values() for one in held), key=lambda one: one.order)
    return (*changes, *(FindingChange(finding, None) for finding in went))


def _renamed(found: Content, names: Mapping[str, str]) -> Content:
    """What a finding is known by, with the names that its blocks have now, in its words too."""
    on = tuple(sorted(names.get(name, name) for name in found.on))
    words = tuple(_NAME.sub(lambda name: names.get(name[0], name[0]), text) for text in found.words)
    return Content(found.rule, on, words)


def _every(report: Report) -> list[Finding]:
    return sorted((*report.findings, *report.waived), key=lambda one: one.order)
