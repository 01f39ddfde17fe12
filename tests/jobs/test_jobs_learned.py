"""What one job teaches the next: by the same tool and part, not in practice, and not across a service."""

from __future__ import annotations

from pathlib import Path

from firstpull.jobs import choose, dial_in, look_after, open_job, set_up
from workshop_example import ADA, Clock, a_stack, an_insert, follow_advice, mm, open_workshop, set_up_job, simulated


def test_the_next_job_knows_and_a_service_forgets(tmp_path: Path) -> None:
    """A second job's request carries what the first showed of tool and part; after a service the tool is as stated."""
    clock = Clock()
    with open_workshop(tmp_path, clock) as workshop:
        book = workshop.bench
        first = set_up_job(book)
        before = dial_in.known_for(book, first)
        assert before is not None
        assert before.knob is None
        follow_advice(book, first.id, simulated())
        clock.put_on(days=3)
        job = open_job.open_job(book, "Battery tray lid again", doing=ADA).id
        choose.describe_stack(book, job, a_stack(), doing=ADA)
        choose.take_insert_in_hand(book, job, an_insert(), doing=ADA)
        set_up.choose_tool(book, job, "T1", doing=ADA, mandrel_id="M6-a", gauge_id="C1")
        state = set_up.compute(book, job, doing=ADA)
        known = dial_in.known_for(book, state)
        assert known is not None
        assert known.knob is not None
        assert known.knob.sessions == 1
        assert known.lengths is not None
        assert known.lengths.lots == 1
        look_after.service(book, "T1", what="seals", doing=ADA)
        after = dial_in.known_for(book, state)
        assert after is not None
        assert after.knob is None


def test_lengths_of_the_lot_reach_the_advice(tmp_path: Path) -> None:
    """Free lengths measured without a pull stand in the request whose reply is on record."""
    with open_workshop(tmp_path) as workshop:
        state = set_up_job(workshop.bench)
        for text in ("15.48", "15.51"):
            state = dial_in.record_lot_length(workshop.bench, state.id, mm(text), doing=ADA)
        last = workshop.bench.store.read(state.stream)[-1]
        assert last.type == "AdviceGiven"
        assert last.data["request"]["job"]["lot_lengths"] == [15.48, 15.51]
