"""Choosing among inserts: hard checks first, then the roomiest fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from firstpull.errors import BadInput
from firstpull.mechanics.check import Check
from firstpull.mechanics.insert import Insert, check_insert, head_height_nm, set_protrusion_nm
from firstpull.mechanics.joint.checks import Case, Strength, prepare, strength_of
from firstpull.mechanics.joint.demand import JointDemand, check_demand
from firstpull.mechanics.needs import Needs, check_needs
from firstpull.mechanics.stack import Stack, thickness
from firstpull.mechanics.surroundings import surroundings_rows
from firstpull.mechanics.tool import capacity
from firstpull.units import NM_PER_MM, LengthUnit, show_length, show_mm

__all__ = ["Candidate", "Check", "Choice", "Needs", "Rejected", "choose"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """An insert that passes every check; rank 1 is the best. Lengths in mm.

    ``strength`` holds tightening, hole and screw; ``None`` when no joint was given to reckon with.
    """

    insert: Insert
    rank: int
    checks: tuple[Check, ...]
    tightest: Check
    unused_grip_mm: float
    stroke_mm: float | None
    free_protrusion_mm: float | None
    set_protrusion_mm: float | None
    why: str
    strength: Strength | None = None


@dataclass(frozen=True, slots=True)
class Rejected:
    """An insert that fails, the first reason, and the smallest change that would cure it."""

    insert: Insert
    reason: str
    cure: str


@dataclass(frozen=True, slots=True)
class Choice:
    """All inserts looked at: candidates best first, the others with a reason."""

    candidates: tuple[Candidate, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Joint:
    """The joint, prepared once: canonical thread, thicknesses and room in nm, and how threads are written here."""

    needs: Needs
    thread: str
    value: int
    low: int
    high: int
    room: int | None
    unit: LengthUnit
    stack: Stack
    torque_nm: float | None
    case: Case | None
    load_ceiling_n: float | None

    def show(self, value_nm: int) -> str:
        return f"{_plain(value_nm, self.unit)} {self.unit}"


@dataclass(frozen=True, slots=True)
class _Miss:
    """Why an insert is out: how many checks it passed before (more is nearer), and by how much it missed (nm; mN·m for a torque;
    millionths of the offer for strength)."""

    passed: int
    by_nm: int
    reason: str
    cure: str


def choose(
    inserts: Iterable[Insert],
    *,
    stack: Stack,
    needs: Needs,
    unit: LengthUnit = "mm",
    joint: JointDemand | None = None,
) -> Choice:
    """The inserts that suit, best first, and the others with their first reason and smallest cure.

    Hard checks in this order: thread, end (closed where sealing is asked), head, body, material, grip range enclosing
    the thinnest and thickest stack, room behind before setting, temperature, galvanic pair, countersink, pocket for
    the tool's nose, pull on a soft sheet, tightening torque, tool. With ``joint`` the strength of the joint too; a
    check by a standard or a test rejects on its worst case, an estimate on its expected value. Ranked by the tightest
    margin as a share (the grip's is 1 when the stack sits in the middle of the range); ties by less unused grip,
    shorter free length, then part. ``unit`` is that of the lengths in the texts. Raises BadInput for a stack, need,
    load or thread that cannot be right.
    """
    prepared = _prepare(stack, needs, unit, joint)
    fitting: list[_Fit] = []
    missed: list[tuple[int, int, str, int, Rejected]] = []
    for index, insert in enumerate(inserts):
        found = _word_miss(insert, prepared) or _size_miss(insert, prepared)
        if found is None:
            judged = _judge(insert, prepared)
            if isinstance(judged, _Fit):
                fitting.append(judged)
                continue
            found = judged
        missed.append((-found.passed, found.by_nm, insert.part, index, Rejected(insert, found.reason, found.cure)))
    # a row that could not be checked is no better than one that was: what is not known goes last
    fitting.sort(key=lambda fit: (len(fit.unknown), fit.key))
    missed.sort(key=lambda row: row[:4])
    candidates = tuple(_candidate(rank, fitting, prepared) for rank in range(1, len(fitting) + 1))
    rejected = tuple(row[4] for row in missed)
    return Choice(candidates, rejected, _notes(candidates, rejected, joint))


def _prepare(stack: Stack, needs: Needs, unit: LengthUnit, demand: JointDemand | None) -> _Joint:
    from firstpull.trade.threads import thread

    check_needs(needs)
    size = thickness(stack, unit=unit)
    value, low, high = (round(part * NM_PER_MM) for part in (size.value_mm, size.low_mm, size.high_mm))
    found = thread(needs.thread, where="needs.thread")
    room, torque, case = needs.room_behind_mm, needs.tightening_torque_nm, None
    if demand is not None:
        check_demand(demand)
        torque = demand.screw.torque_nm if demand.screw.torque_nm is not None else torque
        demand = replace(demand, screw=replace(demand.screw, torque_nm=torque))
        case = prepare(stack, demand, found, thickness_mm=size.value_mm, room_behind_mm=room, unit=unit)
    return _Joint(
        needs=needs,
        thread=found.designation,
        value=value,
        low=low,
        high=high,
        room=None if room is None else round(room * NM_PER_MM),
        unit=unit,
        stack=stack,
        torque_nm=torque,
        case=case,
        load_ceiling_n=None if demand is None else demand.load_ceiling_n,
    )


def _word_miss(insert: Insert, joint: _Joint) -> _Miss | None:
    needs = joint.needs
    if _canonical(insert.thread) != joint.thread:
        return _Miss(
            0, 0, f"Its thread is {insert.thread}, not {joint.thread}.", f"Take an insert with {joint.thread}."
        )
    if needs.sealed and insert.end != "closed":
        return _Miss(1, 0, "Its end is open, and the joint must be sealed.", "Take one with its end closed.")
    if needs.end is not None and insert.end != needs.end:
        return _Miss(1, 0, f"Its end is {insert.end}, not {needs.end}.", f"Take one with its end {needs.end}.")
    if needs.head is not None and insert.head != needs.head:
        return _Miss(2, 0, f"Its head is {insert.head}, not {needs.head}.", f"Take one with a {needs.head} head.")
    if needs.body is not None and insert.body != needs.body:
        return _Miss(3, 0, f"Its body is {insert.body}, not {needs.body}.", f"Take one with a {needs.body} body.")
    if needs.material is not None and _material(insert.material) != _material(needs.material):
        return _Miss(
            4,
            0,
            f"Its material is {insert.material or 'not known'}, not {needs.material}.",
            f"Take one of {needs.material}.",
        )
    return None


@lru_cache(maxsize=1024)
def _canonical(name: str) -> str | None:
    from firstpull.trade.threads import thread

    try:
        return thread(name).designation
    except BadInput:
        return None


@lru_cache(maxsize=4096)
def _plain(value_nm: int, unit: LengthUnit) -> str:
    # A catalogue repeats its sizes, and exact decimal rounding is the dearest part of a rejection.
    return show_length(value_nm, unit)


def _material(name: str) -> str:
    """The held material's main name, so that an alias is the same material; else the name itself."""
    from firstpull.trade.materials import insert_material

    held = insert_material(name)
    return name.casefold() if held is None else held.name


def _size_miss(insert: Insert, joint: _Joint) -> _Miss | None:
    over, under = joint.high - insert.grip_max.nanometres, insert.grip_min.nanometres - joint.low
    if over > 0:
        text = f"The thickest stack, {joint.show(joint.high)}, is {joint.show(over)} above its maximum grip of {joint.show(insert.grip_max.nanometres)}."
        return _Miss(5, over, text, f"Take {joint.show(over)} off the stack, or the next longer grip range.")
    if under > 0:
        text = f"The thinnest stack, {joint.show(joint.low)}, is {joint.show(under)} below its minimum grip of {joint.show(insert.grip_min.nanometres)}."
        return _Miss(5, under, text, f"Add a shim of {joint.show(under)}, or take the next shorter grip range.")
    if joint.room is None:
        return None
    head = head_height_nm(insert)
    # Without the head's height the whole length counts, which can only reject too much, never too little.
    before = insert.length_free.nanometres - (head or 0) - joint.low
    if before > joint.room:
        lacks = before - joint.room
        maybe = " Its flange thickness is not known: give it, and it may fit." if head is None else ""
        text = f"Before setting it stands {joint.show(before)} behind the stack, {joint.show(lacks)} more than there is room."
        return _Miss(6, lacks, text, f"Make {joint.show(lacks)} more room, or take a shorter insert.{maybe}")
    return None


@dataclass(frozen=True, slots=True)
class _Fit:
    """An insert that passes: how it ranks, its checks, and what the strength says."""

    key: tuple[float, int, int, str]
    insert: Insert
    checks: tuple[Check, ...]
    strength: Strength | None

    @property
    def unknown(self) -> tuple[str, ...]:
        """The names of the checks that the insert's row has no value for."""
        return tuple(check.name for check in self.checks if check.capacity == "not known")


def _judge(insert: Insert, joint: _Joint) -> _Fit | _Miss:
    """Every check of an insert that passed the quick ones, or what the slow ones found."""
    checks = _checks(insert, joint)
    if isinstance(checks, _Miss):
        return checks
    if joint.case is None:
        return _Fit(_rank_key(insert, joint, checks), insert, checks, None)
    strength = strength_of(insert, joint.case)
    for row in strength.rows:
        if not row.check.ok:
            judged = row.check.expected_margin if row.check.estimate else row.check.margin
            return _Miss(20, round(1e6 * max(-(judged or 0.0), 0.0)), row.check.text, row.cure)
    checks = (*checks, *(row.check for row in strength.rows))
    return _Fit(_rank_key(insert, joint, checks), insert, checks, strength)


def _checks(insert: Insert, joint: _Joint) -> tuple[Check, ...] | _Miss:
    """The hard checks."""
    try:
        check_insert(insert)
    except BadInput as problem:
        return _Miss(7, 0, f"Its data cannot be right: {problem.what}", f"Correct {problem.where} in the catalogue.")
    needs = joint.needs
    checks = [_word("thread", joint.thread, insert.thread)]
    end = "closed" if needs.sealed else needs.end
    for name, wanted in (("end", end), ("head", needs.head), ("body", needs.body), ("material", needs.material)):
        if wanted is not None:
            checks.append(_word(name, wanted, getattr(insert, name)))
    checks.append(_grip_check(insert, joint))
    checks.extend(_room_checks(insert, joint))
    rows = surroundings_rows(insert, joint.stack, needs, load_ceiling_n=joint.load_ceiling_n, unit=joint.unit)
    for place, row in enumerate(rows):
        if not row.check.ok:
            return _Miss(8 + place, row.by, row.check.text, row.cure)
        checks.append(row.check)
    torque_checks = _torque_checks(insert, joint.torque_nm)
    if isinstance(torque_checks, _Miss):
        return torque_checks
    checks.extend(torque_checks)
    tool_checks = _tool_checks(insert, joint)
    if isinstance(tool_checks, _Miss):
        return tool_checks
    return (*checks, *tool_checks)


def _word(name: str, wanted: str, has: str) -> Check:
    return Check(name, wanted, has, None, "", True, f"{name.capitalize()}: {has}.", "catalogue")


def _grip_check(insert: Insert, joint: _Joint) -> Check:
    least, most = insert.grip_min.nanometres, insert.grip_max.nanometres
    margin = 2 * min(joint.low - least, most - joint.high) / (most - least)
    demand = f"{_plain(joint.low, joint.unit)} to {_plain(joint.high, joint.unit)}"
    offer = f"{_plain(least, joint.unit)} to {_plain(most, joint.unit)}"
    return Check(
        "grip",
        demand,
        offer,
        round(margin, 6),
        joint.unit,
        True,
        f"Grip {offer} {joint.unit} encloses the stack, {demand} {joint.unit}.",
        "catalogue",
    )


def _room_checks(insert: Insert, joint: _Joint) -> list[Check]:
    if joint.room is None:
        return []
    before = insert.length_free.nanometres - (head_height_nm(insert) or 0) - joint.low
    rows = [("room before setting", before)]
    after = None if insert.set_allowance is None else set_protrusion_nm(insert, insert.set_allowance)
    if after is not None:
        rows.append(("room after setting", after))
    return [
        Check(
            name,
            stands / NM_PER_MM,
            joint.room / NM_PER_MM,
            round((joint.room - stands) / joint.room, 6),
            "mm",
            True,
            f"{name.capitalize()}: {joint.show(stands)} of {joint.show(joint.room)}.",
            "catalogue",
        )
        for name, stands in rows
    ]


def _torque_checks(insert: Insert, wanted_nm: float | None) -> list[Check] | _Miss:
    if wanted_nm is None:
        return []
    most = insert.tightening_torque_max_nm
    if most is None:
        text = "Its greatest tightening torque is not known: the torque is not checked."
        return [Check("torque", wanted_nm, "not known", None, "N·m", True, text)]
    if wanted_nm > most:
        return _Miss(
            18,
            round(1000 * (wanted_nm - most)),
            f"It takes {most:g} N·m of tightening torque at most, not {wanted_nm:g}.",
            f"Tighten with {most:g} N·m or less, or take a stronger insert.",
        )
    text = f"Tightened with {wanted_nm:g} of at most {most:g} N·m."
    return [Check("torque", wanted_nm, most, round((most - wanted_nm) / most, 6), "N·m", True, text, "catalogue")]


def _tool_checks(insert: Insert, joint: _Joint) -> list[Check] | _Miss:
    tool, stroke = joint.needs.tool, _stroke_nm(insert, joint)
    if tool is None:
        return []
    if stroke is None:
        return [
            Check(
                "tool",
                "not known",
                "not known",
                None,
                "",
                True,
                "Its set allowance is not known: the tool is not checked.",
            )
        ]
    found = capacity(tool, stroke_mm=stroke / NM_PER_MM, load_n=insert.setting_load_n, unit=joint.unit)
    if not found.ok:
        return _Miss(19, 0, found.reasons[0], "Use a tool that can, or take another insert.")
    checks = []
    if tool.stroke_max is not None:
        gross, most = found.gross_stroke_mm, tool.stroke_max.mm
        text = f"The pull takes {show_mm(gross, joint.unit)} of the tool's {show_mm(most, joint.unit)} {joint.unit} of stroke."
        checks.append(Check("tool stroke", gross, most, round((most - gross) / most, 6), "mm", True, text, "tool"))
    load, available = insert.setting_load_n, found.available_load_n
    if load is not None and available is not None:
        text = f"Setting takes {load / 1000:.2f} of the tool's {available / 1000:.2f} kN."
        checks.append(
            Check("tool load", load, available, round((available - load) / available, 6), "N", True, text, "tool")
        )
    return checks


def _stroke_nm(insert: Insert, joint: _Joint) -> int | None:
    return (
        None
        if insert.set_allowance is None
        else insert.grip_max.nanometres - joint.value + insert.set_allowance.nanometres
    )


def _tightest(checks: Sequence[Check]) -> Check:
    return min((check for check in checks if check.margin is not None), key=lambda check: check.margin or 0.0)


def _rank_key(insert: Insert, joint: _Joint, checks: Sequence[Check]) -> tuple[float, int, int, str]:
    return (
        -(_tightest(checks).margin or 0.0),
        insert.grip_max.nanometres - joint.value,
        insert.length_free.nanometres,
        insert.part,
    )


def _candidate(rank: int, fitting: Sequence[_Fit], joint: _Joint) -> Candidate:
    fit = fitting[rank - 1]
    insert, checks = fit.insert, fit.checks
    tightest = _tightest(checks)
    stroke, head = _stroke_nm(insert, joint), head_height_nm(insert)
    after = None if insert.set_allowance is None else set_protrusion_nm(insert, insert.set_allowance)
    share = 100 * (tightest.margin or 0.0)
    why = f"Tightest: {tightest.name}, {abs(share):.0f} % {'to spare' if share >= 0 else 'short at worst'}."
    if fit.unknown:
        why += f" Not checked: {', '.join(fit.unknown)}."
    if rank > 1 and fitting[rank - 2].key[0] == fit.key[0] and len(fitting[rank - 2].unknown) == len(fit.unknown):
        before_key, before = fitting[rank - 2].key, fitting[rank - 2].insert
        decided = next(
            (words for place, words in _TIES if before_key[place] != fit.key[place]),
            "all is equal, so the catalogue's order",
        )
        why += f" As much as {before.name}; {decided} decides."
    return Candidate(
        insert=insert,
        rank=rank,
        checks=checks,
        tightest=tightest,
        unused_grip_mm=(insert.grip_max.nanometres - joint.value) / NM_PER_MM,
        stroke_mm=None if stroke is None else stroke / NM_PER_MM,
        free_protrusion_mm=None if head is None else (insert.length_free.nanometres - head - joint.value) / NM_PER_MM,
        set_protrusion_mm=None if after is None else after / NM_PER_MM,
        why=why,
        strength=fit.strength,
    )


_TIES: tuple[tuple[int, str], ...] = ((1, "less unused grip"), (2, "the shorter free length"), (3, "the part's name"))


def _notes(
    candidates: tuple[Candidate, ...], rejected: tuple[Rejected, ...], demand: JointDemand | None
) -> tuple[str, ...]:
    if candidates and demand is None:
        return ("Grip, thread, head, end, room and tool are checked; the strength of the joint is not.",)
    if candidates and demand is not None:
        loads = demand.loads
        notes = [
            "Margins are worst case: highest load, lowest strength. Estimates are marked; tested values come first."
        ]
        if loads.tension is None and loads.shear is None and loads.push is None:
            notes.append("No loads are given: the tightening is checked, and what the insert bears is said.")
        return tuple(notes)
    if not rejected:
        return ("There are no inserts to choose from: import a catalogue first.",)
    nearest = rejected[0]
    return (f"Nothing fits. Nearest is {nearest.insert.name}: {nearest.reason} {nearest.cure}",)
