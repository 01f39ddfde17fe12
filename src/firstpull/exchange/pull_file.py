"""A virtual pull described by a TOML file. Lengths are numbers in mm or texts with a unit; stresses are numbers in MPa."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import Any

from firstpull.errors import BadInput
from firstpull.exchange.job_fields import Section
from firstpull.mechanics.collapse.case import PullCase, Scatter, Sheet
from firstpull.mechanics.collapse.flow_curves import library_curve
from firstpull.mechanics.collapse.limits import MANDREL_CLASS, Surroundings
from firstpull.mechanics.collapse.material import FlowCurve, Law
from firstpull.trade.screws import property_class
from firstpull.trade.threads import thread

MOST_BYTES = 256 * 1024
LAWS: tuple[Law, ...] = ("swift", "voce", "hollomon", "ludwik", "table")
_NUMBERS = {"K_mpa": "k_mpa", "n": "n", "e0": "e0", "s0_mpa": "s0_mpa", "Q_mpa": "q_mpa", "b": "b", "H_mpa": "h_mpa"}
_NEEDED = {
    "swift": ("K_mpa", "e0", "n"),
    "hollomon": ("K_mpa", "n"),
    "ludwik": ("s0_mpa", "K_mpa", "n"),
    "voce": ("s0_mpa", "Q_mpa", "b"),
    "table": ("points",),
}
_KNOWN = {
    "body": (
        "outer_diameter",
        "counterbore_diameter",
        "unthreaded_length",
        "thread_bore_diameter",
        "thread",
        "threaded_length",
    ),
    "flange": ("diameter", "thickness"),
    "sheet": ("thickness", "hole_diameter", "edge_radius", "E_mpa", "yield_mpa"),
    "material": ("name", "law", "E_mpa", "poisson", "points", *_NUMBERS),
    "pull": (
        "friction",
        "stroke",
        "mandrel_class",
        "tool_compliance_mm_per_kn",
        "tool_load_n",
        "tool_stroke",
        "screw_preload_n",
        "sheet_load_n",
    ),
    "scatter": ("thickness", "hole", "wall", "strength", "friction"),
}


@dataclass(frozen=True, slots=True)
class PullRequest:
    """What a file asks: the case, the largest grip in mm, the tool's compliance, what else is known around the pull, and how it
    scatters from set to set."""

    case: PullCase
    grip_max_mm: float | None
    compliance_mm_per_kn: float | None
    around: Surroundings = field(default_factory=Surroundings)
    scatter: Scatter = field(default_factory=Scatter)


def read_pull(text: str, *, where: str = "") -> PullRequest:
    """The pull that this text describes. Raises BadInput with the place of what cannot be used."""
    if len(text.encode()) > MOST_BYTES:
        raise BadInput("The file is too long for a pull.", where=where, hint="At most 256 kB are read.")
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        raise BadInput("This is not TOML.", where=where, hint=str(problem)[:200])
    try:
        return _request(values)
    except BadInput as problem:
        raise problem.at(where) if where else problem


def _request(values: dict[str, Any]) -> PullRequest:
    top = Section.of(values, "", known=(*_KNOWN, "grip_max"))
    for name in ("body", "flange", "material", "pull"):
        if name not in values:
            raise BadInput(f"The section [{name}] is missing.", where=name, hint=f"It holds {', '.join(_KNOWN[name])}.")
    body, flange, pull = (Section.of(values[name], name, known=_KNOWN[name]) for name in ("body", "flange", "pull"))
    bore, mandrel = _bore(body)
    case = PullCase(
        outer_diameter_mm=_mm(body, "outer_diameter"),
        counterbore_diameter_mm=_mm(body, "counterbore_diameter"),
        unthreaded_length_mm=_mm(body, "unthreaded_length"),
        bore_diameter_mm=bore,
        threaded_length_mm=_mm(body, "threaded_length"),
        flange_diameter_mm=_mm(flange, "diameter"),
        flange_thickness_mm=_mm(flange, "thickness"),
        metal=_metal(Section.of(values["material"], "material", known=_KNOWN["material"])),
        friction=_number(pull, "friction"),
        stroke_mm=_mm(pull, "stroke"),
        sheet=_sheet(Section.of(values["sheet"], "sheet", known=_KNOWN["sheet"])) if "sheet" in values else None,
        mandrel_diameter_mm=mandrel,
    )
    compliance = pull.number("tool_compliance_mm_per_kn")
    around = _around(body, pull, compliance)
    grip = _mm(top, "grip_max") if "grip_max" in values else None
    return PullRequest(case, grip, compliance, around, _scatter(values.get("scatter", {})))


def _scatter(values: Any) -> Scatter:
    """Standard deviations from set to set: lengths, and shares of strength and friction."""
    section = Section.of(values, "scatter", known=_KNOWN["scatter"])
    lengths = {f"{key}_mm": _mm(section, key) for key in ("thickness", "hole", "wall") if section.has(key)}
    shares = {key: _number(section, key) for key in ("strength", "friction") if section.has(key)}
    if min([0.0, *lengths.values(), *shares.values()]) < 0.0 or max([0.0, *shares.values()]) > 0.5:
        raise BadInput("A scatter is not negative, a share at most 0.5.", where="scatter", hint='thickness = "0.05 mm"')
    return Scatter(**lengths, **shares)


def _around(body: Section, pull: Section, compliance: float | None) -> Surroundings:
    """Thread, mandrel, tool and screw, as far as they are said."""
    named = body.text("thread") if body.has("thread") else ""
    return Surroundings(
        thread=thread(named, where=body.at("thread")).designation if named else "",
        mandrel_class=property_class(pull.text("mandrel_class"), where=pull.at("mandrel_class")).name
        if pull.has("mandrel_class")
        else MANDREL_CLASS,
        tool_load_n=pull.number("tool_load_n"),
        tool_stroke_mm=_mm(pull, "tool_stroke") if pull.has("tool_stroke") else None,
        compliance_mm_per_kn=compliance,
        sheet_load_n=pull.number("sheet_load_n"),
        preload_n=pull.number("screw_preload_n"),
    )


def _mm(section: Section, key: str) -> float:
    """A length: a number in mm, or a text with its unit."""
    value = section.values.get(key)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _number(section, key)
    return section.required_length(key).mm


def _number(section: Section, key: str) -> float:
    value = section.number(key)
    if value is None:
        raise BadInput(f"“{key}” is missing.", where=section.at(key), hint="It is a number.")
    return value


def _bore(body: Section) -> tuple[float, float | None]:
    """Thread bore and mandrel: as measured, or the pitch and major diameters of the thread."""
    if body.has("thread_bore_diameter"):
        found = thread(body.text("thread"), where=body.at("thread")).major_mm if body.has("thread") else None
        return _mm(body, "thread_bore_diameter"), found
    named = thread(body.required_text("thread", example="M6"), where=body.at("thread"))
    return named.pitch_diameter_mm, named.major_mm


def _sheet(section: Section) -> Sheet:
    return Sheet(
        _mm(section, "thickness"),
        _mm(section, "hole_diameter"),
        _mm(section, "edge_radius") if section.has("edge_radius") else 0.1,
        section.number("E_mpa"),
        section.number("yield_mpa"),
    )


def _metal(section: Section) -> FlowCurve:
    """The flow curve: from the library by name, or by its law."""
    if section.has("name") and not section.has("law"):
        return library_curve(section.text("name"), where=section.at("name"))
    chosen = section.choice("law", LAWS)
    law = next((law for law in LAWS if law == chosen), None)
    if law is None:
        raise BadInput("Which metal is it?", where="material", hint='name = "steel", or law = "swift" and its numbers.')
    for key in ("E_mpa", "poisson", *_NEEDED[law]):
        if not section.has(key):
            raise BadInput(
                f"“{key}” is missing.", where=section.at(key), hint=f"{law} wants {', '.join(_NEEDED[law])}."
            )
    given = {name: _number(section, key) for key, name in _NUMBERS.items() if section.has(key)}
    points = _points(section) if law == "table" else ()
    return FlowCurve(law, _number(section, "E_mpa"), _number(section, "poisson"), points=points, **given)


def _points(section: Section) -> tuple[tuple[float, float], ...]:
    rows = section.values["points"]
    try:
        return tuple((float(strain), float(stress)) for strain, stress in rows)
    except (TypeError, ValueError):
        raise BadInput(
            "The table is pairs of strain and stress.", where=section.at("points"), hint="[[0, 300], [0.1, 380]]"
        )
