"""The demo workshop: an invented shop that builds electric cargo bikes, with its catalogue, tools, gauges, a released
job with a run, and a practice job. All demo data, made by the same verbs as real work.
"""

from __future__ import annotations

from importlib.resources import files

from firstpull.exchange.job_file import read_job
from firstpull.jobs import catalogue, dial_in, hand_over, look_after, practice_bench, prove, run_checks, set_up
from firstpull.jobs.open_job import open_from_file
from firstpull.jobs.workshop import Book, Doing, Workshop
from firstpull.mechanics.tool import Tool
from firstpull.practice import Nominals, SimulatedTool
from firstpull.units import Length, parse_length, parse_torque

PERSON = Doing("Demo technician")
JOB_FILES = ("battery_tray_lid.toml", "cable_guide.toml", "overseas_rack.toml")
_SEED = 7


def demo_text(name: str) -> str:
    """One of the demo files that come with firstpull."""
    return (files("firstpull.jobs") / "demo" / name).read_text(encoding="utf-8")


def fill_demo(workshop: Workshop) -> None:
    """Fill an empty demo workshop; one that has anything in it is left as it is."""
    book = workshop.bench
    if not book.store.streams():
        _catalogue(book)
        _tools(book)
        _gauges(book)
        _jobs(book)
    if not workshop.practice.store.streams("job"):
        practice_bench.start(workshop.practice, doing=Doing("you"))


def _catalogue(book: Book) -> None:
    data = demo_text("inserts.csv").encode()
    proposal = catalogue.propose(book, data, filename="inserts.csv (demo data)")
    catalogue.take(book, proposal, filename="inserts.csv (demo data)", doing=PERSON)


def _tools(book: Book) -> None:
    length = parse_length
    bench_tool = Tool(
        control="stroke",
        name="Tool A, bench (demo)",
        lead_per_turn=length("0.5 mm"),
        clicks_per_turn=12,
        stroke_max=length("7.5 mm"),
        stroke_min=length("0.5 mm"),
        load_max_n=16000,
        rated_pressure_bar=6.2,
        line_pressure_bar=5.8,
        stiffness_kn_per_mm=90,
        process_sd_mm=0.02,
    )
    line_tool = Tool(
        control="stroke",
        name="Tool B, line (demo)",
        lead_per_turn=length("0.4 mm"),
        plus_turns="less stroke",
        plus_direction="clockwise",
        stroke_max=length("6.0 mm"),
        load_max_n=12000,
        rated_pressure_bar=6.2,
        line_pressure_bar=5.8,
        stiffness_kn_per_mm=80,
        process_sd_mm=0.025,
    )
    force_tool = Tool(
        control="force",
        name="Tool F, force-set (demo)",
        stroke_max=length("8 mm"),
        load_max_n=20000,
        rated_pressure_bar=6.2,
        line_pressure_bar=6.0,
        piston_area_mm2=2000,
        ratio=16,
        efficiency=0.85,
    )
    add = look_after.add_tool
    m6 = {"id": "M6-a", "thread": "M6", "cycle_limit": 20000, "cycles": 18700}
    m5 = {"id": "M5-a", "thread": "M5", "cycle_limit": 20000, "cycles": 3100}
    quarter = {"id": "Q-a", "thread": "1/4-20", "cycle_limit": 15000, "cycles": 400}
    add(book, "A", bench_tool, doing=PERSON, service_every_cycles=5000, mandrels=(m6, quarter), cycles=41200, demo=True)
    look_after.count_cycles(book, "A", 3900, doing=PERSON)
    add(book, "B", line_tool, doing=PERSON, service_every_cycles=5000, mandrels=(m5,), cycles=12600, demo=True)
    m8 = {"id": "M8-a", "thread": "M8", "cycle_limit": 15000, "cycles": 900}
    add(book, "F", force_tool, doing=PERSON, service_every_cycles=8000, mandrels=(m8,), cycles=2200, demo=True)


def _gauges(book: Book) -> None:
    for mark, name, resolution, error in (
        ("C1", "Caliper 1, 150 mm (demo)", 0.01, 0.03),
        ("C2", "Caliper 2, 150 mm (demo)", 0.01, 0.03),
        ("Q1", "Micrometer 1, 25 mm (demo)", 0.001, 0.004),
    ):
        look_after.add_gauge(book, mark, name, doing=PERSON, resolution_mm=resolution, error_mm=error, demo=True)
    block = parse_length("20 mm")
    look_after.check_gauge(book, "C1", reference=block, reading=parse_length("20.01 mm"), doing=PERSON)
    look_after.check_gauge(book, "Q1", reference=block, reading=parse_length("20.001 mm"), doing=PERSON)


def _jobs(book: Book) -> None:
    for name, tool, mandrel in zip(JOB_FILES, ("A", "B", "A"), ("M6-a", "M5-a", "Q-a"), strict=True):
        state = open_from_file(book, read_job(demo_text(name), where=name), doing=PERSON, tool_id=tool, demo=True)
        set_up.choose_tool(book, state.id, tool, doing=PERSON, mandrel_id=mandrel, gauge_id="C1")
        set_up.compute(book, state.id, doing=PERSON)
        if name == JOB_FILES[0]:
            _take_to_release(book, state.id)


def _take_to_release(book: Book, job_id: str) -> None:
    """Dial in, prove, release and run the first demo job; a simulated tool gives its readings."""
    state = book.job(job_id)
    for act in set_up.acts(state):
        set_up.do_step(book, job_id, act["key"], doing=PERSON)
    setting = state.setting or {}
    insert = book.insert(str((state.insert or {})["part"]))
    allowance = [insert.set_allowance_min, insert.set_allowance, insert.set_allowance_max]
    low, middle, high = (length.mm if length is not None else 0.0 for length in allowance)
    nominals = Nominals(
        insert_length_mm=insert.length_free.mm,
        grip_min_mm=insert.grip_min.mm,
        grip_max_mm=insert.grip_max.mm,
        set_allowance_mm=middle,
        set_allowance_min_mm=low,
        set_allowance_max_mm=high,
        thickness_mm=float(setting["thickness_mm"]),
        setting_load_n=insert.setting_load_n or 6000.0,
    )
    tool = SimulatedTool.from_seed(_SEED, "steady", nominals=nominals)
    _dial_in(book, job_id, tool)
    if book.job(job_id).held is None:
        return
    _prove(book, job_id, tool)
    hand_over.release(book, job_id, doing=PERSON)
    for count in (1, 50, 100, 150):
        reading = _read(tool.pull("air").reading_mm)
        kind = "first off" if count == 1 else "tool"
        found = run_checks.Found(kind=kind, count=count, set_length=reading, good=True if count == 1 else None)
        run_checks.record_check(book, job_id, found, doing=PERSON)
        if book.job(job_id).stopped:
            return


def _dial_in(book: Book, job_id: str, tool: SimulatedTool) -> None:
    """Follow the advice to its end; hold the setting and confirm the lock by one pull in the air."""
    state = practice_bench.follow_advice(book, job_id, tool, doing=PERSON)
    if (state.advice or {}).get("action") == "release":
        dial_in.hold(book, job_id, doing=PERSON)
        before = _read(tool.next_length_before_mm)
        reading = _read(tool.pull("air").reading_mm)
        dial_in.record_pull(book, job_id, reading, doing=PERSON, length_before=before)


def _prove(book: Book, job_id: str, tool: SimulatedTool) -> None:
    for number in range(12):
        state = book.job(job_id)
        if number and (state.proof or {}).get("passed"):
            return
        before = _read(tool.next_length_before_mm)
        found = tool.coupon()
        checks = {kind.key: "pass" for kind in prove.CHECKS}
        checks["section"] = "pass"
        finding = prove.Finding(
            checks=checks,
            end=prove.ends(state)[number % len(prove.ends(state))],
            thickness=Length.from_mm(round(found.thickness_mm, 2)),
            set_length=_read(found.set_length_mm),
            length_before=before,
            torque=parse_torque(f"{found.torque_to_turn_nm:.1f} Nm"),
            arrangement="flange",
        )
        prove.check_coupon(book, job_id, finding, doing=PERSON)


def _read(value_mm: float) -> Length:
    return parse_length(f"{value_mm:.2f} mm")
