"""The plan language as pages for people: its blocks, and what one of them may say."""

from __future__ import annotations

import textwrap

from habitatlint.language.blocks import BLOCKS, Block
from habitatlint.language.reference import SINGLE_LINES, entries
from habitatlint.reading.grammar import Grammar, listed

WIDTH = 100


def _wrapped(text: str, first: str, indent: int) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def listing() -> str:
    """Every block by its noun, then the single lines."""
    longest = max(len(block.noun) for block in BLOCKS)
    lines = [f"  {block.noun:<{longest}}  {block.says}" for block in BLOCKS]
    lines += ["", "Lines that stand by themselves at the margin:"]
    for line, says in SINGLE_LINES:
        lines += [f"  {line}", f"      {says}"]
    lines += ["", "`habitatlint words NOUN` shows what a block may say"]
    return "".join(f"{line}\n" for line in lines)


def block_page(block: type[Block], grammar: Grammar) -> str:
    """One block: what it is, and each of its properties with how it is written."""
    lines = [f"{block.noun}: {block.says}", ""]
    found = entries(block, grammar)
    longest = max(len(entry.word) for entry in found)
    for entry in found:
        marks = [word for word, given in (("must be there", entry.required), ("repeats", entry.repeats)) if given]
        tail = f" ({', '.join(marks)})" if marks else ""
        lines += _wrapped(f"{entry.says}{tail}", f"  {entry.word:<{longest}}  ", longest + 4)
        lines += _wrapped(entry.written, " " * (longest + 6), longest + 6)
    if block.must:
        ways = listed([" and ".join(f"`{word}`" for word in ways) for ways in block.must], "or")
        lines += ["", f"It must have {ways}."]
    return "".join(f"{line}\n" for line in lines)
