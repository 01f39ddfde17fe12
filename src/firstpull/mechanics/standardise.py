"""The fewest part numbers for many joints: which inserts, threads and tools serve all of them, and at what price."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from firstpull.errors import BadInput
from firstpull.mechanics import fields as field_readers
from firstpull.mechanics.check import Check
from firstpull.mechanics.choose import Candidate, Choice, Needs
from firstpull.mechanics.counted import ESTIMATES, Counted, Estimates, counted_margin
from firstpull.mechanics.cover import Cover, Option, Progress, fewest
from firstpull.mechanics.identify_model import canonical
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import JointDemand
from firstpull.mechanics.request import Batch
from firstpull.mechanics.shelf import Shelf
from firstpull.mechanics.stack import Stack
from firstpull.mechanics.standardise_rows import MOST_FITS, Question, Rows
from firstpull.mechanics.tool import Tool
from firstpull.units import LengthUnit

_STEP = 10_000  # margins are compared to 0.01 %
_MOST_JOINTS = 2000
_MOST_WAYS = 1_000_000


@dataclass(frozen=True, slots=True)
class Joint:
    """One joint: its name, its stack, and what it needs. With ``demand`` (loads, screw, edges, a ceiling on the pull) its
    strength is checked too; one that says nothing still rejects what no usual screw could be tightened in. ``batch`` is
    the thinnest and thickest stack where they are not those of ``stack``. ``unit`` is that of the texts about it."""

    name: str
    stack: Stack
    needs: Needs
    unit: LengthUnit = "mm"
    demand: JointDemand | None = None
    batch: Batch | None = None


@dataclass(frozen=True, slots=True)
class Served:
    """A joint with the insert (and tool, "" when none was asked for) that it gets, and what that costs it: its tightest
    margin here, that of its own best insert, and the difference, all as shares. ``worst_margin`` is under ``margin``
    where an estimate counts at its expected value; ``not_checked`` names the checks that the row has no value for."""

    joint: str
    insert: Insert
    tool: str
    margin: float
    worst_margin: float
    tightest: Check
    not_checked: tuple[str, ...]
    own_best: Insert
    own_margin: float
    price: float
    text: str


@dataclass(frozen=True, slots=True)
class NotServed:
    """A joint that no insert serves with the margin asked for: why, and the nearest cure."""

    joint: str
    nearest: str
    reason: str
    cure: str


@dataclass(frozen=True, slots=True)
class Standard:
    """The answer. ``proven`` = no better one exists; ``least_inserts`` = fewer can not do, known even when stopped.
    ``own_best_inserts`` = part numbers when every joint takes its own best."""

    inserts: tuple[Insert, ...]
    threads: tuple[str, ...]
    tools: tuple[str, ...]
    served: tuple[Served, ...]
    not_served: tuple[NotServed, ...]
    own_best_inserts: int
    tightest_margin: float | None
    mean_margin: float | None
    min_margin: float
    proven: bool
    least_inserts: int
    text: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Fit:
    """A way to serve a joint: the candidate, and the place of the tool."""

    helper: int
    candidate: Candidate
    counted: Counted

    @property
    def name(self) -> str:
        return self.candidate.insert.name

    @property
    def margin(self) -> float:
        return self.counted.margin

    @property
    def worth(self) -> int:
        """The margin in steps; of two alike, the one that holds at worst too is worth more."""
        return 2 * round(self.margin * _STEP) + (self.counted.worst >= 0)


@dataclass(frozen=True, slots=True)
class _Ways:
    """Every way to serve a joint, or why there is none; ``all_seen`` is False when there are more."""

    fits: tuple[_Fit, ...]
    none: NotServed | None
    all_seen: bool


@dataclass(frozen=True, slots=True)
class _Search:
    """What every joint is looked through with."""

    rows: Rows
    hands: Sequence[tuple[str, Tool]]
    min_margin: float
    estimates: Estimates

    def questions(self, joint: Joint) -> list[tuple[int, Question]]:
        """What is asked of the rows for a joint: once, or with each of the tools."""
        needs = [replace(joint.needs, tool=tool) for _name, tool in self.hands] or [joint.needs]
        questions = [Question(joint.stack, need, joint.unit, joint.demand, joint.batch) for need in needs]
        return list(enumerate(questions))


def standardise(
    joints: Sequence[Joint],
    inserts: Sequence[Insert] | Shelf,
    *,
    min_margin: float = 0.1,
    estimates: Estimates = "expected",
    tools: Sequence[tuple[str, Tool]] = (),
    cancelled: Callable[[], bool] = lambda: False,
    progress: Callable[[Progress], None] = lambda _step: None,
) -> Standard:
    """The fewest inserts that serve every joint, then the fewest threads (mandrels), then the fewest of ``tools`` (by
    name, when given), then the greatest tightest margin, then the greatest total; of margins alike, those that hold at
    worst too go first; what still ties goes to the parts first by name.

    An insert serves a joint when it passes every check of ``choose`` with at least ``min_margin`` to spare at the
    tightest (a share, 0 to 1, in steps of 0.0001); which margin of an estimate counts is as in
    :func:`firstpull.mechanics.counted.counted_margin`. Joints that nothing serves are named with the nearest cure and
    left out. Of a shelf not all inserts are looked at one by one when very many fit a joint (see
    :class:`firstpull.mechanics.standardise_rows.Rows`): such an answer is not called proven. The answer does not depend on the order of joints, inserts or tools. Source: set covering, solved
    exactly (see :func:`firstpull.mechanics.cover.fewest`). ``cancelled`` stops the search with the best so far, ``proven`` False.
    Raises BadInput for no joint, equal names, an empty catalogue, parts of one name, more ways to serve the joints than
    can be reckoned with, or when it is stopped before every joint was looked at.
    """
    _check(joints, inserts, min_margin, tools=tools)
    field_readers.choice(estimates, ESTIMATES, "estimates")
    hands = sorted(tools, key=lambda tool: tool[0])
    search = _Search(Rows(inserts, min_margin=min_margin), hands, min_margin, estimates)
    names = sorted(range(len(joints)), key=lambda place: joints[place].name)
    looked = _look(joints, names, search, cancelled=cancelled, progress=progress)
    fits = {place: ways.fits for place, ways in looked.items() if ways.none is None}
    all_seen = all(ways.all_seen for ways in looked.values())
    not_served = tuple(ways.none for _place, ways in sorted(looked.items()) if ways.none is not None)
    if not fits:
        return _nothing(not_served, min_margin)
    rows = list({fit.name: fit.candidate.insert for some in fits.values() for fit in some}.items())
    rows.sort(key=lambda row: row[0])
    items = {name: number for number, (name, _insert) in enumerate(rows)}
    order = {place: number for number, place in enumerate(place for place in names if place in fits)}
    options = [
        Option(order[place], items[fit.name], fit.helper, fit.worth) for place, some in fits.items() for fit in some
    ]
    threads = [_thread(insert) for _name, insert in rows]
    kinds = {name: number for number, name in enumerate(sorted(set(threads)))}
    cover = fewest(options, group_of=[kinds[name] for name in threads], cancelled=cancelled, progress=progress)
    chosen = {option.need: (rows[option.item][0], option.helper) for option in cover.options}
    served = tuple(
        _served(joints[place], fits[place], chosen[order[place]], hands)
        for place in range(len(joints))
        if place in fits
    )
    own = {row.own_best.name for row in served}
    least = cover.least_items if all_seen else len({canonical(joints[place].needs.thread) for place in fits})
    return Standard(
        inserts=tuple(rows[item][1] for item in cover.items),
        threads=tuple(sorted({threads[item] for item in cover.items})),
        tools=tuple(hands[helper][0] for helper in cover.helpers) if hands else (),
        served=served,
        not_served=not_served,
        own_best_inserts=len(own),
        tightest_margin=min(row.margin for row in served),
        mean_margin=round(math.fsum(row.margin for row in served) / len(served), 6),
        min_margin=min_margin,
        proven=cover.proven and all_seen,
        least_inserts=least,
        text=_text(len(served), len(cover.items), len(own), not_served=len(not_served)),
        notes=_notes(cover, served, least=least, all_seen=all_seen),
    )


def _check(
    joints: Sequence[Joint], inserts: Sequence[Insert] | Shelf, min_margin: float, *, tools: Sequence[tuple[str, Tool]]
) -> None:
    if not joints:
        raise BadInput("There is no joint.", where="joints", hint="Give one job file for each joint.")
    if len(joints) > _MOST_JOINTS:
        raise BadInput(f"{len(joints)} joints are more than {_MOST_JOINTS}.", where="joints")
    if not inserts:
        raise BadInput("The catalogue is empty.", where="catalogue", hint="Import the inserts to choose from.")
    for noun, names in (
        ("joints", [joint.name for joint in joints]),
        ("inserts", [] if isinstance(inserts, Shelf) else [insert.name for insert in inserts]),
        ("tools", [name for name, _tool in tools]),
    ):
        twice = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
        if twice:
            raise BadInput(f"Two {noun} are called “{twice[0]}”.", where=noun, hint="Each needs a name of its own.")
    if not 0 <= field_readers.number(min_margin, "min_margin") < 1:
        raise BadInput("The least margin is a share from 0 to below 1.", where="min_margin", hint="0.1 is 10 %.")


def _look(
    joints: Sequence[Joint],
    names: Sequence[int],
    search: _Search,
    *,
    cancelled: Callable[[], bool],
    progress: Callable[[Progress], None],
) -> dict[int, _Ways]:
    """What can serve each joint, by its place; joints are gone through in the order of their names."""
    passes = 2 if search.rows.very_many else 1
    looked: dict[int, _Ways] = {}
    count = 0
    for done, place in enumerate(list(names) * passes):
        if cancelled():
            raise BadInput(
                f"It was stopped after {max(done - len(names) * (passes - 1), 0)} of {len(names)} joints were looked at.",
                hint="There is no answer before all are: give it more time.",
            )
        progress(Progress("joints", done + 1, len(names) * passes, None))
        if done < len(names) * (passes - 1):
            _take_up(joints[place], search)
            continue
        looked[place] = _ways(joints[place], search)
        count += len(looked[place].fits)
        if count > _MOST_WAYS:
            raise BadInput(
                f"There are over {_MOST_WAYS:,} ways to serve these joints: too many to reckon with.".replace(",", " "),
                where="joints",
                hint="Say more of what they need (material, head, end), ask for more margin, or take fewer joints.",
            )
    return looked


def _take_up(joint: Joint, search: _Search) -> None:
    """Take up what fits a joint, before the rows to look at are chosen."""
    for _helper, question in search.questions(joint):
        try:
            search.rows.count(question)
        except BadInput as problem:
            raise problem.at(joint.name)


def why_not_served(
    joint: Joint,
    inserts: Sequence[Insert] | Shelf,
    *,
    min_margin: float,
    estimates: Estimates = "expected",
    tools: Sequence[tuple[str, Tool]] = (),
) -> NotServed | None:
    """Why no insert serves ``joint``, in its own unit; ``None`` when one does. Errors and source as
    :func:`standardise`; ``min_margin`` is a share."""
    hands = sorted(tools, key=lambda tool: tool[0])
    return _ways(joint, _Search(Rows(inserts, min_margin=min_margin), hands, min_margin, estimates)).none


def _ways(joint: Joint, search: _Search) -> _Ways:
    """Every way to serve the joint with the margin asked for, or why there is none."""
    fits: list[_Fit] = []
    short: list[tuple[Candidate, Counted]] = []
    choices: list[Choice] = []
    all_seen = True
    for helper, question in search.questions(joint):
        try:
            choice, whole = search.rows.choice(question)
        except BadInput as problem:
            raise problem.at(joint.name)
        choices.append(choice)
        all_seen = all_seen and whole
        for candidate in choice.candidates:
            counted = counted_margin(candidate, estimates=search.estimates)
            if counted is None:
                continue
            if round(counted.margin * _STEP) >= round(search.min_margin * _STEP):
                fits.append(_Fit(helper, candidate, counted))
            else:
                short.append((candidate, counted))
    none = None if fits else _no_fit(joint, short, choices, min_margin=search.min_margin)
    return _Ways(tuple(fits), none, all_seen)


def _no_fit(
    joint: Joint, short: Sequence[tuple[Candidate, Counted]], choices: Sequence[Choice], *, min_margin: float
) -> NotServed:
    if short:
        best, counted = min(short, key=lambda item: (-item[1].margin, item[0].insert.name))
        least = math.floor(counted.margin * 100) / 100
        if least >= 0:
            spare = f"has {_share(least)} to spare, under the {_share(min_margin)} asked for"
            cure = f"Accept {_share(least)} for it, or change the joint."
        else:  # at worst an estimate may fall short of what it holds on average
            spare = f"falls {_share(-counted.margin)} short at worst"
            cure = "Prove it by test, or change the joint."
        reason = f"It fits, but its {counted.check.name} {spare}. {counted.check.text}"
        return NotServed(joint.name, best.insert.name, reason, cure)
    nearest = next(row for choice in choices for row in choice.rejected)
    return NotServed(joint.name, nearest.insert.name, nearest.reason, nearest.cure)


def _served(joint: Joint, fits: Sequence[_Fit], chosen: tuple[str, int], hands: Sequence[tuple[str, Tool]]) -> Served:
    got = next(fit for fit in fits if (fit.name, fit.helper) == chosen)
    # The joint's own best is first of its candidates; a tie in margin with what it gets costs nothing.
    best = min(fits, key=lambda fit: (-round(fit.margin * _STEP), fit.name != got.name, fit.candidate.rank, fit.name))
    price = max(round(best.margin - got.margin, 6), 0.0)
    name, check = got.candidate.insert.name, got.counted.check
    spare = f"{_share(got.margin)} to spare ({check.name}{', an estimate' if check.estimate else ''})"
    if best.name == got.name:
        text = f"{name}, its own best: {spare}."
    else:
        text = (
            f"{name} with {spare} instead of {best.candidate.insert.name} "
            f"with {_share(best.margin)}: {100 * price:.0f} points given up."
        )
    text += _short(got.counted)
    tool = hands[got.helper][0] if hands else ""
    return Served(
        joint=joint.name,
        insert=got.candidate.insert,
        tool=tool,
        margin=got.margin,
        worst_margin=got.counted.worst,
        tightest=check,
        not_checked=_not_checked(joint, got.candidate),
        own_best=best.candidate.insert,
        own_margin=best.margin,
        price=price,
        text=f"{text} Set with {tool}." if tool else text,
    )


def _not_checked(joint: Joint, candidate: Candidate) -> tuple[str, ...]:
    """The checks that the row has no value for; those of strength only where something was said of it."""
    silent = candidate.strength is not None and joint.demand == JointDemand()
    strength = {row.check.name for row in candidate.strength.rows} if silent and candidate.strength else set()
    return tuple(row.name for row in candidate.checks if row.capacity == "not known" and row.name not in strength)


def _short(counted: Counted) -> str:
    """What an estimate says at its worst, when that is too little; else nothing."""
    if counted.worst >= 0:
        return ""
    return f" At worst its {counted.worst_check.name} (an estimate) falls {_share(-counted.worst)} short."


def _nothing(not_served: tuple[NotServed, ...], min_margin: float) -> Standard:
    return Standard(
        inserts=(),
        threads=(),
        tools=(),
        served=(),
        not_served=not_served,
        own_best_inserts=0,
        tightest_margin=None,
        mean_margin=None,
        min_margin=min_margin,
        proven=True,
        least_inserts=0,
        text=_text(0, 0, 0, not_served=len(not_served)),
        notes=(),
    )


def _text(served: int, inserts: int, own: int, *, not_served: int) -> str:
    if not served:
        return "No joint can be served."
    text = f"{_count(inserts, 'part number serves', 'part numbers serve')} {_count(served, 'joint', 'joints')}"
    text += f"; each with its own best, they would take {own}."
    return f"{text} {_count(not_served, 'joint is', 'joints are')} not served." if not_served else text


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _notes(cover: Cover, served: Sequence[Served], *, least: int, all_seen: bool) -> tuple[str, ...]:
    some = f"of very many inserts that fit, {MOST_FITS} were looked at for each joint, those that fit most joints."
    if all_seen and cover.proven:
        notes = ["Proven: no smaller set serves these joints with this margin."]
    elif len(cover.items) <= least and cover.proven:
        notes = [f"Fewer part numbers cannot do, but margins may get better: {some}"]
    elif len(cover.items) <= least:
        notes = ["Stopped: fewer part numbers cannot do, but threads, tools or margins may still get better."]
    elif cover.proven:
        notes = [f"Not proven: {some} Say more of what the joints need to be sure."]
    else:
        notes = [f"Stopped before it was proven: fewer may do, but not fewer than {least}. Give it more time."]
    short = sum(row.worst_margin < 0 for row in served)
    if short:
        stands = "joint holds" if short == 1 else "joints hold"
        notes.append(f"{short} {stands} by an estimate that falls short at worst: prove by test.")
    lacking = sorted({name for row in served for name in row.not_checked})
    if lacking:
        notes.append(f"Not checked everywhere, for want of values in the catalogue: {', '.join(lacking)}.")
    return tuple(notes)


def _thread(insert: Insert) -> str:
    return canonical(insert.thread) or insert.thread


def _share(share: float) -> str:
    return f"{100 * share:.0f} %"
