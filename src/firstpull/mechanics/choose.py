"""Choosing among inserts: hard checks first, then the roomiest fit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firstpull.errors import BadInput
from firstpull.mechanics.asked import REASONS, Asked, ask, material_name, plain_length, thread_name
from firstpull.mechanics.check import Check
from firstpull.mechanics.counted import Counted, counted
from firstpull.mechanics.insert import Insert, check_insert, head_height_nm, set_protrusion_nm
from firstpull.mechanics.joint.checks import Strength, strength_of
from firstpull.mechanics.joint.demand import JointDemand
from firstpull.mechanics.needs import Needs
from firstpull.mechanics.request import Batch
from firstpull.mechanics.stack import Stack
from firstpull.mechanics.surroundings import surroundings_rows
from firstpull.mechanics.tool import capacity
from firstpull.units import NM_PER_MM, LengthUnit, show_mm

if TYPE_CHECKING:
    from typing_extensions import TypeIs

    from firstpull.mechanics.shelf import Shelf

__all__ = ["Candidate", "Check", "Choice", "Needs", "Rejected", "choose"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """An insert that passes every check; rank 1 is the best. Lengths in mm.

    ``tightest`` is the check that ranks it, with its ``margin`` (a share), as :mod:`firstpull.mechanics.counted` says;
    ``worst`` the one with the smallest margin at worst, which for an estimate may fall short. ``strength`` holds
    tightening, hole and screw; ``None`` when no joint was given to reckon with.
    """

    insert: Insert
    rank: int
    checks: tuple[Check, ...]
    tightest: Check
    margin: float
    worst: Check
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
    """Candidates best first and rejected inserts nearest first, as many as were asked for.

    ``fits`` and ``missed`` count all that were looked at, ``misses`` the rejected ones by their first reason, one of
    :data:`~firstpull.mechanics.asked.REASONS`.
    """

    candidates: tuple[Candidate, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...]
    fits: int
    missed: int
    misses: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class _Miss:
    """Why an insert is out: the first of :data:`~firstpull.mechanics.asked.REASONS` (later is nearer), and by how much
    it missed (nm; mN·m for a torque; millionths of the offer for strength)."""

    first: str
    by_nm: int
    reason: str
    cure: str


@dataclass(frozen=True, slots=True)
class _Missed:
    """A rejected insert, and how near it is among the others."""

    key: tuple[int, int, str, int]
    insert: Insert
    found: _Miss


def choose(
    inserts: Iterable[Insert] | Shelf,
    *,
    stack: Stack,
    needs: Needs,
    unit: LengthUnit = "mm",
    joint: JointDemand | None = None,
    batch: Batch | None = None,
    most: int | None = None,
) -> Choice:
    """The inserts that suit, best first, and the others with their first reason and smallest cure.

    Hard checks in this order: thread, end (closed where sealing is asked), head, body, material, grip range enclosing
    the thinnest and thickest stack, room behind before setting, temperature, galvanic pair, countersink, pocket for
    the tool's nose, pull on a soft sheet, tightening torque, tool. With ``joint`` the strength of the joint too; a
    check by a standard or a test rejects on its worst case, an estimate on its expected value, and so they rank; checks
    that only ask for less torque do not where the torque was found. Ranked by the tightest
    margin as a share (the grip's is 1 when the stack sits in the middle of the range); ties by more margin at worst,
    less unused grip, shorter free length, then part. ``batch`` is the thinnest and thickest stack where they are not those of ``stack``. ``unit`` is that of the lengths in the texts. ``most`` (1 or more) limits the
    candidates and the rejected inserts that are told; a :class:`~firstpull.mechanics.shelf.Shelf` of very many inserts
    is then looked through by columns, with the same answer. Raises BadInput for a stack, need, load or thread that
    cannot be right.
    """
    if most is not None and most < 1:
        raise BadInput(f"{most} inserts can not be told.", where="most", hint="1 or more, or leave it out for all.")
    asked = ask(stack, needs, unit=unit, demand=joint, batch=batch)
    sifted = None
    if not _is_shelf(inserts):
        looked = inserts
    elif most is None:
        looked = inserts.inserts()
    else:
        from firstpull.mechanics.shelf.sieve import sift

        sifted = sift(inserts, asked, most=most)
        looked = inserts.inserts(sifted.rows)
    fitting, missed = _judge_all(looked, asked)
    if sifted is None:
        counts = Counter(row.found.first for row in missed)
        fits, total = len(fitting), len(missed)
    else:
        counts, fits, total = sifted.misses, sifted.fits, sum(sifted.misses.values())
    shown = min(len(fitting), most or len(fitting))
    candidates = tuple(_candidate(rank, fitting, asked) for rank in range(1, shown + 1))
    told = missed if most is None else missed[:most]
    sister = _sister_among(fitting) if sifted is None else lambda insert: sifted.sisters.get(insert.part)
    rejected = _rejected(told, sister)
    misses = tuple((reason, counts[reason]) for reason in REASONS if counts[reason])
    return Choice(candidates, rejected, _notes(candidates, rejected, joint, sealed=needs.sealed), fits, total, misses)


def _is_shelf(inserts: Iterable[Insert] | Shelf) -> TypeIs[Shelf]:
    """Without importing the shelf's arrays for a few inserts."""
    return isinstance(inserts, Mapping)


def _judge_all(inserts: Iterable[Insert], asked: Asked) -> tuple[list[_Fit], list[_Missed]]:
    """Every insert judged: those that fit best first, the others nearest first."""
    fitting: list[_Fit] = []
    missed: list[_Missed] = []
    for index, insert in enumerate(inserts):
        found = _word_miss(insert, asked) or _size_miss(insert, asked) or _judge(insert, asked)
        if isinstance(found, _Fit):
            fitting.append(found)
        else:
            missed.append(_Missed((-REASONS.index(found.first), found.by_nm, insert.part, index), insert, found))
    # a row that could not be checked is no better than one that was: what is not known goes last
    fitting.sort(key=lambda fit: (len(fit.unknown), fit.key))
    missed.sort(key=lambda row: row.key)
    return fitting, missed


def _rejected(missed: Sequence[_Missed], sister: Callable[[Insert], str | None]) -> tuple[Rejected, ...]:
    """Reasons and cures; the cure of a grip that does not enclose the stack names the sister that does."""
    told = []
    for row in missed:
        cure = row.found.cure
        name = sister(row.insert) if row.found.first == "grip" else None
        if name is not None:
            cure = f"{cure.rstrip('.')}: {name}."
        told.append(Rejected(row.insert, row.found.reason, cure))
    return tuple(told)


def _sister_among(fitting: Sequence[_Fit]) -> Callable[[Insert], str | None]:
    """The name of the best insert that fits of the same kind as one that does not."""
    best: dict[tuple[str, ...], str] = {}
    for fit in fitting:
        best.setdefault(_kind(fit.insert), fit.insert.name)
    return lambda insert: best.get(_kind(insert))


def _kind(insert: Insert) -> tuple[str, ...]:
    return (
        thread_name(insert.thread) or insert.thread,
        insert.head,
        insert.end,
        insert.body,
        material_name(insert.material),
    )


def _word_miss(insert: Insert, joint: Asked) -> _Miss | None:
    needs = joint.needs
    if thread_name(insert.thread) != joint.thread:
        return _Miss(
            "thread", 0, f"Its thread is {insert.thread}, not {joint.thread}.", f"Take an insert with {joint.thread}."
        )
    if needs.sealed and insert.end != "closed":
        return _Miss("end", 0, "Its end is open, and the joint must be sealed.", "Take one with its end closed.")
    if needs.end is not None and insert.end != needs.end:
        return _Miss("end", 0, f"Its end is {insert.end}, not {needs.end}.", f"Take one with its end {needs.end}.")
    if needs.head is not None and insert.head != needs.head:
        return _Miss("head", 0, f"Its head is {insert.head}, not {needs.head}.", f"Take one with a {needs.head} head.")
    if needs.body is not None and insert.body != needs.body:
        return _Miss("body", 0, f"Its body is {insert.body}, not {needs.body}.", f"Take one with a {needs.body} body.")
    if needs.material is not None and material_name(insert.material) != material_name(needs.material):
        return _Miss(
            "material",
            0,
            f"Its material is {insert.material or 'not known'}, not {needs.material}.",
            f"Take one of {needs.material}.",
        )
    return None


def _size_miss(insert: Insert, joint: Asked) -> _Miss | None:
    over, under = joint.high - insert.grip_max.nanometres, insert.grip_min.nanometres - joint.low
    if over > 0:
        text = f"The thickest stack, {joint.show(joint.high)}, is {joint.show(over)} above its maximum grip of {joint.show(insert.grip_max.nanometres)}."
        return _Miss("grip", over, text, f"Take {joint.show(over)} off the stack, or the next longer grip range.")
    if under > 0:
        text = f"The thinnest stack, {joint.show(joint.low)}, is {joint.show(under)} below its minimum grip of {joint.show(insert.grip_min.nanometres)}."
        return _Miss("grip", under, text, f"Add a shim of {joint.show(under)}, or take the next shorter grip range.")
    if joint.room is None:
        return None
    head = head_height_nm(insert)
    # Without the head's height the whole length counts, which can only reject too much, never too little.
    before = insert.length_free.nanometres - (head or 0) - joint.low
    if before > joint.room:
        lacks = before - joint.room
        maybe = " Its flange thickness is not known: give it, and it may fit." if head is None else ""
        text = f"Before setting it stands {joint.show(before)} behind the stack, {joint.show(lacks)} more than there is room."
        return _Miss(
            "room behind", lacks, text, f"Make {joint.show(lacks)} more room, or take a shorter insert.{maybe}"
        )
    return None


@dataclass(frozen=True, slots=True)
class _Fit:
    """An insert that passes: how it ranks, its checks, and what the strength says."""

    key: tuple[float, float, int, int, str]
    insert: Insert
    checks: tuple[Check, ...]
    counted: Counted
    strength: Strength | None

    @property
    def unknown(self) -> tuple[str, ...]:
        """The names of the checks that the insert's row has no value for."""
        return tuple(check.name for check in self.checks if check.capacity == "not known")


def _judge(insert: Insert, joint: Asked) -> _Fit | _Miss:
    """Every check of an insert that passed the quick ones, or what the slow ones found."""
    checks = _checks(insert, joint)
    if isinstance(checks, _Miss):
        return checks
    if joint.case is None:
        return _fit(insert, joint, checks, None)
    strength = strength_of(insert, joint.case)
    for row in strength.rows:
        if not row.check.ok:
            judged = row.check.expected_margin if row.check.estimate else row.check.margin
            return _Miss("strength", round(1e6 * max(-(judged or 0.0), 0.0)), row.check.text, row.cure)
    checks = (*checks, *(row.check for row in strength.rows))
    return _fit(insert, joint, checks, strength)


def _checks(insert: Insert, joint: Asked) -> tuple[Check, ...] | _Miss:
    """The hard checks."""
    try:
        check_insert(insert)
    except BadInput as problem:
        return _Miss(
            "data", 0, f"Its data cannot be right: {problem.what}", f"Correct {problem.where} in the catalogue."
        )
    needs = joint.needs
    checks = [_word("thread", joint.thread, insert.thread)]
    end = "closed" if needs.sealed else needs.end
    for name, wanted in (("end", end), ("head", needs.head), ("body", needs.body), ("material", needs.material)):
        if wanted is not None:
            checks.append(_word(name, wanted, getattr(insert, name)))
    checks.append(_grip_check(insert, joint))
    checks.extend(_room_checks(insert, joint))
    rows = surroundings_rows(insert, joint.stack, needs, load_ceiling_n=joint.load_ceiling_n, unit=joint.unit)
    for row in rows:
        if not row.check.ok:
            return _Miss(row.check.name, row.by, row.check.text, row.cure)
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


def _grip_check(insert: Insert, joint: Asked) -> Check:
    least, most = insert.grip_min.nanometres, insert.grip_max.nanometres
    margin = 2 * min(joint.low - least, most - joint.high) / (most - least)
    demand = f"{plain_length(joint.low, joint.unit)} to {plain_length(joint.high, joint.unit)}"
    offer = f"{plain_length(least, joint.unit)} to {plain_length(most, joint.unit)}"
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


def _room_checks(insert: Insert, joint: Asked) -> list[Check]:
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
            "torque",
            round(1000 * (wanted_nm - most)),
            f"It takes {most:g} N·m of tightening torque at most, not {wanted_nm:g} N·m.",
            f"Tighten with {most:g} N·m or less, or take a stronger insert.",
        )
    text = f"Tightened with {wanted_nm:g} of at most {most:g} N·m."
    return [Check("torque", wanted_nm, most, round((most - wanted_nm) / most, 6), "N·m", True, text, "catalogue")]


def _tool_checks(insert: Insert, joint: Asked) -> list[Check] | _Miss:
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
        return _Miss("tool", 0, found.reasons[0], "Use a tool that can, or take another insert.")
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


def _stroke_nm(insert: Insert, joint: Asked) -> int | None:
    return (
        None
        if insert.set_allowance is None
        else insert.grip_max.nanometres - joint.value + insert.set_allowance.nanometres
    )


def _fit(insert: Insert, joint: Asked, checks: tuple[Check, ...], strength: Strength | None) -> _Fit:
    found = counted(checks, None if strength is None else strength.tightening)
    assert found is not None, "the grip always has a margin"
    unused = insert.grip_max.nanometres - joint.value
    key = (-found.margin, -found.worst, unused, insert.length_free.nanometres, insert.part)
    return _Fit(key, insert, checks, found, strength)


def _candidate(rank: int, fitting: Sequence[_Fit], joint: Asked) -> Candidate:
    fit = fitting[rank - 1]
    insert, checks = fit.insert, fit.checks
    stroke, head = _stroke_nm(insert, joint), head_height_nm(insert)
    after = None if insert.set_allowance is None else set_protrusion_nm(insert, insert.set_allowance)
    why = _margin_text(fit.counted)
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
        tightest=fit.counted.check,
        margin=fit.counted.margin,
        worst=fit.counted.worst_check,
        unused_grip_mm=(insert.grip_max.nanometres - joint.value) / NM_PER_MM,
        stroke_mm=None if stroke is None else stroke / NM_PER_MM,
        free_protrusion_mm=None if head is None else (insert.length_free.nanometres - head - joint.value) / NM_PER_MM,
        set_protrusion_mm=None if after is None else after / NM_PER_MM,
        why=why,
        strength=fit.strength,
    )


def _margin_text(found: Counted) -> str:
    share = 100 * found.margin
    word = ", estimated" if found.check.estimate else ""
    text = f"Tightest: {found.check.name}, {abs(share):.0f} % {'to spare' if share >= 0 else 'short'}{word}."
    if found.worst < 0 and found.worst_check.estimate:
        text += f" At worst {found.worst_check.name} falls {-100 * found.worst:.0f} % short, estimated: test it."
    return text


_TIES: tuple[tuple[int, str], ...] = (
    (1, "more margin at worst"),
    (2, "less unused grip"),
    (3, "the shorter free length"),
    (4, "the part's name"),
)


def _notes(
    candidates: tuple[Candidate, ...], rejected: tuple[Rejected, ...], demand: JointDemand | None, *, sealed: bool
) -> tuple[str, ...]:
    seal = ("A closed end seals the thread, not the hole: put sealant or a seal ring under the flange.",)
    if candidates and demand is None:
        told = "Grip, thread, head, end, room and tool are checked; the strength of the joint is not."
        return (told, *(seal if sealed else ()))
    if candidates and demand is not None:
        loads = demand.loads
        notes = [
            "Margins are worst case: highest load, lowest strength. Tested values come first; an estimate ranks by what it is on average."
        ]
        if loads.tension is None and loads.shear is None and loads.push is None:
            notes.append("No loads are given: the tightening is checked, and what the insert bears is said.")
        return (*notes, *(seal if sealed else ()))
    if not rejected:
        return ("There are no inserts to choose from: import a catalogue first.",)
    nearest = rejected[0]
    return (f"Nothing fits. Nearest is {nearest.insert.name}: {nearest.reason} {nearest.cure}",)
