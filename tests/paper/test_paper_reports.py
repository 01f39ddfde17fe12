"""Trial log, first-article record and tool history as PDF: their words, their sizes, their standards, the same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from pypdf import PdfReader

from firstpull.errors import BadInput, Unsafe
from firstpull.jobs import papers
from firstpull.jobs.workshop import Book, Workshop
from firstpull.paper.card import card_pdf
from firstpull.paper.report import Column, Report, Table, report_pdf
from firstpull.web.event_words import words_of
from paper_example import CARD
from web import released_bench

JOB = released_bench.RELEASED
_WIDE_MM = {"A4": 210.0, "A5": 148.0, "Letter": 215.9}


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    folder = tmp_path_factory.mktemp("papers") / "workshop"
    released_bench.make(folder)
    workshop = Workshop(folder, clock=released_bench.clock)
    yield workshop.bench
    workshop.close()


def _text(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def _long(rows: int) -> Report:
    table = Table(
        "Rows", (Column("no.", number=True), Column("what", share=1)), tuple((str(n), "x" * 90) for n in range(rows))
    )
    facts = (("Insert", "M6", ""),)
    return Report("Trial log", "Lid", "", "mm", "Dialled in", "", facts, (table,), "lid#3", "2026-03-02T09:00:00Z")


def test_a_trial_log_tells_every_pull_and_turn(book: Book) -> None:
    """Each pull with its readings, each turn of the knob in words, and what it came to."""
    text = _text(papers.job_paper(book, JOB, "trial-log"))
    state = book.job(JOB)
    assert f"{len(state.pulls)} inserts used" in text
    assert "towards more stroke" in text
    assert "Dialled in: mean 12.49 mm" in text
    for pull in state.pulls:
        for reading in pull.readings:
            assert f"{reading.mm:.2f}" in text


def test_a_first_article_record_says_what_was_wanted_and_found(book: Book) -> None:
    """Every characteristic with its limit, what was found and how many were good, who released it, lines to sign."""
    text = _text(papers.job_paper(book, JOB, "first-article"))
    for word in (
        "Accepted: 3 of 3 coupons good",
        "12.30 to 12.63",
        "Head seated all round",
        "Released by",
        "checked by",
    ):
        assert word in text


def test_an_unproven_job_is_not_accepted(book: Book) -> None:
    """A job whose proof is owed prints “Not accepted yet” and what is owed."""
    text = _text(papers.job_paper(book, released_bench.HELD, "first-article", size="A5"))
    assert "Not accepted yet" in text
    assert "Still owed" in text
    assert "Accepted:" not in text


def test_a_tool_history_holds_its_events_and_what_is_due(book: Book) -> None:
    """Mandrels with their limit, every event in words, and the worst of what is due as the headline."""
    text = _text(papers.tool_paper(book, "A", words=words_of))
    for word in ("Due: look after it", "22600", "20000", "3900 cycles counted", "Mandrel M6-a fitted"):
        assert word in text


def test_the_unit_on_paper_is_the_one_asked_for(book: Book) -> None:
    """In inches the window of 12.30 to 12.63 mm prints as 0.4844 to 0.4971, and no length in mm is left."""
    text = _text(papers.job_paper(book, JOB, "first-article", unit="in"))
    assert "0.4844 to 0.4971" in text
    assert "12.30" not in text


@pytest.mark.parametrize("size", ["A4", "A5", "Letter"])
def test_papers_are_for_archives_and_screen_readers(book: Book, size: str) -> None:
    """Every size is PDF/A-2a and PDF/UA-1 with a language, a title and tags, and is as wide as its paper."""
    for made in (papers.job_paper(book, JOB, "trial-log", size=size), card_pdf(CARD, size=size)):  # type: ignore[arg-type]
        read = PdfReader(io.BytesIO(made))
        root = read.trailer["/Root"]
        assert "/StructTreeRoot" in root
        assert root["/Lang"] == "en"
        xmp = root["/Metadata"].get_object().get_data().decode()
        assert "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in xmp
        assert "<pdfuaid:part>1</pdfuaid:part>" in xmp
        assert float(read.pages[0].mediabox.width) / 72 * 25.4 == pytest.approx(_WIDE_MM[size], abs=0.5)


def test_a_long_table_goes_on_with_its_heading() -> None:
    """Two hundred rows fill several pages, each with the heading of the table and its number."""
    read = PdfReader(io.BytesIO(report_pdf(_long(200))))
    assert len(read.pages) > 2
    for number, page in enumerate(read.pages, 1):
        words = page.extract_text()
        assert "what" in words
        assert f"page {number} of {len(read.pages)}" in words


def test_the_same_report_gives_the_same_bytes() -> None:
    """A second run prints byte for byte the same."""
    assert report_pdf(_long(3)) == report_pdf(_long(3))


def test_what_no_paper_can_be_is_refused(book: Book) -> None:
    """Another size, another paper, a job without a setting: each is refused in words."""
    with pytest.raises(BadInput, match="size of paper"):
        report_pdf(_long(1), size="A0")
    with pytest.raises(Unsafe, match="no paper"):
        papers.job_paper(book, JOB, "poem")
