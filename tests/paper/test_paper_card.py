"""The setup card as PDF: its pages, its words, its fonts, the same bytes every time."""

from __future__ import annotations

import copy
import io
import re
from typing import Any

import pytest
import typst
from pypdf import PdfReader

from firstpull.drawing.svg import text_width
from firstpull.errors import BadInput
from firstpull.paper.card import card_pdf
from firstpull.paper.card_view import card_view
from firstpull.paper.glyphs import FONT_FOLDER, MISSING, fit_to_fonts, printable
from paper_example import CARD

CUT = "more than this page holds"
HOSTILE = '#panic("x") *bold* $a^2$ [#sys] \\u{1F600} @ref <tag> </svg> "quote" `raw` // no /* */ = head'


def _read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def _text(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in _read(pdf).pages).split())


def _fonts(pdf: bytes) -> set[str]:
    """Names of all fonts that the pages and the drawings in them use; each must be embedded."""
    found: set[str] = set()

    def walk(resources: Any) -> None:
        for font in (resources.get("/Font") or {}).values():
            below = font.get_object()["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in below["/FontDescriptor"].get_object() or "/FontFile3" in below["/FontDescriptor"]
            found.add(str(below["/BaseFont"]).split("+")[1])
        for inner in (resources.get("/XObject") or {}).values():
            if "/Resources" in inner.get_object():
                walk(inner.get_object()["/Resources"])

    for page in _read(pdf).pages:
        walk(page["/Resources"])
    return found


def _long() -> dict[str, Any]:
    card = copy.deepcopy(CARD)
    card["practice"] = True
    for key in ("title", "part_name", "released_by"):
        card[key] = HOSTILE * 5
    for key in ("mandrel_steps", "valid_until"):
        card[key] = [HOSTILE * 3] * 30
    card["run"]["checks"] = ["word " * 200] * 30
    card["cautions"] = [{"text": HOSTILE * 9, "source": HOSTILE * 9}] * 40
    card["sources"] = [{"what": "x" * 500, "value": "y" * 500, "source": HOSTILE * 9}] * 60
    card["proof"]["rows"] = [{"check": "c" * 300, "result": "r", "value": "v", "limits": "l", "count": 3}] * 60
    card["stack"]["layers"] = card["stack"]["layers"] * 12
    return card


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize(("size", "pages", "width_mm"), [("A5", 2, 148), ("A4", 2, 210), ("Letter", 2, 216)])
def test_sizes_and_pages(size: str, pages: int, width_mm: float, unit: str) -> None:
    """Every size is a page at a glance and one behind it, whether the card is ordinary, empty or far too long."""
    for card in (CARD, {}, _long()):
        made = _read(card_pdf(card, size=size, unit=unit))
        assert len(made.pages) == pages
        assert float(made.pages[0].mediabox.width) / 72 * 25.4 == pytest.approx(width_mm, abs=0.5)


def test_the_glance_has_what_an_operator_needs() -> None:
    """A5: set length with absolute limits, insert, hole, tool, knob, mandrel steps, checks, cautions, validity, id, hash."""
    text = _text(card_pdf(CARD, size="A5", unit="mm"))
    for wanted in (
        "11.27", "11.00", "11.40", "stop below", "stop above", "SET LENGTH, MM", "ALL LENGTHS IN MM",
        "FX-M6-30-SO · M6x1", "9.00 to 9.10", "good for 2.12 to 2.24", "Bench setter, long stroke · T-03",
        "Mark 7, 4 clicks past the line; locked", "Spin the M6 mandrel through", "EVERY 50 SETS OR EVERY 30 MINUTES",
        "Eye protection.", "another lot of inserts", "job:J-0012#41", CARD["hash"], "DEMO DATA", "named, not signed",
        "stroke 4.23",
    ):  # fmt: skip
        assert wanted in text, wanted


def test_the_details_have_every_source() -> None:
    """A4 adds the stack table, the proof with its statistics, and the sources of numbers and cautions."""
    text = _text(card_pdf(CARD, size="A4", unit="mm"))
    for wanted in (
        "EN AW-5754", "measured, 3 readings", "0.50 to 3.00", "catalogue “Workshop inserts”, row 41",
        "given by the user as stroke limits", "54.9 % good at 95 % confidence", "≥ 8 N·m", "11.00 to 11.40",
        "29 CFR 1910.147(d)(5)", "proved: Example Person, 2026-03-02 14:05", "page 2 of 2",
    ):  # fmt: skip
        assert wanted in text, wanted


def test_an_inch_card_is_in_inches_throughout() -> None:
    """Every length is shown in inches with four places, and mm stands nowhere but in typed texts."""
    text = _text(card_pdf(CARD, size="A4", unit="in"))
    for wanted in ("0.4437", "0.4331", "0.4488", "ALL LENGTHS IN INCHES", "0.0854", "89.9 psi", "0.4331 to 0.4488"):
        assert wanted in text, wanted
    assert "11.27" not in text


def test_a_force_set_card_shows_the_pressure() -> None:
    """Without a set length the big number is the air pressure with its limits."""
    card = copy.deepcopy(CARD)
    card["tool"] |= {"control": "force", "pressure_bar": 5.5}
    card["setting"] = {"pressure_bar_min": 5.2, "pressure_bar_max": 5.8, "set_length_mm": None}
    text = _text(card_pdf(card, size="A5", unit="mm"))
    for wanted in ("AIR PRESSURE, BAR", "5.5", "5.2", "5.8", "blind head and turning test"):
        assert wanted in text, wanted
    assert "SET LENGTH, MM" not in text


def test_practice_and_demo_are_marked_on_every_page() -> None:
    """The marks stand on each page; a real card has none."""
    card = {**CARD, "practice": True}
    for page in _read(card_pdf(card, size="A4", unit="mm")).pages:
        assert "PRACTICE – not for production" in page.extract_text()
        assert "DEMO DATA" in page.extract_text()
    real = _text(card_pdf({**CARD, "demo": False}, size="A5", unit="mm"))
    assert "PRACTICE" not in real
    assert "DEMO" not in real


def test_an_unreleased_card_says_so() -> None:
    """Without a name the foot says “Not released”."""
    assert "Not released" in _text(card_pdf({**CARD, "released_by": None}, size="A5", unit="mm"))


def test_only_the_vendored_fonts_are_embedded() -> None:
    """A missing font would be replaced in silence; the names show that none was."""
    families = {"AtkinsonHyperlegibleNext-Regular", "AtkinsonHyperlegibleNext-Bold", "DejaVuSans", "DejaVuSans-Bold"}
    ordinary = _fonts(card_pdf(CARD, size="A4", unit="mm"))
    assert ordinary == {"AtkinsonHyperlegibleNext-Regular", "AtkinsonHyperlegibleNext-Bold"}
    strange = {**CARD, "title": "жук ✓ ⌀ → β", "part_name": "жук ✓ ⌀ → β"}
    assert _fonts(card_pdf(strange, size="A5", unit="mm")) == families


def test_the_signs_of_the_trade_can_be_printed() -> None:
    """Every sign that our own texts use has a glyph in both cuts."""
    assert not {sign for sign in "≥≤μ±×·−–“”‘’…°Øø⌀½¼²³✓→△□№" if ord(sign) not in printable()}
    assert fit_to_fonts("5 µm ≥ ½ ✓") == "5 μm ≥ ½ ✓"


def test_a_letter_without_a_glyph_is_said() -> None:
    """Letters that no vendored font has become a sign, and the card explains the sign."""
    text = _text(card_pdf({**CARD, "title": "电池 lid \U0001f9f0"}, size="A5", unit="mm"))
    assert f"{MISSING}{MISSING} lid {MISSING}" in text
    assert "can not print" in text
    assert "can not print" not in _text(card_pdf(CARD, size="A5", unit="mm"))


def test_hidden_and_reversing_characters_are_shown() -> None:
    """Characters that hide or reorder what the card says are printed as missing letters."""
    assert fit_to_fonts("11\u202e00\u200b \x00") == f"11{MISSING}00{MISSING} {MISSING}"


def test_the_longest_card_keeps_its_cautions_and_validity() -> None:
    """However long the texts, nothing of the glance falls off its page."""
    card = _long()
    card["cautions"] = [{"text": f"caution {n} " + "word " * 100, "source": "s"} for n in range(13)]
    card["valid_until"] = [f"until {n}" for n in range(8)]
    for size in ("A5", "A4"):
        text = _read(card_pdf(card, size=size, unit="mm")).pages[0].extract_text()
        assert CUT not in text
        for wanted in ("caution 12", "until 7", "named, not signed", card["hash"]):
            assert wanted in text, wanted


def test_a_page_that_is_cut_says_so() -> None:
    """Details beyond one page are cut, and the page says where the rest is; an ordinary card is whole."""
    assert CUT in _read(card_pdf(_long(), size="A4", unit="mm")).pages[1].extract_text()
    assert CUT not in _text(card_pdf(CARD, size="A4", unit="mm"))


def test_user_text_is_never_markup() -> None:
    """Typesetting commands in any field are printed as typed."""
    card = copy.deepcopy(CARD)
    card["title"] = HOSTILE[:80]
    card["knob"]["text"] = '#image("/etc/passwd")'
    card["insert"]["part"] = "*bold* _it_ $x$"
    card["stack"]["layers"][0]["material"] = "<b>&amp; #1"
    text = _text(card_pdf(card, size="A4", unit="mm"))
    for wanted in ('#panic("x") *bold* $a^2$', '#image("/etc/passwd")', "*bold* _it_ $x$", "<b>&amp; #1"):
        assert wanted in text, wanted


def test_the_same_card_gives_the_same_bytes() -> None:
    """No clock and no chance in the PDF, at either size."""
    for size in ("A4", "A5"):
        assert card_pdf(CARD, size=size, unit="mm") == card_pdf(copy.deepcopy(CARD), size=size, unit="mm")


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"setting": {"stroke_mm": "4.2"}}, "setting.stroke_mm"),
        ({"setting": {"stroke_mm": float("nan")}}, "setting.stroke_mm"),
        ({"setting": {"stroke_mm": True}}, "setting.stroke_mm"),
        ({"stack": {"layers": "one"}}, "stack.layers"),
        ({"stack": {"layers": ["one"]}}, "stack.layers[1]"),
        ({"insert": 3}, "insert"),
        ({"cautions": [3]}, "cautions[1]"),
        ({"title": {"a": 1}}, ""),
    ],
)
def test_a_card_of_another_form_is_our_error(change: dict[str, Any], where: str) -> None:
    """Wrong types raise BadInput that names the place."""
    with pytest.raises(BadInput) as problem:
        card_pdf({**CARD, **change}, size="A4", unit="mm")
    assert where in problem.value.where


def test_another_size_or_unit_is_our_error() -> None:
    """Only A4 and A5, mm and in."""
    for size, unit in (("A3", "mm"), ("A5", "cm")):
        with pytest.raises(BadInput):
            card_pdf(CARD, size=size, unit=unit)
    with pytest.raises(BadInput):
        card_pdf([], size="A5", unit="mm")


def test_long_lists_say_how_much_is_left_out() -> None:
    """A list that is cut ends in the count of what the record still has."""
    view = card_view(_long(), unit="mm")
    assert view["steps"][-1] == "+ 24 more in the record"
    assert len(view["steps"]) == 7
    assert view["sources"][-1][0] == "+ 43 more in the record"


def test_the_width_table_agrees_with_the_fonts() -> None:
    """What the drawings reckon for a text is what the typesetter measures with the vendored font, within 1 %."""
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONT_FOLDER)])
    for sample in ("stop below 11.27", "Battery tray lid, The quick fox", "0123456789.", "WMil{}|~#@"):
        for bold in (False, True):
            source = (
                '#set text(font: "Atkinson Hyperlegible Next", size: 100pt, kerning: false, ligatures: false, '
                f'number-width: "tabular", weight: {700 if bold else 400})\n'
                "#context [#metadata(measure(text(sys.inputs.sample)).width.pt()) <wide>]"
            )
            found = typst.query(
                source.encode(), "<wide>", field="value", one=True, font_paths=fonts, sys_inputs={"sample": sample}
            )
            assert text_width(sample, 100, bold=bold) == pytest.approx(float(found), rel=0.01)


def test_the_licences_travel_with_the_fonts() -> None:
    """Each vendored family has its licence beside it."""
    names = {path.name for path in FONT_FOLDER.iterdir()}
    assert {"LICENSE-AtkinsonHyperlegibleNext.txt", "LICENSE-DejaVuSans.txt"} <= names
    open_font = (FONT_FOLDER / "LICENSE-AtkinsonHyperlegibleNext.txt").read_text()
    assert re.search(r"SIL OPEN FONT LICENSE Version 1\.1", open_font)
