"""The demo catalogue and the example jobs: invented, said to be so, and consistent with each other."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from firstpull.exchange.catalogue_lots import write_csv
from firstpull.exchange.catalogue_table import preview
from firstpull.exchange.job_file import JobFile, read_job, write_job
from firstpull.mechanics.choose import choose
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.mandrel import mandrel_plan
from firstpull.mechanics.setting import SettingRequest, compute_setting
from firstpull.trade.threads import thread

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "src" / "firstpull" / "jobs" / "demo"
JOBS = sorted(DEMO.glob("*.toml"))


@pytest.fixture(scope="module")
def inserts() -> tuple[Insert, ...]:
    """The demo catalogue, read as a person's file would be."""
    found = preview((DEMO / "inserts.csv").read_bytes(), filename="inserts.csv")
    assert found.problems == ()
    return found.rows


def nm(insert: Insert, name: str) -> int:
    """A length of the insert in nm."""
    return int(getattr(insert, name).nanometres)


def test_the_file_is_what_the_rules_give() -> None:
    """The script makes the same bytes again."""
    done = subprocess.run(
        [sys.executable, str(ROOT / "studies" / "demo_catalogue.py"), "--check"],
        check=False,
        env={"PYTHONPATH": str(ROOT / "src")},
    )
    assert done.returncode == 0


def test_it_covers_what_a_workshop_meets(inserts: tuple[Insert, ...]) -> None:
    """Some 200 parts in all sizes, materials, heads and ends, each once, each saying that it is demo data."""
    assert 180 <= len(inserts) <= 220
    assert len({insert.part for insert in inserts}) == len(inserts)
    assert all("demo data" in insert.note and insert.part.startswith("DEMO-") for insert in inserts)
    sizes = {thread(insert.thread).designation.split("x")[0].split(" ")[0] for insert in inserts}
    assert {"M3", "M4", "M5", "M6", "M8", "M10", "M12", "6-32", "10-32", "1/4-20", "1/2-13"} <= sizes
    assert set(Counter(insert.head for insert in inserts)) == {"flat", "countersunk", "low profile"}
    assert set(Counter(insert.end for insert in inserts)) == {"open", "closed"}
    assert {insert.material for insert in inserts} == {"steel", "stainless A2", "aluminium"}


def test_the_dimensions_of_each_insert_add_up(inserts: tuple[Insert, ...]) -> None:
    """Free length = head + unthreaded length + thread (+ bottom); bore clears the thread; the hole clears the body."""
    for insert in inserts:
        block = nm(insert, "length_free") - nm(insert, "flange_thickness") - nm(insert, "unthreaded_length")
        size = thread(insert.thread)
        assert block == nm(insert, "thread_length") if insert.end == "open" else block > nm(insert, "thread_length"), (
            insert.part
        )
        assert nm(insert, "counterbore_diameter") > size.major_mm * 1e6, insert.part
        assert 0 < nm(insert, "hole_diameter") - nm(insert, "body_diameter") <= 120_000, insert.part
        assert insert.thread_length is not None
        assert insert.thread_length.mm / size.pitch_mm >= 6, insert.part


def test_each_shank_can_fold_at_its_greatest_grip(inserts: tuple[Insert, ...]) -> None:
    """The tube behind the thickest stack is the allowance plus a fold of two walls or a little more."""
    for insert in inserts:
        sunk = nm(insert, "flange_thickness") if insert.grip_datum == "surface" else 0
        free_tube = nm(insert, "unthreaded_length") - (nm(insert, "grip_max") - sunk)
        wall = (nm(insert, "body_diameter") - nm(insert, "counterbore_diameter")) / 2
        assert 1.9 < (free_tube - nm(insert, "set_allowance")) / wall < 2.5, insert.part
        assert nm(insert, "set_allowance_min") < nm(insert, "set_allowance") < nm(insert, "set_allowance_max"), (
            insert.part
        )


def test_a_countersunk_grip_holds_the_head(inserts: tuple[Insert, ...]) -> None:
    """A sheet at the least grip holds the whole cone, and the grip counts from the flush surface."""
    for insert in inserts:
        assert (insert.head == "countersunk") == (insert.grip_datum == "surface"), insert.part
        if insert.head == "countersunk":
            assert nm(insert, "grip_min") > nm(insert, "flange_thickness"), insert.part


def test_the_thread_carries_the_setting_load(inserts: tuple[Insert, ...]) -> None:
    """The engaged threads and the mandrel stand the pull with margin."""
    for insert in inserts:
        plan = mandrel_plan(insert, setting_load_n=insert.setting_load_n)
        assert plan.warnings == (), insert.part
        assert plan.strip_margin is not None
        assert plan.strip_margin > 1.25, insert.part


def test_it_survives_writing_and_reading(inserts: tuple[Insert, ...]) -> None:
    """Written and read again it is the same, byte for byte."""
    text = (DEMO / "inserts.csv").read_bytes()
    assert write_csv(inserts).encode() == text


def job(path: Path) -> JobFile:
    """An example job."""
    return read_job(path.read_text(encoding="utf-8"), where=path.name)


def test_there_are_three_example_jobs() -> None:
    """Two metric ones and one in inches."""
    assert [(path.name, job(path).unit) for path in JOBS] == [
        ("battery_tray_lid.toml", "mm"),
        ("cable_guide.toml", "mm"),
        ("overseas_rack.toml", "in"),
    ]


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_an_example_job_can_be_set(path: Path, inserts: tuple[Insert, ...]) -> None:
    """Its part is in the catalogue, a window exists, one setting serves, the tool can do it, and choosing finds it."""
    read = job(path)
    assert "Demo data" in read.note
    assert read_job(write_job(read)) == read
    by_part = {insert.part: insert for insert in inserts}
    setting = compute_setting(SettingRequest(insert=by_part[read.part_name or ""], stack=read.stack, tool=read.tool))
    assert setting.blockers == ()
    assert setting.one_setting_serves is True
    assert setting.stroke_min_mm is not None
    assert setting.stroke_max_mm is not None
    assert setting.stroke_min_mm < setting.stroke_mm < setting.stroke_max_mm
    assert setting.capacity is not None
    assert setting.capacity.ok
    assert read.needs is not None
    found = choose(inserts, stack=read.stack, needs=read.needs)
    assert read.part_name in {candidate.insert.part for candidate in found.candidates}
