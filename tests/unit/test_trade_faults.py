"""The table of faults is complete, each with a picture and steps that exist."""

import pytest

from firstpull.drawing.faults import FAULT_PICTURES, fault_picture
from firstpull.errors import BadInput, NotFound
from firstpull.trade.faults import STEPS, fault, faults


def test_each_fault_says_causes_and_what_to_try():
    """Every fault has causes and things to try, each at a step of the path, and a key of its own."""
    found = faults()
    assert len({one.key for one in found}) == len(found) == 11
    for one in found:
        assert one.seen
        assert one.causes
        assert one.tries
        assert all(cause.strip() for cause in one.causes)
        assert {attempt.step for attempt in one.tries} <= set(STEPS)
        assert all(attempt.text.strip() for attempt in one.tries)


@pytest.mark.parametrize("key", ["spinner", "gap", "stalled"])
def test_a_loose_joint_is_first_under_set(key):
    """What is loose has an under-set or stalled pull as its likeliest cause; a stalled tool is never cured at the knob."""
    assert fault(key).causes[0].startswith(("set too little", "tool stalls"))
    if key == "stalled":
        assert any(attempt.text.startswith("Do not turn the knob") for attempt in fault(key).tries)


def test_an_unknown_fault_is_not_found():
    """Another key brings our error with the keys there are."""
    with pytest.raises(NotFound, match="not a fault"):
        fault("rust")


@pytest.mark.parametrize("one", faults(), ids=lambda one: one.key)
def test_each_fault_has_a_picture_of_its_own(one):
    """The picture is drawn and carries what is seen as its title."""
    assert one.picture in FAULT_PICTURES
    assert one.seen in fault_picture(one.picture, title=one.seen)
    assert sum(other.picture == one.picture for other in faults()) == 1


def test_another_picture_is_refused():
    """A name that is no picture brings our error."""
    with pytest.raises(BadInput):
        fault_picture("rust")
