"""One real job through the pages: joint, insert, tool, dial-in, proof, release, card, run. Once with JavaScript and a
caliper that types, once without any.

The technician knows only what the pages say; the readings come from a simulated tool that is turned as they say.
"""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from playwright.sync_api import Browser

from browser_bench import Hand, Served, browsing, served, workshop_in
from firstpull.practice import Nominals, PracticeCoupon, SimulatedTool

PART = "DEMO-M6-STFO-30"
STACK_READINGS = ("2.16", "2.18", "2.17", "2,16", "2.17")
_TURN = re.compile(r"(\d+) clicks? (clockwise|anticlockwise)")
_CYCLES = re.compile(r"then (\d+) cycles? without an insert")
_LIMITS = re.compile(r"([\d.]+) to ([\d.]+)")


@pytest.fixture(scope="module")
def bench(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("whole") / "workshop"
    shutil.copytree(demo_folder, folder)
    with served(workshop_in(folder, demo=True)) as made:
        yield made


class Technician(Hand):
    """Works through the pages with a simulated tool in the other hand."""

    def __init__(self, page: object, tool: SimulatedTool) -> None:
        super().__init__(page)  # type: ignore[arg-type]
        self.tool = tool
        self.pulled = 0
        self.pull_reads: list[float] = []
        self.typed: list[str] = []

    def take_reading(self, value_mm: float) -> None:
        self.typed.append(f"{value_mm:.2f}")
        self.gauge(self.typed[-1])

    def choose_insert(self, title: str) -> str:
        """From a new job to the insert; gives the job's address."""
        self.go("/bench/jobs/new")
        self.fill("Job", title)
        self.press("Open the job")
        address = self.page.url.split("/choose")[0]
        for material, thickness, coat in (("EN AW-5754", "2.0 ± 0.09", False), ("powder coat", "0.08 ± 0.02", True)):
            if coat:
                self.press("It is a coating")
                self.choose("2")
            self.fill("Coating" if coat else "Material", material)
            self.fill("Thickness", thickness)
            self.press("Add the coating" if coat else "Add this layer")
        assert "Together 2.16 mm" in self.text(".sheet")
        self.press("Measure it")
        for reading in STACK_READINGS:
            self.gauge(reading)
        assert re.search(r"Mean 2\.168 ± \d\.\d+ mm of 5 readings", self.text())
        self.press("Go on: the screw")
        self.fill("Thread", "M6")
        self.fill("Torque", "6")
        self.press("Go on: access")
        self.choose("Open")
        self.choose("Flat")
        self.fill("Room behind", "20")
        self.press("Show what fits")
        assert self.question() == "Which insert do you use?"
        if not self.page.get_by_text(PART, exact=True).first.is_visible():
            self.page.locator("summary", has_text="more").click()
            self.press(re.compile(PART))
        self.choose(PART)
        self.press("Use this one")
        return address

    def set_up(self) -> None:
        """Answer what is asked, compute, and do every act at the tool in its order."""
        self.choose("Tool A")
        self.press("Use this tool")
        assert self.question() == "Which M6 mandrel is fitted?"
        self.choose("M6-a")
        self.press("This one")
        assert self.question() == "What do you read lengths with?"
        self.choose("Caliper 1")
        self.press("This one")
        if self.question() == "Which set allowance?":
            self.press("Use it")
        self.press("Compute the setting")
        acts = []
        while self.question() != "The tool is ready.":
            acts.append(self.question())
            assert len(acts) <= 8
            self.press(self.actions()[0])
        assert len(acts) >= 5
        assert re.search(r"Stroke 2\.7\d", self.text(".instruction"))
        self.press("Dial in")

    def dial_in(self) -> int:
        """Do what the page says until it says that the adjuster can be locked; gives the inserts used."""
        for _act in range(60):
            asked = self.question()
            if asked == "It is where it must be. Lock the adjuster?":
                self.press("Locked: go on to coupons")
                return self.pulled
            if asked == "How long is the insert before its pull?":
                self.take_reading(self.tool.next_length_before_mm)
            elif asked == "What did this pull read?":
                where = "stack" if "in scrap of exactly this stack" in self.text(".caution") else "air"
                self.pulled += 1
                pull = self.tool.pull("stack" if where == "stack" else "air")
                self.reads = 1
                self.take_reading(pull.reading_mm)
            elif asked == "What does it read now?":
                self.page.wait_for_timeout(320)  # a hand reads again later than a gauge repeats itself
                self.take_reading(self.tool.pulls[-1].read_again(self.reads))
                self.reads += 1
            elif asked == "Take the air off.":
                self.press("Air is off")
            elif asked == "Turn the knob.":
                self._turn_as_told()
            elif asked == "Cycle the tool without an insert.":
                self.tool.dry_cycle()
                self.press("Cycled once")
            else:
                raise AssertionError(f"what now? {self.text()}")
        raise AssertionError(f"it does not end: {self.text()}")

    def _turn_as_told(self) -> None:
        told = _TURN.fullmatch(self.text(".instruction"))
        assert told is not None, self.text()
        self.tool.turn_clicks(int(told[1]) * (1 if told[2] == "clockwise" else -1))
        cycles = _CYCLES.search(self.text(".caution"))
        for _cycle in range(int(cycles[1]) if cycles else 0):
            self.tool.dry_cycle()
        self.press("Turned, air on, hands clear")

    def confirm(self) -> None:
        """The air pull after locking, with the insert measured before it where the page asks for that."""
        assert self.actions()[0] == "Pull one in the air"
        self.press("Pull one in the air")
        if "before its pull" in self.question():
            self.take_reading(self.tool.next_length_before_mm)
        self.take_reading(self.tool.pull("air").reading_mm)

    def prove(self) -> int:
        """Set and check coupons until nothing is owed; gives their number."""
        for number in range(1, 13):
            if "Hand it over" in self.actions():
                return number - 1
            self.press(re.compile(rf"^Coupon {number}"))
            self.check_coupon(number)
        raise AssertionError(f"the proof does not end: {self.text()}")

    def check_coupon(self, number: int) -> None:
        before = self.tool.next_length_before_mm
        coupon = self.tool.coupon()
        seen = []
        while self.question().startswith(f"Coupon {number}: "):
            asked = self.question().split(": ", 1)[1]
            seen.append(asked)
            assert len(seen) <= 12, seen
            if asked == "at what torque does it first move?":
                self.choose("On the flange")
                self.page.locator("#reading").focus()
                self.gauge(f"{coupon.torque_to_turn_nm:.1f}")
            elif asked in ("how thick is its stack?", "how long is the insert before its pull?", "how long is it set?"):
                value = {"how thick is its stack?": coupon.thickness_mm, "how long is it set?": coupon.set_length_mm}
                self.take_reading(value.get(asked, before))
            else:
                self.press_at(self.page.locator(".verdict").nth(0 if _good(asked, coupon) else 1))

    def release(self, name: str) -> str:
        """Release in a name; gives the record id that the card carries."""
        self.press("Hand it over")
        assert self.question() == "Do you release it?"
        self.fill("Who releases it?", name)
        self.press("Release it")
        assert self.question() == "Released: the card is frozen."
        self.press_at(self.page.locator("main .action").first)
        found = re.search(r"[a-z0-9-]+#\d+", self.text())
        assert found is not None, self.text()
        assert name in self.text()
        return found[0]

    def check_run(self, address: str) -> None:
        """The first round in the run is in control; one set far outside stops it."""
        self.go(f"{address}/run")
        assert self.question() == "Is the first one good?"
        self.press_at(self.page.locator(".verdict").first)
        for _check in range(5):
            asked = self.question()
            if asked == "Is the tool still the same?":
                self.reading_of_run(self.tool.pull("air").reading_mm, count="50")
            elif asked == "Is today’s stack the same?":
                self.reading_of_run(2.17, count="50")
            elif asked == "Is the head seated?":
                self.fill("Sets so far", "50")
                self.press_at(self.page.locator(".verdict").first)
            elif asked == "Does it hold when turned?":
                self.reading_of_run(12.0, count="50")
            assert self.text(".big-state") in ("In control", "Look"), self.text()
        assert self.text(".big-state") == "In control"
        self.go(f"{address}/run?now=tool")
        limits = _LIMITS.search(self.text(".reading-label"))
        assert limits is not None
        self.reading_of_run(float(limits[2]) + 0.7, count="100")
        if self.text(".big-state") != "Stop":  # one re-read is allowed, both are kept
            self.reading_of_run(float(limits[2]) + 0.71, count="100")
        assert self.text(".big-state") == "Stop"
        assert self.question() == "Stopped. Set no more."
        assert self.actions() == ["Prove it again"]

    def reading_of_run(self, value: float, *, count: str) -> None:
        self.fill("Sets so far", count)
        self.page.locator("#reading").focus()
        self.take_reading(value)


def _good(asked: str, coupon: PracticeCoupon) -> bool:
    found = {
        "flush": coupon.flush,
        "gap": not coupon.gap,
        "square": not coupon.tilt,
        "turn": not coupon.turns_in_hole,
        "thread": coupon.thread_gauge_goes,
        "blind": coupon.blind_head_even,
        "fold": coupon.passes,
    }
    matching = [good for word, good in found.items() if word in asked]
    assert len(matching) == 1, asked
    return matching[0]


def _simulated(seed: int) -> SimulatedTool:
    """A tool that sets the demo’s M6 insert in the stack of this job."""
    nominals = Nominals(
        insert_length_mm=15.2,
        set_allowance_mm=1.91,
        set_allowance_min_mm=1.72,
        set_allowance_max_mm=2.1,
        thickness_mm=2.17,
        setting_load_n=6300.0,
    )
    return SimulatedTool.from_seed(seed, "steady", nominals=nominals)


def test_the_whole_job_with_a_typing_caliper(browser: Browser, bench: Served) -> None:
    """From a new job to a released card and on to a stop in the run, with no address outside asked."""
    with browsing(browser, bench, person="Ada") as page:
        hand = Technician(page, _simulated(21))
        address = hand.choose_insert("Seat rail M6")
        hand.set_up()
        used = hand.dial_in()
        assert used <= 8
        hand.confirm()
        assert hand.prove() >= 2
        record = hand.release("Ada Example")
        hand.page.go_back()
        with page.expect_download() as waiting:
            page.get_by_role("link", name="PDF A5").evaluate("link => { link.download = ''; link.click(); }")
        _is_card(waiting.value.path().read_bytes(), record)
        hand.check_run(address)
        _all_on_record(bench, address, hand)


def test_the_whole_job_without_javascript(browser: Browser, bench: Served) -> None:
    """The same job by forms and links alone, to the released card."""
    with browsing(browser, bench, person="Ben", javascript=False) as page:
        hand = Technician(page, _simulated(22))
        address = hand.choose_insert("Seat rail M6, by forms")
        hand.set_up()
        hand.dial_in()
        hand.confirm()
        hand.prove()
        record = hand.release("Ben Example")
        answer = page.context.request.get(f"{address}/card.pdf?size=A4")
        assert answer.ok
        _is_card(answer.body(), record)
        hand.check_run(address)
        _all_on_record(bench, address, hand)


def _is_card(data: bytes, record: str) -> None:
    assert data.startswith(b"%PDF")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)
    assert record in "".join(text.split())


def _all_on_record(bench: Served, address: str, hand: Technician) -> None:
    """Every length that the caliper typed is in the record, as typed."""
    state = bench.workshop.bench.job(address.rpartition("/")[2])
    kept = [reading.typed for pull in state.pulls for reading in pull.readings]
    for text in kept:
        assert any(text.startswith(typed) for typed in hand.typed)
    assert len(state.pulls) == hand.pulled + 1
    assert state.stopped
