"""Long work beside the pages: ids, turns, stopping, what is kept and what is dropped, and an end that does not hang."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

import pytest

from firstpull.errors import BadInput, NotFound
from firstpull.jobs.long_work import LongWork, Look
from firstpull.mechanics.cover import Progress

Work = LongWork[str, str]


class Bench:
    """Work that goes on until it is let go or stopped, and a clock that stands where it is put."""

    def __init__(self, **how: int) -> None:
        self.go = threading.Event()
        self.begun: list[str] = []
        self.now = 100.0
        self.work: Work = LongWork(self.perform, clock=lambda: self.now, **how)

    def perform(self, asked: str, stopped: Callable[[], bool], tell: Callable[[Progress], None]) -> str:
        self.begun.append(asked)
        tell(Progress("items", 1, 6, 3, 2))
        if asked == "refused":
            raise BadInput("That cannot be.", hint="Ask for something else.")
        if asked == "broken":
            raise ZeroDivisionError
        while not (self.go.is_set() or stopped()):
            time.sleep(0.005)
        return f"best of {asked}" if stopped() else f"all of {asked}"

    def until(self, one: str, *conditions: str) -> Look[str, str]:
        end = time.monotonic() + 10
        while True:
            look = self.work.look(one)
            if look.condition in conditions:
                return look
            assert time.monotonic() < end, look
            time.sleep(0.005)


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench(at_once=1, most_open=3, keep=2)
    yield made
    made.work.close()


def test_it_tells_how_far_it_is_and_then_what_was_found(bench: Bench) -> None:
    """While it works the step and the seconds are told; at its end what was found."""
    one = bench.work.start("a")
    bench.until(one, "working")
    bench.now += 12
    end = time.monotonic() + 10
    while bench.work.look(one).step is None:
        assert time.monotonic() < end
    look = bench.work.look(one)
    assert (look.asked, look.seconds, look.found, look.over) == ("a", 12.0, None, False)
    assert look.step == Progress("items", 1, 6, 3, 2)
    bench.go.set()
    assert bench.until(one, "done").found == "all of a"
    bench.now += 50
    assert bench.work.look(one).seconds == 12.0


def test_stopping_keeps_the_best_so_far(bench: Bench) -> None:
    """Stopped, it ends with what it has; one that is over stays as it is, and stopping twice changes nothing."""
    one = bench.work.start("a")
    bench.until(one, "working")
    bench.work.stop(one)
    assert bench.until(one, "done").found == "best of a"
    bench.work.stop(one)
    assert bench.work.look(one).condition == "done"


def test_others_wait_for_their_turn_and_can_be_stopped_there(bench: Bench) -> None:
    """One works at a time; one that waits can be stopped without having begun."""
    first, second, third = (bench.work.start(name) for name in "abc")
    bench.until(first, "working")
    assert bench.work.look(second).condition == "waiting"
    bench.work.stop(third)
    gone = bench.until(third, "failed")
    assert "stopped before it began" in str(gone.problem)
    bench.work.stop(first)
    bench.until(second, "working")
    bench.go.set()
    assert bench.until(second, "done").found == "all of b"
    assert bench.begun == ["a", "b"]


def test_a_button_pressed_twice_starts_one(bench: Bench) -> None:
    """The same slip with the same question is the same work; another question is another."""
    one = bench.work.start("a", slip="x")
    assert bench.work.start("a", slip="x") == one
    assert bench.work.start("b", slip="x") != one
    assert bench.work.start("a") != one


def test_too_many_are_refused(bench: Bench) -> None:
    """Beyond so many open ones nothing is begun; once one has ended there is room again."""
    first = bench.work.start("a")
    bench.work.start("b")
    bench.work.start("c")
    with pytest.raises(BadInput, match="Too many searches"):
        bench.work.start("d")
    bench.work.stop(first)
    bench.until(first, "done", "failed")
    bench.work.start("d")


@pytest.mark.parametrize(("asked", "said"), [("refused", "That cannot be."), ("broken", "The search broke off.")])
def test_what_goes_wrong_is_told_and_frees_the_turn(bench: Bench, asked: str, said: str) -> None:
    """Our errors come through; anything else is logged and said plainly; the next one gets its turn."""
    one = bench.work.start(asked)
    assert said in str(bench.until(one, "failed").problem)
    bench.go.set()
    assert bench.until(bench.work.start("a"), "done").found == "all of a"


def test_old_results_are_dropped(bench: Bench) -> None:
    """A result goes when nobody looked at it for an hour, or when newer ones fill the shelf; work that is on stays."""
    bench.go.set()
    one = bench.work.start("a")
    bench.until(one, "done")
    bench.now += 3000
    assert bench.work.look(one).found == "all of a"
    bench.now += 3000
    assert bench.work.look(one).found == "all of a"
    bench.now += 3601
    with pytest.raises(NotFound, match="not here any longer"):
        bench.work.look(one)
    many = []
    for name in "bcd":
        bench.now += 1
        many.append(bench.work.start(name))
        bench.until(many[-1], "done")
    bench.work.start("e")
    with pytest.raises(NotFound):
        bench.work.look(many[0])
    with pytest.raises(NotFound):
        bench.work.stop("never")


def test_closing_stops_everything_and_does_not_hang(bench: Bench) -> None:
    """At the end all work is stopped and waited for; nothing starts afterwards."""
    first, second = bench.work.start("a"), bench.work.start("b")
    bench.until(first, "working")
    begun = time.monotonic()
    bench.work.close(wait_s=5)
    assert bench.work.look(first).over
    assert bench.work.look(second).over
    assert time.monotonic() - begun < 5
    with pytest.raises(BadInput):
        bench.work.start("c")


def test_closing_does_not_wait_for_ever() -> None:
    """Work that does not listen is left behind after the time given."""
    stuck = threading.Event()
    work: Work = LongWork(lambda asked, _stopped, _tell: str(stuck.wait(20)) + asked)
    work.start("a")
    begun = time.monotonic()
    work.close(wait_s=0.1)
    assert time.monotonic() - begun < 5
    stuck.set()
