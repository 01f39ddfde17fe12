"""The decimal sign that a person reads, put on when a page is sent.

Numbers are made with a point everywhere; typed numbers may have either sign. For whoever reads a comma, this changes the
numbers in the texts of a finished page, never the record, and leaves alone what is a name and no number: clauses of
standards, strength classes, numbers of materials and programs. Papers keep the point: they travel between readers.
"""

from __future__ import annotations

import re
from typing import Literal

DecimalSign = Literal["point", "comma"]

_PART = re.compile(r"(<(script|style)\b.*?</\2>|<[^>]*>)", re.DOTALL)
_NUMBER = re.compile(r"(?<![\w.,/:#§-])(\d{1,3})\.(\d{1,5})(?!\d|\.\d|-\w|[A-Za-z]|\()")
_NAMED = re.compile(
    r"(?:\b(?:ISO|EN|JCGM|ASTM|ASME|SAE|DIN|CFR|AC|NASA|TM|FED|MIL|TR|table|clause|class|appendix|edition|version)\b[^.;]*"
    r"|\bG\.)$"
)
_CLASS = re.compile(r"^(?:4\.6|4\.8|5\.6|5\.8|6\.8|8\.8|9\.8|10\.9|12\.9)$")
_UNIT_BEHIND = re.compile(r"\s?(?:%|°|N·m|kN|N\b|mm|in\b|bar|psi|lbf|MPa)")
_MATERIAL = re.compile(r"^1\.[34]\d{3}$")
_TYPED = re.compile(r'(<input\b(?=[^>]*\binputmode="(?:decimal|text)")[^>]*\bvalue=")(\d+)\.(\d+)(")')
_LOOKS_BACK = 40


def with_comma(page: str) -> str:
    """The HTML ``page`` with decimal commas in its texts, its drawings' texts and its number fields."""
    parts = _PART.split(page)
    # split gives text, tag, inner group, text, …; the inner group is part of its tag
    out = []
    for place in range(0, len(parts), 3):
        out.append(_text(parts[place]))
        if place + 1 < len(parts):
            out.append(_TYPED.sub(r"\1\2,\3\4", parts[place + 1]))
    return "".join(out)


def _text(text: str) -> str:
    return _NUMBER.sub(lambda found: _shown(found, text), text) if "." in text else text


def _shown(found: re.Match[str], text: str) -> str:
    number = found[0]
    before = text[max(0, found.start() - _LOOKS_BACK) : found.start()]
    if _NAMED.search(before) or _MATERIAL.match(number):
        return number
    if _CLASS.match(number) and not _UNIT_BEHIND.match(text, found.end()):
        return number
    return f"{found[1]},{found[2]}"
