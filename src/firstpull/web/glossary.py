"""The words of the trade as the bench uses them, in our own plain wording. ISO 14588 terms where they fit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Word:
    """A word, what it means, and the letter it has in the formulas (empty: none)."""

    word: str
    meaning: str
    symbol: str = ""

    @property
    def anchor(self) -> str:
        """The fragment by which pages link to the word."""
        return self.word.replace(" ", "-").replace(",", "")


WORDS: tuple[Word, ...] = (
    Word(
        "insert",
        "The blind rivet nut: a flanged tube with a thread at its far end. It goes into a hole from one side and holds by folding behind the sheet.",
    ),
    Word("shank", "The thinner, unthreaded part of the insert between flange and thread. It is the part that folds."),
    Word("flange", "The rim that stays on the near side of the sheet. Also called the head."),
    Word(
        "blind head",
        "The fold that forms behind the sheet when the insert is pulled. It clamps the sheet against the flange.",
    ),
    Word(
        "mandrel", "The threaded rod of the tool. It is spun into the insert and pulls the thread towards the flange."
    ),
    Word("anvil", "The nose of the tool. It bears on the flange while the mandrel pulls."),
    Word(
        "stack",
        "Everything between the underside of the flange and the blind side: sheets, coatings, shims. For a countersunk head the stack starts at the flush surface if the catalogue counts the head in.",
        "t",
    ),
    Word("grip range", "The thinnest and the thickest stack that an insert may be set in.", "G min … G max"),
    Word("unused grip", "How much thicker the stack could still be: the largest grip minus the stack.", "G max − t"),
    Word("free length", "The overall length of the insert before the pull.", "L free"),
    Word(
        "set length",
        "The overall length of the insert after the pull. It shows what the tool did; it does not show that the joint is tight.",
        "L set",
    ),
    Word("stroke", "How much shorter the pull leaves the insert for good: free length minus set length.", "S"),
    Word(
        "set allowance",
        "The stroke wanted when the stack is as thick as the grip allows. It forms and seats the blind head. A target, never a limit.",
        "A",
    ),
    Word("protrusion", "What stands out behind the sheet: free protrusion before the pull, set protrusion after it."),
    Word("setting load", "The pull force that the setting needs.", "F"),
    Word(
        "window",
        "The least and the most stroke, or set length, that gives a good joint. It has a source: given by the maker or the user, or proven on coupons at both ends.",
    ),
    Word(
        "adjuster",
        "What changes the tool’s stroke: a knob or screw with a lead per turn and perhaps click stops. A force-set tool is adjusted by its pressure instead.",
    ),
    Word("lead", "How much the stroke changes with one turn of the adjuster."),
    Word(
        "play",
        "How far the adjuster turns back before anything moves. Finishing every move in the more-stroke direction keeps it out.",
    ),
    Word(
        "air pull",
        "Pulling an insert with no sheet. It tells what stroke the tool delivers at low load. It says nothing about seating, gap, tilt or turning.",
    ),
    Word("coupon", "A piece of scrap with exactly the stack of the job. A coupon pull sets an insert in it."),
    Word(
        "air-to-stack shift",
        "How much longer the same tool setting leaves an insert in the stack than in the air. Coupons show it; it is never assumed.",
        "δ",
    ),
    Word(
        "turning test",
        "Turning a set insert with a known torque to see whether it moves in its hole. The arrangement is recorded with the value.",
    ),
    Word(
        "push-out, pull-out",
        "Loading a set insert along its axis until it leaves the sheet, from behind or from the front.",
    ),
    Word(
        "worst margin",
        "What is left when the highest load meets the lowest strength, as a share of that strength. Below nothing for an estimate means: test it.",
    ),
    Word(
        "chance",
        "How likely the strength is enough when load and strength vary as stated. Read 99.99 % as “high”, not as a promise.",
    ),
    Word("estimate", "A strength from a rough formula. Your tested least value in the catalogue takes its place."),
    Word(
        "tension, shear, push", "Loads on one insert: pulling the part off, across the screw, towards the blind side."
    ),
    Word("load factor", "The share of the tension that a tightened screw feels; the rest only lowers the clamp."),
    Word("clamp", "How hard the tightened screw presses the part onto the flange. Too little, and the joint opens."),
    Word(
        "proof load", "The pull that a screw bears without being stretched for good. It comes with the screw’s class."
    ),
    Word(
        "nut factor",
        "How much of the torque is lost to friction. It scatters widely, so every tension from a torque is a range.",
        "K",
    ),
    Word("thread strip", "Shearing off the thread that is in mesh, of the screw or of the insert."),
    Word(
        "seated fold",
        "Tightening pulls on the insert a second time. It must stay below what the insert was set with, or the fold goes on closing.",
    ),
    Word("torque-to-turn", "The torque at which the set insert turns in its hole."),
    Word("sheet bearing", "Crushing the edge of the hole by a load across the screw."),
    Word("slip", "Whether friction under the part holds the shear. If it slips, the screw bears it."),
    Word(
        "jack-out",
        "Pulling the insert through when the part bears on the sheet instead of the flange: its hole is too wide.",
    ),
    Word("edge, pitch", "From the insert’s centre to the edge of the sheet, and to the next insert’s centre."),
    Word(
        "galvanic pair",
        "Two metals that touch. In the wet the less noble one is eaten; a small noble insert is the better way round.",
    ),
    Word(
        "go pin, no-go pin",
        "Gauge pins for the hole: the go pin enters the smallest good hole, the no-go pin does not enter the largest.",
    ),
    Word(
        "open end, closed end",
        "Whether a screw can pass through the insert, or meets a bottom. A closed end keeps water out and needs the mandrel backed off.",
    ),
    Word("release", "A named person says that the setting is proven and may be used. Until then no card exists."),
    Word(
        "setup card",
        "The frozen result: what to set, how the tool stands, what was proven, by whom, and until when it holds.",
    ),
    Word("quarantine", "Parts set since the last good check, kept apart until someone decides about them."),
)
