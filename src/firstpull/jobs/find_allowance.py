"""Find the allowance: coupons from deliberately short upward until every check passes, then on until one fails.

What comes out is this part's own set allowance and a window proven from both ends, in this stack.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs.prove import CHECKS
from firstpull.jobs.set_up import allowance_event, window_event
from firstpull.jobs.shapes import insert_of, stack_of
from firstpull.jobs.workshop import Book, Doing, Planned
from firstpull.mechanics.setting import Allowance, GivenWindow
from firstpull.mechanics.stack import thickness
from firstpull.record.job import Coupon, JobState
from firstpull.units import Length, LengthUnit, show_mm

RUNG_MM = 0.2
LEAST_GOOD = 3


@dataclass(frozen=True, slots=True)
class Rung:
    """One coupon of the ladder: its stroke in mm (free length − set length) and whether every check passed."""

    number: int
    stroke_mm: float
    passed: bool
    failed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ladder:
    """The ladder so far. ``low_mm``…``high_mm`` is the range of strokes in which every coupon passed.

    ``closed_below``/``closed_above``: a coupon shorter/longer than that range failed, so that end is proven.
    ``next_stroke_mm`` is the next rung to try, ``ready`` says that it can be taken, ``text`` what to do now.
    """

    rungs: tuple[Rung, ...]
    low_mm: float | None
    high_mm: float | None
    closed_below: bool
    closed_above: bool
    next_stroke_mm: float
    ready: bool
    text: str


def start_stroke_mm(state: JobState) -> float:
    """Where to begin, in mm: the unused grip alone, so that no blind head is expected yet. Deliberately short."""
    insert = insert_of(state)
    stack, _batch = stack_of(state)
    return max(insert.grip_max.mm - thickness(stack).value_mm, 0.0) + RUNG_MM


def ladder(state: JobState, *, unit: LengthUnit = "mm") -> Ladder:
    """The ladder as its coupons stand; its sentence in ``unit``. Pure reading of the state."""
    insert = insert_of(state)
    rungs = []
    for coupon in state.coupons:
        if coupon.purpose != "ladder" or coupon.struck_out or coupon.set_length is None:
            continue
        free = coupon.length_before or insert.length_free
        rungs.append(Rung(coupon.number, free.mm - coupon.set_length.mm, coupon.passed, coupon.failed))
    ordered = sorted(rungs, key=lambda rung: rung.stroke_mm)
    good = [rung.stroke_mm for rung in ordered if rung.passed]
    if not good:
        strokes = [rung.stroke_mm for rung in ordered]
        step = (max(strokes) + RUNG_MM) if strokes else start_stroke_mm(state)
        return Ladder(
            tuple(rungs),
            None,
            None,
            bool(strokes),
            False,
            step,
            False,
            f"Set one coupon short, check it, and go up by {show_mm(RUNG_MM, unit)} {unit}.",
        )
    low, high = _range(ordered)
    below = any(not rung.passed and rung.stroke_mm < low for rung in ordered)
    above = any(not rung.passed and rung.stroke_mm > high for rung in ordered)
    count = sum(low <= stroke <= high for stroke in good)
    ready = below and count >= LEAST_GOOD and high > low
    if not below:
        step, text = low - RUNG_MM, "Go shorter until a check fails: that proves the lower end."
    elif not above:
        step, text = high + RUNG_MM, "Go on upward; stop below the limit of thread and tool, or when a check fails."
    else:
        step, text = (low + high) / 2, "Both ends are proven. One more in the middle makes it surer."
    if count < LEAST_GOOD:
        text += f" {LEAST_GOOD - count} more good coupon(s) before it can be taken."
    return Ladder(tuple(rungs), low, high, below, above, step, ready, text)


def check_rung(
    book: Book,
    job_id: str,
    *,
    doing: Doing,
    set_length: Length,
    checks: Mapping[str, str],
    length_before: Length | None = None,
) -> JobState:
    """One coupon of the ladder with its set length and every eye check. Raises BadInput."""
    state = book.job(job_id)
    if state.setting is not None and state.held is not None:
        raise Unsafe(
            "This job is dialled in already.", where=job_id, hint="Open a new revision to find another allowance."
        )
    free = length_before or insert_of(state).length_free
    if not 0 < set_length.nanometres < free.nanometres:
        raise BadInput(
            "A set insert is shorter than a free one.", where="set_length", hint=f"The free length is {free.typed}."
        )
    failed = []
    found = {}
    for kind in CHECKS:
        answer = checks.get(kind.key, "")
        if answer not in ("pass", "fail"):
            raise BadInput(f"“{kind.question}” is not answered.", where=kind.key, hint="pass or fail.")
        found[kind.key] = {"result": answer}
        if answer == "fail":
            failed.append(kind.key)
    data = {
        "number": 1 + len(state.coupons),
        "end": "as measured",
        "purpose": "ladder",
        "thickness": None,
        "set_length": set_length.to_json(),
        "length_before": length_before.to_json() if length_before else None,
        "checks": found,
        "passed": not failed,
        "failed": failed,
    }
    act: list[Planned] = [("CouponChecked", data)]
    book.write(f"job:{job_id}", act, doing, gauge=state.gauge_id, tool=state.tool_id, settled=("number",))
    return book.job(job_id)


def take_allowance(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Take what the ladder found: the middle of the good range as the stroke, its ends as the proven window.

    The coupons were of the stack as measured. Over a batch the thinnest stack wants more stroke and the thickest allows
    less, one for one, so the window is narrowed by what the batch spreads; coupons of both ends then prove it. The doubt
    is half a rung as a rectangle, 0.2/√12 mm, beside the width of the window. Raises Unsafe before the lower end is
    proven and enough coupons passed, and when the batch leaves no window.
    """
    state = book.job(job_id)
    found = ladder(state)
    if not found.ready or found.low_mm is None or found.high_mm is None:
        raise Unsafe("The ladder is not finished.", where=job_id, hint=found.text)
    insert = insert_of(state)
    stack, batch = stack_of(state)
    measured = thickness(stack)
    thin = measured.low_mm if batch is None else min(batch.thin.mm, measured.value_mm)
    thick = measured.high_mm if batch is None else max(batch.thick.mm, measured.value_mm)
    low = Length.from_mm(found.low_mm + measured.value_mm - thin)
    high = Length.from_mm(found.high_mm - (thick - measured.value_mm))
    if low >= high:
        raise Unsafe(
            "The strokes that passed do not serve the whole batch.",
            where=job_id,
            hint="Sort the panels by thickness, or use a force-set tool.",
        )
    unused = insert.grip_max.mm - measured.value_mm
    middle = (low.mm + high.mm) / 2
    allowance = Allowance(
        Length.from_mm(middle - unused), RUNG_MM / 12**0.5, f"coupon ladder of {len(found.rungs)} pulls"
    )
    window = GivenWindow(low, high, "proven")
    book.write(f"job:{job_id}", [allowance_event(allowance), window_event(window)], doing)
    return book.job(job_id)


def coupons_of(state: JobState) -> tuple[Coupon, ...]:
    return tuple(coupon for coupon in state.coupons if coupon.purpose == "ladder")


def _range(ordered: list[Rung]) -> tuple[float, float]:
    """The widest run of strokes, counted in coupons, in which every coupon passed."""
    best: list[float] = []
    run: list[float] = []
    for rung in ordered:
        run = [*run, rung.stroke_mm] if rung.passed else []
        if len(run) > len(best):
            best = run
    return best[0], best[-1]
