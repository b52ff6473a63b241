"""Makes the syntax files in `examples/editors` of the language's own words, for Vim, Emacs and Kate without a server:
`python tests/editor/syntax_files.py`. A test holds those files to what this makes.

They colour by looks, line by line: what a word is where several are possible is left to the server.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple
from xml.sax.saxutils import quoteattr

from habitatlint.language.highlight import PLAN_FOLLOWS, RULE_FOLLOWS, RULE_LINES, Follows
from habitatlint.language.plan import LAYOUT
from habitatlint.reading.values import WINDS
from habitatlint.units import UNITS


class Words(NamedTuple):
    """A language's words: those that begin blocks, those that begin lines below them, and those that stand behind."""

    name: str
    title: str
    ending: str
    nouns: tuple[str, ...]
    properties: tuple[str, ...]
    values: tuple[str, ...]


def _behind(follows: Follows) -> set[str]:
    return {word for row in follows.values() for words in row.values() for word in words}


def _ordered(words: Iterable[str]) -> tuple[str, ...]:
    """Longest first of those that begin alike, so that whichever is tried first is the whole word."""
    return tuple(sorted(words, key=lambda word: (-len(word), word)))


PLANS = Words("habitat", "Habitat plan", "habitat", _ordered(LAYOUT.nouns), _ordered(LAYOUT.any_word),
              _ordered(_behind(PLAN_FOLLOWS)))  # fmt: skip
RULES = Words("habitat-rules", "Habitat rules", "rules", _ordered(RULE_LINES),
              _ordered(frozenset[str]().union(*RULE_LINES.values()) | LAYOUT.any_word),
              _ordered(_behind(RULE_FOLLOWS) | _behind(PLAN_FOLLOWS)))  # fmt: skip
LANGUAGES = (PLANS, RULES)

#: numbers with their units, dates and bearings, as far as looks tell
_UNITS = _ordered(unit for unit in UNITS if unit and unit != "%")
_NUMBER = rf"-?[0-9]+(\.[0-9]+)?([ ]?({'|'.join(re.escape(unit) for unit in _UNITS)})|%)?"
_BEARING = rf"({'|'.join(_ordered(WINDS))}|[NS][0-9]+(\.[0-9]+)?[EW])"
_MADE = "Made of the language's own words by tests/editor/syntax_files.py; do not edit it, make it again."


def vim() -> Mapping[str, str]:
    """Vim's syntax and its file types, by their paths in `~/.vim`."""
    files = {f"syntax/{one.name}.vim": _vim(one) for one in LANGUAGES}
    detect = "".join(f"autocmd BufRead,BufNewFile *.{one.ending} setfiletype {one.name}\n" for one in LANGUAGES)
    return {**files, "ftdetect/habitat.vim": f'" {_MADE}\n{detect}'}


def _vim(words: Words) -> str:
    groups = words.name.replace("-", "")

    def any_of(some: Iterable[str]) -> str:
        return r"\%(" + r"\|".join(word.replace("/", r"\/") for word in some) + r"\)"

    edge, number = r"\%([^a-z0-9-]\|$\)\@=", r"-\?\d\+\%(\.\d\+\)\?\%( \?" + any_of(_UNITS) + r"\|%\)\?"
    lines = [
        f'" {_MADE}',
        'if exists("b:current_syntax") | finish | endif',
        f"syntax match {groups}Value /\\<{any_of(words.values)}{edge}/",
        f"syntax match {groups}Number /\\%(\\w\\|-\\)\\@<!{number}\\%(\\w\\|-\\)\\@!/",
        f"syntax match {groups}Number /\\<{any_of(_ordered(WINDS))}\\>/",
        f"syntax match {groups}Number /\\<[NS]\\d\\+\\%(\\.\\d\\+\\)\\?[EW]\\>/",
        f"syntax match {groups}Property /^\\s\\+\\zs{any_of(words.properties)}{edge}/",
        f"syntax match {groups}Noun /^{any_of(words.nouns)}{edge}/",
        f'syntax region {groups}Text start=/"/ skip=/\\\\./ end=/"/',
        f"syntax match {groups}Comment /#.*/",
        f"highlight default link {groups}Noun Statement",
        f"highlight default link {groups}Property Identifier",
        f"highlight default link {groups}Value Constant",
        f"highlight default link {groups}Number Number",
        f"highlight default link {groups}Text String",
        f"highlight default link {groups}Comment Comment",
        "setlocal commentstring=#\\ %s",
        f'let b:current_syntax = "{words.name}"',
    ]
    if words is RULES:
        lines.insert(9, f"syntax match {groups}Comment /^\\s*\\^\\+.*/")
    return "\n".join(lines) + "\n"


def emacs() -> Mapping[str, str]:
    """One file of Emacs Lisp with a mode for each language."""
    modes = "\n\n".join(_emacs(one) for one in LANGUAGES)
    text = f""";;; habitat-mode.el --- modes for habitat plans and rules -*- lexical-binding: t -*-
;; {_MADE}

{modes}

(provide 'habitat-mode)
;;; habitat-mode.el ends here
"""
    return {"habitat-mode.el": text}


def _emacs(words: Words) -> str:
    def any_of(some: Iterable[str]) -> str:
        return " ".join(f'"{word}"' for word in some)

    def keyword(before: str, some: Iterable[str], face: str) -> str:
        return f'(cons (concat "{before}" (regexp-opt \'({any_of(some)}) t) "\\\\_>") \'(1 font-lock-{face}-face))'

    number = r"\\_<-?[0-9]+\\(?:\\.[0-9]+\\)?\\(?: ?" + r"\\(?:" + r"\\|".join(_UNITS) + r"\\)\\|%\\)?"
    keywords = [
        keyword("^", words.nouns, "keyword"),
        keyword("^[ \\t]+", words.properties, "variable-name"),
        keyword("[ (]", words.values, "constant"),
        f'\'("{number}" . font-lock-constant-face)',
    ]
    listed = "\n   ".join(keywords)
    return f"""(defvar {words.name}-mode-keywords
  (list
   {listed}))

;;;###autoload
(define-derived-mode {words.name}-mode prog-mode "{words.title}"
  (modify-syntax-entry ?# "<") (modify-syntax-entry ?\\n ">") (modify-syntax-entry ?- "_")
  (setq-local comment-start "# " indent-line-function #'indent-relative
              font-lock-defaults '({words.name}-mode-keywords)))

;;;###autoload
(add-to-list 'auto-mode-alist '("\\\\.{words.ending}\\\\'" . {words.name}-mode))"""


def kate() -> Mapping[str, str]:
    """Kate's definitions, one a language."""
    return {f"{one.name}.xml": _kate(one) for one in LANGUAGES}


def _kate(words: Words) -> str:
    def any_of(some: Iterable[str]) -> str:
        return f"({'|'.join(some)})(?![a-z0-9-])"

    def rule(attribute: str, pattern: str, tail: str = "") -> str:
        return f'        <RegExpr attribute="{attribute}" context="#stay" String={quoteattr(pattern)}{tail}/>'

    rules = [
        '        <DetectChar attribute="Comment" context="Comment" char="#"/>',
        '        <DetectChar attribute="Text" context="Text" char="&quot;"/>',
        rule("Noun", f"^{any_of(words.nouns)}", ' column="0"'),
        rule("Property", f"^\\s+{any_of(words.properties)}"),
        rule("Number", f"(?<![\\w-]){_NUMBER}(?![\\w-])"),
        rule("Number", f"\\b{_BEARING}\\b"),
        rule("Value", f"\\b{any_of(words.values)}"),
    ]
    if words is RULES:
        rules.insert(2, rule("Comment", "^\\s*\\^+.*$"))
    styles = (("Plain", "dsNormal"), ("Noun", "dsKeyword"), ("Property", "dsAttribute"), ("Value", "dsConstant"),
              ("Number", "dsDecVal"), ("Text", "dsString"), ("Comment", "dsComment"))  # fmt: skip
    items = "\n".join(f'      <itemData name="{name}" defStyleNum="{style}"/>' for name, style in styles)
    listed = "\n".join(rules)
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE language>
<!-- {_MADE} -->
<language name="{words.title}" section="Other" version="1" kateversion="5.0" extensions="*.{words.ending}">
  <highlighting>
    <contexts>
      <context name="Plan" attribute="Plain" lineEndContext="#stay">
{listed}
      </context>
      <context name="Text" attribute="Text" lineEndContext="#pop">
        <Detect2Chars attribute="Text" context="#stay" char="\\" char1="&quot;"/>
        <LineContinue attribute="Text" context="#stay"/>
        <DetectChar attribute="Text" context="#pop" char="&quot;"/>
      </context>
      <context name="Comment" attribute="Comment" lineEndContext="#pop"/>
    </contexts>
    <itemDatas>
{items}
    </itemDatas>
  </highlighting>
  <general>
    <comments><comment name="singleLine" start="#"/></comments>
    <keywords casesensitive="1" weakDeliminator="-"/>
  </general>
</language>
"""


def every_file() -> dict[str, str]:
    """Every syntax file by its path in `examples/editors`."""
    made = {"vim": vim(), "emacs": emacs(), "kate": kate()}
    return {f"{editor}/{path}": text for editor, some in made.items() for path, text in some.items()}


if __name__ == "__main__":
    for path, text in every_file().items():
        file = Path(__file__).resolve().parents[2] / "examples" / "editors" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
