"""Why a step asks what it asks: a few lines each, with the formula and where it comes from. docs/theory says more."""

from __future__ import annotations

from typing import Final

from firstpull.units import LengthUnit, show_mm

WHYS: Final[dict[str, tuple[str, ...]]] = {
    "choose.stack": (
        "Everything between flange and blind side counts: t = Σ layers. A coating counts once for each coated face, the "
        "faces between two sheets too.",
        "A gauge number is a thickness only with its metal: galvanised sheet is thicker than bare steel of the same number.",
        "Sums are plain arithmetic; tolerances add in the worst case.",
    ),
    "choose.measure": (
        "Clamped as in the joint, or the air between the sheets is measured too.",
        "Mean of the readings, with the doubt of their spread and of the gauge together, at 95 %. JCGM 100:2008, 4.2 and "
        "G.4.1.",
    ),
    "choose.batch": (
        "One setting must serve the thinnest and the thickest: S_min = G_max − t_thin + A_min, S_max = G_max − t_thick + "
        "A_max, and S_min ≤ S_max with the tool’s scatter inside. Common practice.",
    ),
    "choose.thread": (
        "The thread decides mandrel, screw and strip load: F = strip area × shear strength. FED-STD-H28/2B and ASME B1.1, "
        "appendix B.",
        "Torque gives tension: T = K · d · F, K 0.20 dry, 0.15 lubricated, ± 30 %. Shigley, 9th edition, table 8-15.",
    ),
    "choose.access": (
        "A closed end keeps liquids out and chips in; it needs more room behind.",
        "Before the pull the insert reaches L_free − flange − t behind the stack; that room must be there. Common practice.",
    ),
    "choose.loads": (
        "Tension opens the joint, shear works across the screw, push drives it to the blind side; each has its own check.",
        "Worst case: (lowest offer − highest demand) / lowest offer. Chance: Φ((μ_R − μ_S) / √(σ_R² + σ_S²)), two normal "
        "quantities.",
    ),
    "choose.part": (
        "The part must bear on the flange: over a large hole the screw jacks the insert out of its hole.",
        "Tighten to a share of proof: F = share × S_p × A_s. ISO 898-1, SAE J429.",
    ),
    "choose.place": (
        "Edge at least 2 hole diameters, pitch at least 3: solid-rivet practice, AC 43.13-1B, taken for inserts (our "
        "assumption).",
        "In a pocket the tool’s nose must reach the flange.",
    ),
    "choose.service": (
        "Two metals with salt water between them are a battery: the small part should be the nobler. MIL-STD-889.",
        "Heat lowers strength, plating and sealant have their own limits; each row of the tables names its source.",
    ),
    "choose.pick": (
        "It fits when G_min ≤ t_thin and t_thick ≤ G_max and every other check holds. Common practice.",
        "Ranked by the tightest margin, the one that would give first; equals by what they spare elsewhere.",
    ),
    "act.air_off": ("Stored air can drive the tool with nobody at the trigger. 29 CFR 1910.147(d)(5).",),
    "act.mandrel": (
        "The mandrel bears the whole pull: engaged strip area × shear strength ≥ 1.25 × setting load. FED-STD-H28/2B, "
        "appendix B; the 1.25 is our choice.",
    ),
    "act.engagement": (
        "Too few threads strip; a mandrel jammed on the bottom of a closed end keeps the flange off the anvil: back off "
        "1½ turns. TM 10-5411-205-13, p 3-18.",
    ),
    "act.anvil": (
        "A gap between anvil and flange is stroke that never reaches the insert. TM 10-5411-205-13, p 3-18.",
    ),
    "act.knob": (
        "Turns = (length now − aim) / lead. The last turn is towards more stroke, so that play is taken up the same way "
        "each time. Common practice.",
    ),
    "act.air_on": (
        "The mandrel may turn as the air comes on: hands clear, eyes protected. 29 CFR 1910.133, ANSI/ISEA Z87.1.",
    ),
    "practice.own": (
        "Clicks = (reading − aim) / lead × clicks a turn. What a pull says is the tool, the insert and the caliper "
        "together; one reading is not the tool.",
    ),
}
"""Lines for each page that asks something, by step and screen. A line ends with its source where it has one."""


def setting_lines(setting: dict[str, object], unit: LengthUnit) -> tuple[str, ...]:
    """The two sums behind a setting, with this job's numbers in ``unit``. Common practice (docs/theory/setting.md)."""
    grip, allowance = setting.get("unused_grip_mm"), setting.get("set_allowance_mm")
    stroke, length = setting.get("stroke_mm"), setting.get("set_length_mm")
    if not all(isinstance(value, int | float) for value in (grip, allowance, stroke, length)):
        return ()
    shown = [show_mm(float(str(value)), unit) for value in (grip, allowance, stroke, length)]
    return (
        f"Stroke = unused grip + set allowance = {shown[0]} + {shown[1]} = {shown[2]}. Unused grip = greatest grip − stack.",
        f"Set length = free length − stroke = {shown[3]}. Common practice; the allowance is from: "
        f"{setting.get('set_allowance_source') or 'not named'}.",
    )
