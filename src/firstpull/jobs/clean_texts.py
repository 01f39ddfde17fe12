"""Texts that people give, before they are kept for good: no sign that hides, turns round or breaks a line of print."""

from __future__ import annotations

import unicodedata
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.texts import HIDDEN, TURNING

LONGEST_TEXT = 4000


def check_texts(value: Any, *, where: str = "") -> None:
    """Raises BadInput, naming the place in ``value`` (JSON data), for a text that must not be kept."""
    if isinstance(value, str):
        _check(value, where)
    elif isinstance(value, dict):
        for name, item in value.items():
            check_texts(item, where=f"{where}.{name}" if where else str(name))
    elif isinstance(value, (list, tuple)):
        for index, item in enumerate(value, 1):
            check_texts(item, where=f"{where}[{index}]")


def check_table(table: str, *, where: str) -> None:
    """The same for a whole table of CSV, whose length is limited elsewhere. Raises BadInput naming the line."""
    found = HIDDEN.search(table)
    if found is not None:
        line = table.count("\n", 0, found.start())
        raise BadInput(
            "The table has a sign that can not be printed.",
            where=f"{where}: {table.splitlines()[line].partition(',')[0][:60]}",
            hint="Type that row again.",
        )


def _check(text: str, where: str) -> None:
    if len(text) > LONGEST_TEXT:
        raise BadInput("That text is too long.", where=where, hint=f"{LONGEST_TEXT} letters at most.")
    if text.isprintable():
        return
    if any(sign in TURNING or (sign not in "\n\t" and unicodedata.category(sign) == "Cc") for sign in text):
        raise BadInput("The text has a sign that can not be printed.", where=where, hint="Type it again.")
