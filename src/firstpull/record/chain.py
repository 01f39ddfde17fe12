"""Canonical JSON, and the hash that ties each event of a stream to the one before.

The bytes that are hashed are the JSON Canonicalization Scheme of RFC 8785 (keys sorted by UTF-16, shortest
numbers, no spaces), so that any program in any language finds the same SHA-256 (FIPS 180-4) over the same event.
RFC 8785 holds numbers as IEEE 754 doubles: whole numbers stay exact up to 2⁵³ − 1. In nanometres that is
9007 km, and larger numbers are refused rather than rounded.
"""

from __future__ import annotations

import hashlib
import json
import math
from typing import Any

import rfc8785

from firstpull.errors import BadInput

LARGEST_WHOLE_NUMBER = 2**53 - 1
DEEPEST_NESTING = 32
LARGEST_DATA_BYTES = 4 * 1024 * 1024


def plain_json(value: Any, *, where: str = "", depth: int = 0) -> Any:
    """A copy of ``value`` made of dict, list, str, int, float, bool and None only, as it would be read back.

    A whole float becomes an int, because canonical JSON writes 2.0 as 2. Raises BadInput, naming the place, for NaN
    and infinite numbers, numbers beyond ±(2⁵³ − 1), keys that are not text, text that is not Unicode, nesting
    deeper than 32 and anything that is not JSON.
    """
    if depth > DEEPEST_NESTING:
        raise BadInput(f"The data is nested deeper than {DEEPEST_NESTING} levels.", where=where, hint="Flatten it.")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _text(value, where)
    if isinstance(value, (int, float)):
        return _number(value, where)
    if isinstance(value, (list, tuple)):
        return [plain_json(item, where=f"{where}[{index}]", depth=depth + 1) for index, item in enumerate(value, 1)]
    if isinstance(value, dict):
        copy = {}
        for key, item in value.items():
            if not isinstance(key, str):
                raise BadInput(f"The key {key!r} is not text.", where=where, hint="Keys of recorded data are text.")
            copy[_text(key, where)] = plain_json(item, where=f"{where}.{key}" if where else key, depth=depth + 1)
        return copy
    raise BadInput(
        f"A value of type {type(value).__name__} cannot be recorded.",
        where=where,
        hint="Use text, numbers, true, false, null, lists and objects with text keys.",
    )


def canonical_json(value: Any) -> str:
    """``value`` in the one form of RFC 8785. ``value`` must have come through :func:`plain_json` or a JSON reader.

    Raises BadInput for anything that has no canonical form.
    """
    try:
        return rfc8785.dumps(value).decode()
    except (ValueError, RecursionError) as problem:
        raise BadInput(f"The data has no canonical JSON form: {problem}.", hint="Use finite numbers and plain text.")


def read_json(text: str, *, where: str = "") -> Any:
    """Read JSON strictly: no key twice, no NaN. Raises BadInput."""
    try:
        return json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except RecursionError:
        raise BadInput("The JSON is nested too deeply.", where=where, hint=f"At most {DEEPEST_NESTING} levels.")
    except ValueError as problem:
        raise BadInput(f"This is not JSON: {problem}.", where=where, hint="Use the file as it was exported.")


def sha256_of(fields: dict[str, Any]) -> str:
    """SHA-256 of the canonical JSON of ``fields``, 64 hexadecimal digits in lower case."""
    return hashlib.sha256(canonical_json(fields).encode()).hexdigest()


def _text(value: str, where: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError:
        raise BadInput(
            "The text holds half of a surrogate pair, which is not Unicode.", where=where, hint="Type it again."
        )
    return str.__str__(value)


def _number(value: float, where: str) -> int | float:
    if not math.isfinite(value):
        raise BadInput(f"{value} is not a finite number.", where=where, hint="Leave the value out, or use null.")
    if abs(value) > LARGEST_WHOLE_NUMBER:
        raise BadInput(
            f"{value} is larger than a recorded number can be.",
            where=where,
            hint="Numbers stay within ±9007199254740991 (2⁵³ − 1).",
        )
    return int(value) if isinstance(value, int) or value.is_integer() else float(value)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a key stands twice in one object")
    return made


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not JSON")
