"""The stops of the tour in their order: a name for the list, and the line that stands above the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop: which page, its name, and what to look at there."""

    key: str
    name: str
    text: str


STOPS: Final = (
    Stop("overview", "The shop", "Every job opens at the step where it was left. Due and stopped things say why."),
    Stop(
        "choose", "Choose", "What fits this stack stands here, best first. The picture shows before and after the pull."
    ),
    Stop(
        "checks", "Why it holds", "Every check with its source. Above: the hole, its drill, and the pins that prove it."
    ),
    Stop("set_up", "Set up", "One act a page, drawn. The largest button is always the next thing to do."),
    Stop(
        "dial_in", "Dial in", "A simulated tool: pull, turn as told, pull again. It tells the reading before you pull."
    ),
    Stop("prove", "Prove", "Coupons of exactly this stack. Few coupons show little, and the page says how little."),
    Stop("hand_over", "Hand over", "The card is frozen in somebody’s name. Scan its code in the overview’s field."),
    Stop("run", "Run", "The operator’s page: is this one good? One number, one word, and a way to stop."),
    Stop(
        "look_after", "Look after", "What is due, and from what you see to the usual cause. Then: your own first job."
    ),
)
