"""Which rows of a shelf a choice has to look at: the checks of :mod:`firstpull.mechanics.choose` on whole columns.

The sieve counts what fits and what does not, and picks the rows that can be among the best candidates or the nearest
misses. Those are then judged one by one by the checks of single inserts, which alone say what a person reads; a test
holds both to the same answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstpull.mechanics.asked import REASONS, Asked, material_name
from firstpull.mechanics.shelf.shelf import Shelf
from firstpull.mechanics.shelf.strength import strength_columns
from firstpull.mechanics.shelf.view import Flags, Numbers, View
from firstpull.mechanics.surroundings import SurroundingRow, surroundings_rows
from firstpull.mechanics.tool import available_load_n
from firstpull.units import NM_PER_MM

Rows = NDArray[np.int64]
Misses = Callable[[View], Numbers]
# margins found by both ways may differ in the last places
SLACK = 2e-5
SPARE_ROWS = 8
UNKNOWN_WEIGHT = 1e9


@dataclass(frozen=True, slots=True)
class Sifted:
    """The rows to judge, in the order of the catalogue; how many fit, and how many miss by each first reason.

    ``sisters`` names, for the part of a near miss by grip, the best insert of the same kind that fits.
    """

    rows: Rows
    fits: int
    misses: Counter[str]
    sisters: dict[str, str]


def sift(shelf: Shelf, asked: Asked, *, most: int) -> Sifted:
    """The rows that hold the ``most`` (1 or more) best candidates and the ``most`` nearest misses."""
    return _sieved(shelf, asked).result(asked, most)


def fitting(shelf: Shelf, asked: Asked) -> tuple[Rows, Numbers]:
    """The rows that fit, with the tightest margin that counts of each (a share; infinite without any)."""
    sieve = _sieved(shelf, asked)
    return sieve.rows(), sieve.margin


def _sieved(shelf: Shelf, asked: Asked) -> Sieve:
    sieve = Sieve(shelf, shelf.rows_of_thread(asked.thread))
    _words(sieve, asked)
    _sizes(sieve, asked)
    sieve.drop("data", shelf.good[sieve.view.rows])
    _surroundings(sieve, asked)
    _torque(sieve, asked)
    _tool(sieve, asked)
    if asked.case is not None:
        for check in strength_columns(sieve.view, asked.case):
            sieve.note(check.counts, check.unknown, worst=check.worst)
            sieve.mark("strength", check.ok, by=1e6 * np.maximum(-check.judged, 0.0))
        sieve.drop_marked("strength")
    return sieve


class Sieve:
    """The rows that are left, with their tightest margin so far, and those that were dropped, by reason."""

    def __init__(self, shelf: Shelf, bucket: range) -> None:
        self.shelf = shelf
        self.bucket = bucket
        self.view = View(shelf.columns, shelf.numbers, slice(bucket.start, bucket.stop))
        self.margin: Numbers = np.full(len(bucket), np.inf)
        self.worst: Numbers = np.full(len(bucket), np.inf)
        self.unknown: NDArray[np.int16] = np.zeros(len(bucket), np.int16)
        self.dropped: dict[str, list[tuple[Rows, Misses | None]]] = {}
        self._marked: Flags | None = None
        self._marked_by: Numbers | None = None

    def rows(self) -> Rows:
        """The numbers of the rows that are left."""
        rows = self.view.rows
        return np.arange(rows.start, rows.stop, dtype=np.int64) if isinstance(rows, slice) else rows

    def drop(self, reason: str, ok: Flags, by: Misses | None = None) -> None:
        """Keep the rows that are ``ok``; ``by`` tells by how much the others miss."""
        if ok.all():
            return
        rows = self.rows()
        self.dropped.setdefault(reason, []).append((rows[~ok], by))
        self.view = View(self.shelf.columns, self.shelf.numbers, rows[ok])
        self.margin, self.worst, self.unknown = self.margin[ok], self.worst[ok], self.unknown[ok]

    def note(self, margin: Numbers | None, unknown: Flags | None = None, *, worst: Numbers | None = None) -> None:
        """Take up a margin that counts (NaN = none), the same at its worst where it differs, and what is not known."""
        if margin is not None:
            rounded = np.round(margin, 6)
            np.fmin(self.margin, rounded, out=self.margin)
            np.fmin(self.worst, rounded if worst is None else np.round(worst, 6), out=self.worst)
        if unknown is not None:
            self.unknown += unknown

    def mark(self, reason: str, ok: Flags, *, by: Numbers) -> None:
        """Remember rows that are not ``ok``, the first check that they fail with what they miss by."""
        if self._marked is None:
            self._marked, self._marked_by = np.zeros(len(ok), bool), np.zeros(len(ok))
        assert self._marked_by is not None, reason
        first = ~ok & ~self._marked
        self._marked_by[first] = by[first]
        self._marked |= ~ok

    def drop_marked(self, reason: str) -> None:
        """Drop the rows that were marked."""
        marked, by = self._marked, self._marked_by
        if marked is not None and by is not None:
            lost = by[marked]
            self.drop(reason, ~marked, lambda _view: lost)

    def result(self, asked: Asked, most: int) -> Sifted:
        """The rows to judge one by one."""
        rows = self.rows()
        best = _best(self.shelf, rows, self._ranking(), asked=asked, most=most)
        near = self._nearest(most)
        chosen = np.unique(np.concatenate([best, near]))
        chosen = chosen[np.argsort(self.shelf.order[chosen], kind="stable")]
        misses = Counter({reason: sum(len(lost) for lost, _by in lots) for reason, lots in self.dropped.items()})
        misses["thread"] = len(self.shelf) - len(self.bucket)
        return Sifted(chosen, len(rows), misses, self._sisters(rows, near, asked))

    def _ranking(self) -> _Ranking:
        return _Ranking(UNKNOWN_WEIGHT * self.unknown - self.margin, self.worst)

    def _nearest(self, most: int) -> Rows:
        found: Rows = np.zeros(0, np.int64)
        for reason in reversed(REASONS):
            lots = self.dropped.get(reason, [])
            if not lots or len(found) >= most:
                continue
            rows = np.concatenate([lost for lost, _by in lots])
            by = np.concatenate([self._missed_by(lost, how) for lost, how in lots])
            found = np.concatenate([found, _least(self.shelf, rows, by, most - len(found))])
        if len(found) < most:
            wanted = most - len(found)
            others = self.shelf.first_parts(wanted + len(self.bucket))
            outside = others[(others < self.bucket.start) | (others >= self.bucket.stop)]
            found = np.concatenate([found, outside[:wanted]])
        return found

    def _missed_by(self, rows: Rows, how: Misses | None) -> Numbers:
        return np.zeros(len(rows)) if how is None else how(View(self.shelf.columns, self.shelf.numbers, rows))

    def _sisters(self, rows: Rows, near: Rows, asked: Asked) -> dict[str, str]:
        by_grip = np.concatenate([lost for lost, _by in self.dropped.get("grip", [])] or [near[:0]])
        near = near[np.isin(near, by_grip)]
        if not len(rows) or not len(near):
            return {}
        kinds, wanted = self._kinds(rows), self._kinds(near)
        ranking = self._ranking()
        best = {}
        for kind in np.unique(wanted):
            same = kinds == kind
            if same.any():
                best[kind] = self.shelf.insert(
                    int(_best(self.shelf, rows[same], ranking.take(same), asked=asked, most=1)[0])
                ).name
        return {self.shelf.parts[row]: best[kind] for row, kind in zip(near, wanted, strict=True) if kind in best}

    def _kinds(self, rows: Rows) -> NDArray[np.int64]:
        view = View(self.shelf.columns, self.shelf.numbers, rows)
        kinds = np.zeros(len(rows), np.int64)
        for name in ("head", "end", "body", "material"):
            values = view.values(name)
            names = [material_name(value) for value in values] if name == "material" else list(values)
            place = {one: index for index, one in enumerate(dict.fromkeys(names))}
            kinds = kinds * len(place) + view.by_value(name, np.array([place[one] for one in names], np.int64))
        return kinds


@dataclass(frozen=True, slots=True)
class _Ranking:
    """How rows rank: less ``weight`` first, then more margin at ``worst``."""

    weight: Numbers
    worst: Numbers

    def take(self, rows: Flags) -> _Ranking:
        return _Ranking(self.weight[rows], self.worst[rows])


def _best(shelf: Shelf, rows: Rows, ranking: _Ranking, *, asked: Asked, most: int) -> Rows:
    """The rows that can be among the ``most`` best: ties by unused grip, free length, then part."""
    if len(rows) > most:
        kept = ranking.weight <= np.partition(ranking.weight, most - 1)[most - 1] + SLACK
        rows, ranking = rows[kept], ranking.take(kept)
    unused = shelf.numbers("grip_max")[rows].astype(np.int64) - asked.value
    length = shelf.numbers("length_free")[rows]
    order = np.lexsort((shelf.by_part[rows], length, unused, -ranking.worst, ranking.weight))
    return rows[order[: most + SPARE_ROWS]]


def _least(shelf: Shelf, rows: Rows, by: Numbers, most: int) -> Rows:
    """The ``most`` rows that miss by the least; ties by part."""
    by = np.round(by)
    if len(rows) > most:
        kept = by <= np.partition(by, most - 1)[most - 1] + 1
        rows, by = rows[kept], by[kept]
    return rows[np.lexsort((shelf.by_part[rows], by))[: most + SPARE_ROWS]]


def _words(sieve: Sieve, asked: Asked) -> None:
    needs = asked.needs
    ends = ("closed",) if needs.sealed else (needs.end,)
    for name, wanted in (("end", ends), ("head", (needs.head,)), ("body", (needs.body,))):
        if wanted[0] is not None:
            sieve.drop(name, sieve.view.is_one_of(name, [word for word in wanted if word]))
    if needs.material is not None:
        name = material_name(needs.material)
        sieve.drop("material", sieve.view.is_one_of("material", _same(sieve.view.values("material"), name)))


def _same(names: Iterable[str], wanted: str) -> list[str]:
    return [name for name in names if material_name(name) == wanted]


def _sizes(sieve: Sieve, asked: Asked) -> None:
    low, high = asked.low, asked.high

    def by(view: View) -> Numbers:
        over = high - view.nm("grip_max")
        return np.asarray(np.where(over > 0, over, view.nm("grip_min") - low), float)

    rows = sieve.view.rows
    sieve.drop(
        "grip", (sieve.shelf.numbers("grip_max")[rows] >= high) & (sieve.shelf.numbers("grip_min")[rows] <= low), by
    )
    view = sieve.view
    least, most = view.nm("grip_min"), view.nm("grip_max")
    with np.errstate(divide="ignore", invalid="ignore"):
        margin = 2 * np.minimum(low - least, most - high) / (most - least)
    sieve.note(margin)
    if asked.room is None:
        return
    room = asked.room

    def before(view: View) -> Numbers:
        return np.asarray(view.nm("length_free") - np.maximum(view.head_nm(), 0) - low, float)

    sieve.drop("room behind", before(sieve.view) <= room, lambda view: before(view) - room)
    view = sieve.view
    sieve.note((room - before(view)) / room)
    after = view.nm("length_free") - view.head_nm() - view.nm("grip_max") - view.nm("set_allowance")
    known = (view.head_nm() >= 0) & view.known("set_allowance")
    sieve.note(np.where(known, (room - after) / room, np.nan))


def _surroundings(sieve: Sieve, asked: Asked) -> None:
    for name in ("temperature", "galvanic pair"):
        _by_material(sieve, asked, name)
    _countersink(sieve, asked)
    _pocket(sieve, asked)
    _nose(sieve, asked)
    _soft(sieve, asked)


def _by_material(sieve: Sieve, asked: Asked, name: str) -> None:
    """A check that depends on the insert's material alone is made once for each material."""
    if not len(sieve.margin):
        return
    sample = sieve.shelf.insert(int(sieve.rows()[0]))
    found: list[SurroundingRow | None] = []
    for material in sieve.view.values("material"):
        rows = _rows_of(asked, replace(sample, material=material, head="flat", grip_datum="flange"))
        found.append(rows.get(name))
    _spread_rows(sieve, name, found, lambda view, table: view.by_value("material", table))


def _nose(sieve: Sieve, asked: Asked) -> None:
    if len(sieve.margin):
        row = _rows_of(asked, sieve.shelf.insert(int(sieve.rows()[0]))).get("nose reach")
        _spread_rows(sieve, "nose reach", [row], lambda view, table: np.repeat(table, len(view.nm("grip_max"))))


def _rows_of(asked: Asked, insert: Any) -> dict[str, SurroundingRow]:
    rows = surroundings_rows(insert, asked.stack, asked.needs, load_ceiling_n=asked.load_ceiling_n, unit=asked.unit)
    return {row.check.name: row for row in rows}


def _spread_rows(
    sieve: Sieve,
    name: str,
    found: list[SurroundingRow | None],
    spread: Callable[[View, NDArray[Any]], NDArray[Any]],
) -> None:
    ok = np.array([row is None or row.check.ok for row in found])
    by = np.array([0.0 if row is None else float(row.by) for row in found])
    sieve.drop(name, spread(sieve.view, ok), lambda view: spread(view, by))
    checks = [None if row is None else row.check for row in found]
    margin = np.array([np.nan if check is None or check.margin is None else check.margin for check in checks])
    unknown = np.array([check is not None and check.capacity == "not known" for check in checks])
    sieve.note(spread(sieve.view, margin), spread(sieve.view, unknown))


def _countersink(sieve: Sieve, asked: Asked) -> None:
    view = sieve.view
    sunk = view.is_one_of("head", ("countersunk",))
    if not sunk.any():
        return
    sheet = next((layer for layer in asked.stack.layers if not layer.coating), None)
    known = sunk & view.known("flange_thickness") if sheet is not None else np.zeros(len(sunk), bool)
    if sheet is None:
        sieve.note(None, sunk)
        return
    tolerance = 0 if sheet.tolerance is None else sheet.tolerance.nanometres
    least = sheet.thickness.nanometres - tolerance
    short = known & (view.nm("flange_thickness") >= least)
    sieve.note(None, sunk & ~known)
    margin = np.full(len(sunk), -1.0) if least <= 0 else (least - view.nm("flange_thickness")) / least
    if asked.needs.dimple:
        sieve.note(np.where(known & ~short, margin, np.nan))
        return
    sieve.note(np.where(known, margin, np.nan))
    sieve.drop("countersink", ~short, lambda lost: np.asarray(lost.nm("flange_thickness") - least, float))


def _pocket(sieve: Sieve, asked: Asked) -> None:
    wide = asked.needs.pocket_diameter_mm
    if wide is None:
        return
    sieve.drop(
        "pocket",
        ~(sieve.view.mm("flange_diameter") >= wide),
        lambda view: (view.mm("flange_diameter") - wide) * NM_PER_MM,
    )
    sieve.note((wide - sieve.view.mm("flange_diameter")) / wide)


def _soft(sieve: Sieve, asked: Asked) -> None:
    ceiling = asked.load_ceiling_n
    if ceiling is None:
        return
    load = sieve.view.number("setting_load_n")
    sieve.drop(
        "soft sheet", ~(load > ceiling), lambda view: 1000 * np.maximum(view.number("setting_load_n") - ceiling, 0.0)
    )
    sieve.note((ceiling - sieve.view.number("setting_load_n")) / ceiling)


def _torque(sieve: Sieve, asked: Asked) -> None:
    wanted = asked.torque_nm
    if wanted is None:
        return
    sieve.drop(
        "torque",
        ~(sieve.view.number("tightening_torque_max_nm") < wanted),
        lambda view: 1000 * (wanted - view.number("tightening_torque_max_nm")),
    )
    most = sieve.view.number("tightening_torque_max_nm")
    sieve.note((most - wanted) / most, np.isnan(most))


def _tool(sieve: Sieve, asked: Asked) -> None:
    """As :func:`firstpull.mechanics.tool.capacity` says it; a row without a set allowance is not checked."""
    tool = asked.needs.tool
    if tool is None:
        return
    view = sieve.view
    known, load = view.known("set_allowance"), view.number("setting_load_n")
    gross = (view.nm("grip_max") - asked.value + view.nm("set_allowance")) / NM_PER_MM
    if tool.stiffness_kn_per_mm is not None:
        gross = gross + np.nan_to_num(load) / (1000 * tool.stiffness_kn_per_mm)
    ok = np.ones(len(gross), bool)
    margins: list[Numbers] = []
    if tool.stroke_max is not None:
        ok &= gross <= tool.stroke_max.mm + 5e-7
        margins.append((tool.stroke_max.mm - np.round(gross, 6)) / tool.stroke_max.mm)
    if tool.stroke_min is not None:
        ok &= gross >= tool.stroke_min.mm - 5e-7
    available = available_load_n(tool)
    ceiling = tool.load_max_n if available is None else available
    if ceiling is not None:
        ok &= ~(load > ceiling)
    line, rated = tool.line_pressure_bar, tool.rated_pressure_bar
    if line is not None and rated is not None and line > rated:
        ok &= np.isnan(load)
    if available is not None:
        available = round(available, 3)
        margins.append((available - load) / available)
    sieve.note(None, ~known)
    for margin in margins:
        sieve.note(np.where(known, margin, np.nan))
    sieve.drop("tool", ok | ~known)
