"""Answers of the statistics on a terminal: names and numbers, tables for what is many, notes last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from firstpull.cli.texts import grid, table

_MANY = 12


def told(answer: Mapping[str, Any]) -> str:
    """The whole answer as text; every number to six digits."""
    plain: list[tuple[str, str]] = []
    blocks: list[str] = []
    for name, value in answer.items():
        if name in ("schema", "notes"):
            continue
        if isinstance(value, Mapping):
            blocks.append(f"{_words(name)}\n{table([(_words(key), _shown(item)) for key, item in value.items()])}")
        elif isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
            blocks.append(f"{_words(name)}\n{_grid(value)}")
        else:
            plain.append((_words(name), _shown(value)))
    notes = [str(note) for note in answer.get("notes") or ()]
    return "\n\n".join([*([table(plain)] if plain else []), *blocks, *(["\n".join(notes)] if notes else [])])


def _grid(rows: Sequence[Any]) -> str:
    head = tuple(rows[0])
    lines = [tuple(_shown(row.get(name)) for name in head) for row in rows]
    return grid(tuple(_words(name) for name in head), lines)


def _shown(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{_words(key)} {_shown(item)}" for key, item in value.items())
    if isinstance(value, list | tuple):
        shown = ", ".join(_shown(item) for item in value[:_MANY])
        return (f"{shown} … ({len(value)} in all)" if len(value) > _MANY else shown) or "none"
    return str(value)


def _words(name: str) -> str:
    return name.replace("_", " ")
