"""Practice: a job on a simulated tool, in a book of its own. The tool is replayed from what the record says was done,
so that the same job gives the same readings on every device.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firstpull.errors import BadInput
from firstpull.jobs import choose, dial_in, look_after, open_job, prove, set_up
from firstpull.jobs.practice_review import ON_TARGET_MM, PullReview, action_of, best_turn, pull_by_pull
from firstpull.jobs.shapes import tool_of
from firstpull.jobs.workshop import CATALOGUE, Book, Doing
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.setting import SettingRequest
from firstpull.mechanics.stack import Layer, Stack
from firstpull.mechanics.tool import Tool
from firstpull.practice import TEMPERAMENTS, Nominals, PracticeCoupon, PracticePull, PracticeTruth, SimulatedTool
from firstpull.practice.results import Where
from firstpull.record.job import Coupon, JobState, Move, Pull
from firstpull.units import Length, LengthUnit, Torque, parse_length, parse_torque, show_mm

PART = "PRACTICE-M6"
GAUGE = "practice-caliper"
FIRST_SEED = 11
HELPER = "practice bench"


@dataclass(frozen=True, slots=True)
class Review:
    """What the reading said, what the tool really did, and what a better move was; sentences for the person."""

    said: str
    did: str
    better: str


def start(book: Book, *, doing: Doing, temperament: str = "steady", seed: int | None = None) -> JobState:
    """Open a practice job on a simulated tool, set up and ready for its first pull. Raises BadInput."""
    if not book.practice:
        raise BadInput("Practice has a book of its own.", hint="Start it from the practice page.")
    if temperament not in TEMPERAMENTS:
        raise BadInput(
            f"“{temperament}” is not a tool to practise on.",
            where="temperament",
            hint=f"Use {', '.join(TEMPERAMENTS)}.",
        )
    number = 1 + len(book.store.streams("job"))
    seed = seed if seed is not None else FIRST_SEED + number - 1
    if not 0 <= seed < 2**31:
        raise BadInput("A seed is a whole number, 0 or more.", where="seed")
    nominals = Nominals()
    simulated = SimulatedTool.from_seed(seed, temperament, nominals=nominals)
    _prepare(book, nominals)
    tool = _tool(simulated, nominals)
    tool_id = f"simulated-{number}"
    look_after.add_tool(
        book, tool_id, tool, doing=Doing(HELPER), mandrels=({"id": "M6-a", "thread": "M6", "cycle_limit": 20000},)
    )
    stack = _stack()
    insert = book.insert(PART)
    setting = set_up.setting_event(SettingRequest(insert=insert, stack=stack, tool=tool))
    acts = [
        ("StepDone", {"step": step["key"]}) for step in setting[1]["setting"]["steps"] if step["key"] in set_up.ACTS
    ]
    mandrel = dict(book.tool(tool_id).mandrels["M6-a"])
    planned = (
        choose.stack_event(stack),
        choose.insert_event(insert, source="practice"),
        set_up.tool_event(tool, tool_id=tool_id, mandrel=mandrel, gauge_id=GAUGE),
        setting,
        *acts,
        *set_up.knob_settled(tool),
        *set_up.WARMED,
    )
    state = open_job.open_job(
        book,
        "Battery tray lid, M6",
        doing=doing,
        part_name="Practice: this tool is simulated",
        demo=True,
        practice={"seed": seed, "temperament": temperament, "nominals": nominals.as_dict()},
        more=planned,
        tool=tool_id,
    )
    return dial_in.refresh_advice(book, state.id, doing)


def simulated_tool(state: JobState) -> SimulatedTool:
    """The tool as it stands after everything the record says was done. Raises BadInput for a job that is not practice."""
    if state.practice is None:
        raise BadInput("This job is real: its readings come from a gauge.", where=state.id)
    data = state.practice
    nominals = Nominals.from_dict(dict(data["nominals"]))
    return SimulatedTool.replay(int(data["seed"]), str(data["temperament"]), nominals=nominals, actions=_actions(state))


def next_free_length(state: JobState) -> Length:
    """What the caliper reads on the next insert before its pull."""
    return _length(simulated_tool(state).next_length_before_mm)


def pull(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Pull the next insert on the simulated tool, where the advice wants it, and record what the caliper reads."""
    state = book.job(job_id)
    if book.repeats(state.stream, doing):
        return state
    tool = simulated_tool(state)
    before = _length(tool.next_length_before_mm) if dial_in.measures_before(state) else None
    where = "stack" if (state.advice or {}).get("where") == "stack" else "air"
    done = tool.pull("stack" if where == "stack" else "air")
    pulled = dial_in.record_pull(book, job_id, _length(done.reading_mm), doing=doing, where=where, length_before=before)
    reply = pulled.advice or {}
    if reply.get("action") == "remeasure" and not reply.get("suspect_readings"):
        # a second reading that is only routine costs no insert: the simulated caliper gives it unasked
        return read_again(book, job_id, doing=Doing(doing.by, None, f"{doing.slip}.again" if doing.slip else ""))
    return pulled


def read_again(book: Book, job_id: str, *, doing: Doing) -> JobState:
    """Read the last insert again on the simulated caliper. Raises BadInput after the sixth reading."""
    state = book.job(job_id)
    if book.repeats(state.stream, doing):
        return state
    counted = [item for item in state.pulls if not item.struck_out]
    if not counted:
        raise BadInput("Nothing has been pulled yet.", where="reading", hint="Pull an insert first.")
    last = counted[-1]
    return dial_in.read_again(
        book, job_id, _length(_pull_of(state, last).read_again(len(last.readings))), doing=doing, of=last.sequence
    )


def coupon(book: Book, job_id: str, *, doing: Doing, cut: bool = True) -> JobState:
    """Set the next insert in scrap of the job's stack on the simulated tool and record what is found on it."""
    state = book.job(job_id)
    if book.repeats(state.stream, doing):
        return state
    tool = simulated_tool(state)
    before = _length(tool.next_length_before_mm)
    found = tool.coupon(_coupon_thickness_mm(state))
    finding = prove.Finding(
        checks=_checks(found, cut=cut),
        end=_end(state),
        thickness=_length(found.thickness_mm),
        set_length=_length(found.set_length_mm),
        length_before=before,
        torque=_torque(found),
        arrangement="flange",
    )
    return prove.check_coupon(book, job_id, finding, doing=doing)


def review(state: JobState, *, unit: LengthUnit = "mm") -> Review:
    """What the last reading said, what the tool really did, and the move that would have been best then; lengths in
    ``unit``."""
    tool = simulated_tool(state)
    truth = tool.truth()
    last = tool.pulls[-1] if tool.pulls else None
    if last is None:
        return Review("Nothing has been pulled yet.", "", "")
    said = f"Pull {last.index + 1}: the caliper read {_in(last.reading_mm, unit)}."
    if state.moves and state.moves[-1].kind == "turn" and state.moves[-1].sequence > _last_pull(state):
        said += f" Then you turned {_turned_words(state.moves[-1])}."
    if not truth.reachable:
        return Review(
            said,
            _did(last, truth, unit),
            "This tool can not reach the target. The right answer is to stop, not to turn.",
        )
    return Review(said, _did(last, truth, unit), _better(state, tool, unit))


def _better(state: JobState, tool: SimulatedTool, unit: LengthUnit) -> str:
    """The move that would bring the true mean nearest to the target, in whole clicks where the knob has them."""
    knob, (left, turns, clicks) = tool_of(state), best_turn(tool)
    direction = f"towards {'more' if left > 0 else 'less'} stroke"
    if abs(left) < ON_TARGET_MM:
        return "The mean in the stack is on the target: leave the knob."
    away = f"The mean in the stack is {_in(abs(left), unit)} too {'long' if left > 0 else 'short'}"
    if clicks == 0 or (clicks is None and turns < 0.01):
        return f"{away}: leave the knob, nothing brings it nearer."
    move = f"{turns:.2f} turns" if clicks is None else f"{clicks} click{'s' if clicks != 1 else ''}"
    sense = ""
    if knob is not None:
        other = "anticlockwise" if knob.plus_direction == "clockwise" else "clockwise"
        plus = (left > 0) == (knob.plus_turns == "more stroke")
        sense = f" ({knob.plus_direction if plus else other})"
    back = "" if left > 0 else " Go past it and come back, so that the last turn is towards more stroke."
    return f"{away}: {move} {direction}{sense} from here.{back}"


def looked_back(state: JobState, *, unit: LengthUnit = "mm") -> tuple[PullReview, ...]:
    """Every pull of a practice job: what it said, what the tool did, what was better, what was done; lengths in ``unit``."""
    return pull_by_pull(state, coupon_thickness_mm=_coupon_thickness_mm(state), unit=unit)


def follow_advice(book: Book, job_id: str, tool: SimulatedTool, *, doing: Doing) -> JobState:
    """Do on ``tool`` what the advice says, as a technician would, until it says release or refuses. For the demo
    workshop, tests and benchmarks: the record gets the readings that this simulated tool gives."""
    dial_in.refresh_advice(book, job_id, doing)
    for _act in range(60):
        state = book.job(job_id)
        reply = state.advice or {}
        action = reply.get("action")
        if action == "pull":
            where: Where = "stack" if reply.get("where") == "stack" else "air"
            before = _length(tool.next_length_before_mm)
            reading = _length(tool.pull(where).reading_mm)
            dial_in.record_pull(book, job_id, reading, doing=doing, where=where, length_before=before)
        elif action == "turn":
            cycles = int(reply.get("dry_cycles") or 0)
            tool.turn_clicks(int(reply["clicks"]))
            for _cycle in range(cycles):
                tool.dry_cycle()
            dial_in.turn(book, job_id, doing=doing, clicks=int(reply["clicks"]), dry_cycles=cycles)
        elif action == "dry_cycle":
            tool.dry_cycle()
            dial_in.dry_cycle(book, job_id, doing=doing)
        elif action == "remeasure":
            again = tool.pulls[-1].read_again(len(state.pulls[-1].readings))
            dial_in.read_again(book, job_id, _length(again), doing=doing)
        else:
            break
    return book.job(job_id)


def _did(last: PracticePull, truth: PracticeTruth, unit: LengthUnit) -> str:
    mean = _in(truth.mean_stack_length_mm, unit, fine=True)
    text = f"The insert really was {_in(last.true_length_mm, unit, fine=True)}; as the knob stands now, the mean in the stack is {mean}."
    if last.misread[0]:
        text += " That reading was a misread."
    if last.spun_off_early:
        text += " The pull was let go too early."
    if last.stalled:
        text += " The tool stalled: the air could not give the load."
    if last.cold > 0.5:
        text += f" The tool was cold and came {_in(truth.cold_shortfall_mm * last.cold, unit, fine=True)} short."
    return text


def _in(value_mm: float, unit: LengthUnit, *, fine: bool = False) -> str:
    decimals = (3 if unit == "mm" else 5) if fine else None
    return f"{show_mm(value_mm, unit, decimals=decimals)} {unit}"


def _last_pull(state: JobState) -> int:
    items: list[Pull | Coupon] = [*state.pulls, *state.coupons]
    return max((item.sequence for item in items), default=0)


def _turned_words(move: Move) -> str:
    if move.clicks is not None:
        return f"{move.clicks:+d} click{'s' if abs(move.clicks) != 1 else ''}".replace("-", "−")
    return f"{move.turns:+.2f} turns".replace("-", "−")


def _actions(state: JobState) -> list[dict[str, Any]]:
    items: list[Pull | Move | Coupon] = [*state.pulls, *state.moves, *state.coupons]
    return [action_of(item, _coupon_thickness_mm(state)) for item in sorted(items, key=lambda item: item.sequence)]


def _pull_of(state: JobState, wanted: Pull) -> PracticePull:
    """The simulated pull behind a recorded one."""
    items: list[Pull | Coupon] = [*state.pulls, *state.coupons]
    order = [item.sequence for item in sorted(items, key=lambda item: item.sequence)]
    return simulated_tool(state).pulls[order.index(wanted.sequence)]


def _coupon_thickness_mm(state: JobState) -> float:
    setting = state.setting or {}
    end = _end(state)
    key = {"thin": "thickness_low_mm", "thick": "thickness_high_mm"}.get(end, "thickness_mm")
    return float(setting.get(key, 2.16))


def _end(state: JobState) -> str:
    """The end of the batch that still wants coupons."""
    plan, wanted = prove.plan_of(state), prove.ends(state)
    for end in wanted:
        done = sum(c.counts and c.passed and c.end == end and c.purpose != "ladder" for c in state.coupons)
        if done < plan.coupons_each_end:
            return end
    return wanted[0]


def _checks(found: PracticeCoupon, *, cut: bool) -> dict[str, str]:
    good = {
        "flush": found.flush,
        "gap": not found.gap,
        "tilt": not found.tilt,
        "turn": not found.turns_in_hole,
        "thread_gauge": found.thread_gauge_goes,
        "blind_head": found.blind_head_even,
    }
    if cut:
        good["section"] = found.blind_head_even and not found.gap
    return {key: "pass" if value else "fail" for key, value in good.items()}


def _torque(found: PracticeCoupon) -> Torque | None:
    return parse_torque(f"{found.torque_to_turn_nm:.1f} Nm") if found.torque_to_turn_nm > 0 else None


def _length(value_mm: float) -> Length:
    """A caliper's reading, with the text that it would type."""
    return parse_length(f"{value_mm:.2f} mm")


def _stack() -> Stack:
    return Stack(
        (
            Layer("EN AW-5754", parse_length("2.0 mm"), parse_length("0.09 mm")),
            Layer("powder coat", parse_length("0.08 mm"), parse_length("0.02 mm"), coating=True, faces=2),
        ),
        tuple(parse_length(text) for text in ("2.16 mm", "2.17 mm", "2.15 mm", "2.16 mm", "2.16 mm")),
        gauge_error_mm=0.01,
    )


def _tool(simulated: SimulatedTool, nominals: Nominals) -> Tool:
    return Tool(
        control="stroke",
        name="Simulated tool",
        lead_per_turn=Length.from_mm(nominals.lead_mm),
        clicks_per_turn=simulated.clicks_per_turn,
        plus_turns=nominals.plus_turns,
        stroke_max=Length.from_mm(nominals.stroke_max_mm),
        stroke_min=Length.from_mm(nominals.stroke_min_mm),
        load_max_n=nominals.load_max_n,
        rated_pressure_bar=nominals.rated_pressure_bar,
        line_pressure_bar=simulated.pressure_bar,
        process_sd_mm=0.02,
    )


def _prepare(book: Book, nominals: Nominals) -> None:
    """The practice book's gauge and insert, once."""
    helper = Doing(HELPER)
    if not book.store.last(f"gauge:{GAUGE}"):
        look_after.add_gauge(book, GAUGE, "Practice caliper (simulated)", doing=helper, demo=True)
        block = parse_length("20 mm")
        look_after.check_gauge(book, GAUGE, reference=block, reading=block, doing=helper)
    if PART not in book.inserts():
        row = practice_insert(nominals)
        data = {"source": "practice", "inserts": [row.to_json()], "added": [row.part], "changed": []}
        book.write(CATALOGUE, [("CatalogueImported", data)], helper)


def practice_insert(nominals: Nominals) -> Insert:
    """The invented insert that the simulated tool pulls."""
    mm = Length.from_mm
    return Insert(
        part=PART,
        thread="M6",
        material="steel",
        head="flat",
        end="open",
        body="knurled",
        length_free=mm(nominals.insert_length_mm),
        grip_min=mm(nominals.grip_min_mm),
        grip_max=mm(nominals.grip_max_mm),
        set_allowance=mm(nominals.set_allowance_mm),
        set_allowance_min=mm(nominals.set_allowance_min_mm),
        set_allowance_max=mm(nominals.set_allowance_max_mm),
        flange_diameter=mm(12.0),
        flange_thickness=mm(1.2),
        body_diameter=mm(8.6),
        hole_diameter=mm(8.7),
        hole_tolerance=mm(0.1),
        thread_length=mm(6.8),
        unthreaded_length=mm(7.5),
        counterbore_diameter=mm(6.4),
        setting_load_n=nominals.setting_load_n,
        tightening_torque_max_nm=8.0,
        note="demo data: an invented part for practice",
    )


def used(state: JobState) -> int:
    """Inserts used up so far in this practice job."""
    return len(state.pulls) + len(state.coupons)
