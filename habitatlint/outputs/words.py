"""The plan language as pages for people: its blocks, and what one of them may say."""

from __future__ import annotations

from habitatlint.language.blocks import BLOCKS, Block
from habitatlint.language.reference import SINGLE_LINES, entries
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
    """One block: what it is, and each of its properties with how it is written."""
    lines = [f"{block.noun}: {block.says}", ""]
    found = entries(block, grammar)
    longest = max(len(entry.word) for entry in found)
    for entry in found:
        marks = [word for word, given in (("must be there", entry.required), ("repeats", entry.repeats)) if given]
        tail = f" ({', '.join(marks)})" if marks else ""
        lines += wrapped(f"{entry.says}{tail}", f"  {entry.word:<{longest}}  ", longest + 4, WIDTH)
        lines += wrapped(entry.written, " " * (longest + 6), longest + 6, WIDTH)
    if block.must:
        ways = listed([" and ".join(f"`{word}`" for word in ways) for ways in block.must], "or")
        lines += ["", f"It must have {ways}."]
    return "".join(f"{line}\n" for line in lines)
