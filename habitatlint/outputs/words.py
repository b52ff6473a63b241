"""The plan language as pages for people: its blocks, and what one of them may say."""

from __future__ import annotations

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
