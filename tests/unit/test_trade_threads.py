"""How threads are written, and what the answers hold."""

import math

import pytest

from firstpull.errors import BadInput
from firstpull.trade.threads import strip_areas, thread, thread_designations


@pytest.mark.parametrize(
    ("written", "designation"),
    [
        ("M6", "M6x1"),
        ("M6x1", "M6x1"),
        ("m6×1.0", "M6x1"),
        ("M6 x 1,0", "M6x1"),
        ("M6-1.0", "M6x1"),
        ("M6x1-6H", "M6x1"),
        ("M6-6g", "M6x1"),
        ("M10x1.25", "M10x1.25"),
        ("M12", "M12x1.75"),
        ("1/4-20", "1/4-20 UNC"),
        ("1/4-20 UNC-2B", "1/4-20 UNC"),
        ("1/4 UNC", "1/4-20 UNC"),
        ('1/4" - 28', "1/4-28 UNF"),
        (".250-28", "1/4-28 UNF"),
        ("10-32", "10-32 UNF"),
        ("#10-32 UNF", "10-32 UNF"),
        ("No. 10-24", "10-24 UNC"),
        ("0.190-32", "10-32 UNF"),
        ("6-32 NC", "6-32 UNC"),
    ],
)
def test_threads_are_found_however_they_are_written(written, designation):
    """Each usual way to write a thread leads to its one designation."""
    assert thread(written).designation == designation


@pytest.mark.parametrize(
    ("written", "named"),
    [
        ("M13", "M12x1.75"),
        ("M6x0.8", "M6x0.75"),
        ("M6x1-6G", "6H"),
        ("1/4", "1/4-28 UNF"),
        ("1/4-28 UNC", "1/4-28 UNF"),
        ("7-32", "6-32 UNC"),
        ("1/0-20", "4-40 UNC"),
        ("1/4-20-3B", "2B"),
        ("bolt", "M6"),
        ("", "M6"),
    ],
)
def test_a_thread_that_is_not_held_is_refused_with_near_ones(written, named):
    """A size, pitch or class that is not held is refused, and the hint names what is near."""
    with pytest.raises(BadInput) as refused:
        thread(written, where="insert.thread")
    assert named in refused.value.hint
    assert refused.value.where == "insert.thread"


@pytest.mark.parametrize("designation", thread_designations())
def test_basic_diameters_follow_the_profile(designation):
    """D2 = D − 0.6495 P and D1 = D − 1.0825 P for every thread held, and its tap drill lies inside the minor limits."""
    found = thread(designation)
    assert found.pitch_diameter_mm == pytest.approx(found.major_mm - 0.649519 * found.pitch_mm, abs=2e-6)
    assert found.minor_mm == pytest.approx(found.major_mm - 1.082532 * found.pitch_mm, abs=2e-6)
    assert found.internal.minor_min_mm - 0.06 < found.tap_drill_mm < found.internal.minor_max_mm + 0.06


def test_all_sizes_of_the_trade_are_held():
    """M3 to M12 coarse and the usual fine ones, 4-40 to 1/2-13 and the fine inch ones are held."""
    wanted = ["M3", "M4", "M5", "M6", "M8", "M10", "M12", "M8x1", "M10x1", "M10x1.25", "M12x1", "M12x1.25", "M12x1.5"]
    wanted += [
        "4-40",
        "5-40",
        "6-32",
        "8-32",
        "10-24",
        "10-32",
        "12-24",
        "1/4-20",
        "1/4-28",
        "5/16-18",
        "5/16-24",
        "3/8-16",
        "3/8-24",
        "7/16-14",
        "7/16-20",
        "1/2-13",
        "1/2-20",
    ]
    held = set(thread_designations())
    assert all(thread(name).designation in held for name in wanted)


@pytest.mark.parametrize("engagement_mm", [0.0, -1.0, math.nan, math.inf, 1001.0])
def test_an_engagement_out_of_range_is_refused(engagement_mm):
    """Strip areas need an engagement over 0 and at most 1 m."""
    with pytest.raises(BadInput):
        strip_areas(thread("M6"), engagement_mm)
