"""Which rows hold dimensions that can all be true: :func:`firstpull.mechanics.insert.check_insert` on columns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.errors import BadInput
from firstpull.mechanics.insert import FORM, LENGTH_NAMES, REQUIRED, check_value, free_length_limits_nm
from firstpull.mechanics.shelf.columns import Column
from firstpull.mechanics.shelf.view import Flags, View


def plausible(columns: Mapping[str, Column], view: View) -> Flags:
    """For each row of ``view`` whether :func:`check_insert` passes it."""
    good = np.ones(len(view.nm("grip_max")), bool)
    for name in (*LENGTH_NAMES, *FORM.numbers, *FORM.whole, *(FORM.choices or {}), "thread"):
        table = _good_values(columns[name], name)
        if not table.all():
            good &= view.by_value(name, table)
    free, least, most = view.nm("length_free"), view.nm("grip_min"), view.nm("grip_max")
    good &= least < most
    good &= ~view.is_one_of("grip_datum", ("surface",)) | view.is_one_of("head", ("countersunk",))
    for smaller, larger, equal in _ORDERED:
        good &= _ordered(view.nm(smaller), view.nm(larger), equal=equal)
    thread, plain = (np.maximum(view.nm(name), 0) for name in ("thread_length", "unthreaded_length"))
    left = free - np.maximum(view.head_nm(), 0) - most - np.maximum(view.nm("set_allowance"), 0)
    good &= (thread + plain <= free) & (left > 0) & (left >= thread)
    return good


def unit_fits(view: View) -> Flags:
    """For each row of ``view`` whether :func:`firstpull.mechanics.insert.check_unit` passes it."""
    free = view.nm("length_free")
    limits = np.array([free_length_limits_nm(thread) for thread in view.values("thread")], np.int64).reshape(-1, 2)
    fits: Flags = (view.by_value("thread", limits[:, 0]) <= free) & (free <= view.by_value("thread", limits[:, 1]))
    return fits


# smaller, larger, and whether both may be equal
_ORDERED = (
    ("set_allowance_min", "set_allowance_max", True),
    ("set_allowance_min", "set_allowance", True),
    ("set_allowance", "set_allowance_max", True),
    ("counterbore_diameter", "body_diameter", False),
    ("body_diameter", "hole_diameter", True),
    ("hole_diameter", "flange_diameter", False),
    ("body_diameter", "flange_diameter", False),
)


def _ordered(smaller: NDArray[Any], larger: NDArray[Any], *, equal: bool) -> Flags:
    return (smaller < 0) | (larger < 0) | ((smaller <= larger) if equal else (smaller < larger))


def _good_values(column: Column, name: str) -> Flags:
    return np.fromiter((_good(value, name) for value in column.values), bool, len(column.values))


def _good(value: Any, name: str) -> bool:
    if value is None:
        return name not in REQUIRED
    try:
        check_value(name, value, where="")
    except BadInput:
        return False
    return True
