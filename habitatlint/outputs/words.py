"""The plan language as pages for people: its blocks, and what one of them may say."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from habitatlint.language.blocks import BLOCKS, Block
from habitatlint.language.plan import LAYOUT
from habitatlint.language.reference import ANY, SINGLE_LINES, WORK, entries
from habitatlint.measures.vocabulary import Vocabulary
from habitatlint.outputs.sentences import wrapped
from habitatlint.reading.grammar import Grammar, listed

WIDTH = 100


def listing() -> str:
    """Every block by its noun, then the single lines."""
    longest = max(len(block.noun) for block in BLOCKS)
    lines = [f"  {block.noun:<{longest}}  {block.says}" for block in BLOCKS]
    lines += ["", "Lines that stand by themselves at the margin:"]
    for line, says in SINGLE_LINES:
        lines += [f"  {line}", f"      {says}"]
    lines += ["", "`habitatlint words NOUN` shows what a block may say"]
    return "".join(f"{line}\n" for line in lines)


def single_page(noun: str) -> str:
    """A line that stands by itself at the margin: how it is written and what it does; "" for no such."""
    return "".join(f"{line}\n    {says}\n" for line, says in SINGLE_LINES if line.split()[0] == noun)


def rule_listing(vocabulary: Vocabulary) -> str:
    """What rules may look at: every plural with its fields, and every measure."""
    lines = ["What a rule may look at with `each x in PLURAL`, and the fields of each thing:", ""]
    for plural, fields in sorted(vocabulary.fields.items()):
        shown = ", ".join(sorted(name for name, kind in fields.items() if kind != "truth"))
        lines += wrapped(shown, f"  {plural:<12}  ", 16, WIDTH)
        words = sorted(name for name, kind in fields.items() if kind == "truth")
        if words:
            lines += wrapped(f"`is` {listed(words, 'or')}", " " * 16, 16, WIDTH)
    lines += ["", "Measures, with what they take and what they give:", ""]
    for name, one in sorted(vocabulary.measures.items()):
        answer = listed([f"`{word}`" for word in sorted(one.words)], "or") if one.words else f"a {one.gives}"
        parts = f", with {listed(sorted(one.parts), 'and')}" if one.parts else ""
        lines += wrapped(f"{name}({', '.join(one.takes)}): {answer}{parts}", "  ", 4, WIDTH)
        lines += wrapped(one.says.split(". ")[0].rstrip(".") + ".", "      ", 6, WIDTH)
    lines += ["", "A field or measure that may be missing is tested by `is missing`; `today` and `plan` are known too."]
    return "".join(f"{line}\n" for line in lines)


#: how parts of a rule's line are called where its form is shown
_PARTS = {
    "STRING": '"..."', "_evidence": "EVIDENCE", "sum": "FIGURE", "ref": "THING", "RULE_LIMIT": "RULE.LIMIT",
    "limit_value": "VALUE", "_written": "VALUE",
}  # fmt: skip


def rule_lines(grammar: str, lines: Mapping[str, str], packs: Mapping[str, str], heads: Mapping[str, str]) -> str:
    """The lines that a rule, its examples and a pack may have: how each is written, by the grammar's own text, and what
    it is. What may be left out stands in brackets."""
    forms = _Forms(grammar)
    told: list[str] = []
    for head, wanted, says in (
        ("What a rule's own lines are, and how they are written:", "rule_property", lines),
        ("What begins a rule, and its examples below it:", "block", heads),
        ("What a pack says in `pack.rules`:", "pack_property", packs),
    ):
        told += [head, ""]
        for word, form in forms.of(wanted):
            told += wrapped(form, "  ", 6, WIDTH)
            told += wrapped(says[word], "      ", 6, WIDTH)
        told.append("")
    told += wrapped(
        "THING is a name such as `t`, a field such as `t.fallen`, or what was measured; FIGURE a quantity, a measure "
        "or a sum of them; PLURAL and the measures stand above; EVIDENCE is "
        f"{listed(forms.words('_evidence'), 'or')}; CONDITION is comparisons and `is`, with `and`, `or`, `not`.",
        "", 0, WIDTH,
    )  # fmt: skip
    return "".join(f"{line}\n" for line in told)


class _Forms:
    """A grammar's rules as people read them: words as they are, parts in capitals, `[...]` for what may be left out,
    `X ...` for what may come again."""

    def __init__(self, grammar: str) -> None:
        text = re.sub(r"\s*//[^\n]*", "", grammar)
        found = re.findall(r"^[?!]*(\w+): *((?:[^\n]|\n\s+\|)*)", text, re.MULTILINE)
        self._rules = {name: re.findall(r'"[^"]*"|->|\w+|[()|?*+]', body) for name, body in found}

    def of(self, name: str) -> Iterator[tuple[str, str]]:
        """Every line that a rule of the grammar stands for, by the word that it begins with."""
        tokens = self._rules[name]
        if tokens[0].startswith('"'):
            yield tokens[0].strip('"'), self._form(name)
            return
        for token in tokens:
            if token.endswith("_head") or (name != "block" and token in self._rules and token != "filled"):
                yield from self.of(token)

    def words(self, name: str) -> list[str]:
        return [f"`{token[1:-1]}`" for token in self._rules[name] if token.startswith('"')]

    def _form(self, name: str) -> str:
        return self._choice([*self._rules[name]])

    def _choice(self, tokens: list[str]) -> str:
        """Reads alternatives from the front of the tokens, up to the bracket that ends them."""
        ways = [self._run(tokens)]
        while tokens and tokens[0] == "|":
            tokens.pop(0)
            ways.append(self._run(tokens))
        return ways[0] if len(ways) == 1 else " or ".join(ways)

    def _run(self, tokens: list[str]) -> str:
        said: list[str] = []
        while tokens and tokens[0] not in "|)":
            token = tokens.pop(0)
            if token == "->":  # what the node is called, nothing that is written
                tokens.pop(0)
                continue
            if token == "(":
                part = self._choice(tokens)
                tokens.pop(0)
            else:
                part = self._part(token)
            sign = tokens.pop(0) if tokens and tokens[0] in "?*+" else ""
            part = f"({part})" if token == "(" and " or " in part and sign != "?" else part
            many = f"{part} ..." if sign in ("*", "+") else part
            said.append(f"[{many}]" if sign in ("?", "*") else many)
        return " ".join(said).replace(" ,", ",")

    def _part(self, token: str) -> str:
        if token.startswith('"'):
            return token[1:-1]
        if token in _PARTS:
            return _PARTS[token]
        if token in self._rules and (token.startswith("_") or token in ("other", "set_here")):
            return self._form(token)
        return token.upper()


def block_page(block: type[Block], grammar: Grammar) -> str:
    """One block: what it is, how it begins, and each of its properties with how it is written. Of what any block may
    say, whole lines stand only where it is work."""
    lines = [f"{block.noun}: {block.says}", "", f"It begins with: {_head(block)}", ""]
    own = ("step",) if block.noun == "work" else ()
    found = [one for one in entries(block, grammar) if block.noun in WORK or one.word not in ANY or one.word in own]
    longest = max((len(entry.word) for entry in found), default=0)
    for entry in found:
        marks = [word for word, given in (("must be there", entry.required), ("repeats", entry.repeats)) if given]
        tail = f" ({', '.join(marks)})" if marks else ""
        lines += wrapped(f"{entry.says}{tail}", f"  {entry.word:<{longest}}  ", longest + 4, WIDTH)
        lines += wrapped(entry.written, " " * (longest + 6), longest + 6, WIDTH)
    if block.must:
        ways = listed([" and ".join(f"`{word}`" for word in ways) for ways in block.must], "or")
        lines += ["", f"It must have {ways}."]
    if block.noun not in WORK and block.noun not in ("plan", "work"):
        lines += ["", f"As any block it may also say {listed([f'`{word}`' for word in ANY], 'and')}."]
    # where there is nothing to list, one blank line is enough
    kept = [line for number, line in enumerate(lines) if line or (number and lines[number - 1])]
    return "".join(f"{line}\n" for line in kept)


def _head(block: type[Block]) -> str:
    """How a block begins, as a pattern; what may be left out stands in brackets."""
    _, _, after = LAYOUT.heads[block.noun].partition(" ")
    if after.startswith('"'):
        return f'{block.noun} "TITLE"'
    if after[:1].isdigit():
        return f'{block.noun} DATE ["TITLE"], such as `{block.noun} 2027-05-14`'
    return f'{block.noun} NAME ["TITLE"]' if after else f'{block.noun} ["TITLE"]'
