"""Which column of a table is which measure of an insert, and in which unit it is written.

Column names are matched without regard to case, blanks and punctuation, in plain trade words. A unit may stand in
the name: ``length_free [mm]``, ``Free length (in)``, ``grip max, mm``, ``setting_load_n``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from firstpull.errors import BadInput
from firstpull.exchange.names import nearest_hint

Kind = Literal["text", "choice", "length", "force", "torque", "count"]

LENGTH_UNITS = ("mm", "in", "thou", "µm")
FORCE_UNITS = ("N", "kN", "lbf", "kgf")
TORQUE_UNITS = ("Nm", "lbf·in", "lbf·ft")

_UNITS_OF: dict[Kind, dict[str, str]] = {
    "length": {
        **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
        **dict.fromkeys(("in", "in.", "inch", "inches", '"', "″", "”"), "in"),
        **dict.fromkeys(("thou", "0.001 in", ".001 in"), "thou"),
        **dict.fromkeys(("µm", "μm", "um", "micron", "microns"), "µm"),
    },
    "force": {"n": "N", "newton": "N", "newtons": "N", "kn": "kN", "lbf": "lbf", "kgf": "kgf"},
    "torque": {
        **dict.fromkeys(("nm", "n·m", "n m", "n.m", "n*m"), "Nm"),
        **dict.fromkeys(
            ("lbf·in", "lbf in", "lbf-in", "in-lb", "in lb", "in·lbf", "in-lbf", "in lbf", "lb-in"), "lbf·in"
        ),
        **dict.fromkeys(
            ("lbf·ft", "lbf ft", "lbf-ft", "ft-lb", "ft lb", "ft·lbf", "ft-lbf", "ft lbf", "lb-ft"), "lbf·ft"
        ),
    },
}


@dataclass(frozen=True, slots=True)
class FieldRule:
    """One measure of an insert: its ``name`` in the library, its ``kind``, other ``words`` for it, and whether a
    row is useless without it. Open or closed is needed too: a guess would set the mandrel wrongly."""

    name: str
    kind: Kind
    words: tuple[str, ...] = ()
    required: bool = False


FIELDS: tuple[FieldRule, ...] = (
    FieldRule("part", "text", ("part number", "part no", "part code", "code", "item", "item number", "article", "our part", "name"), required=True),
    FieldRule("thread", "text", ("thread size", "thread designation", "size", "screw", "screw size", "for screw"), required=True),
    FieldRule("material", "text", ("insert material", "made of", "metal")),
    FieldRule("head", "choice", ("head form", "head shape", "head style", "head type", "flange form", "flange shape")),
    FieldRule("end", "choice", ("end form", "end type", "open or closed", "open closed", "thread end"), required=True),
    FieldRule("body", "choice", ("body form", "body shape", "body type", "shank", "shank form", "outside", "outside form")),
    FieldRule("length_free", "length", ("free length", "length", "overall length", "total length", "length before", "length before setting", "length unset", "unset length", "l free", "l"), required=True),
    FieldRule("grip_min", "length", ("min grip", "minimum grip", "grip minimum", "grip from", "least grip", "thinnest", "thinnest stack", "grip range min", "stack min"), required=True),
    FieldRule("grip_max", "length", ("max grip", "maximum grip", "grip maximum", "grip to", "greatest grip", "thickest", "thickest stack", "grip range max", "stack max"), required=True),
    FieldRule("set_allowance", "length", ("allowance", "setting allowance", "stroke at max grip", "stroke at maximum grip", "stroke at grip max", "a")),
    FieldRule("set_allowance_min", "length", ("min allowance", "allowance min", "minimum allowance", "min set allowance", "minimum set allowance", "least allowance", "a min")),
    FieldRule("set_allowance_max", "length", ("max allowance", "allowance max", "maximum allowance", "max set allowance", "maximum set allowance", "greatest allowance", "a max")),
    FieldRule("flange_diameter", "length", ("head diameter", "flange dia", "head dia", "flange", "diameter of flange", "diameter of head")),
    FieldRule("flange_thickness", "length", ("head thickness", "head height", "flange height", "thickness of flange", "thickness of head", "flange thick")),
    FieldRule("body_diameter", "length", ("body dia", "shank diameter", "shank dia", "outside diameter", "body size", "diameter of body")),
    FieldRule("hole_diameter", "length", ("hole", "hole dia", "hole size", "drill", "drill size", "hole in sheet", "diameter of hole", "across flats of hole")),
    FieldRule("hole_tolerance", "length", ("hole tolerance plus", "hole plus", "hole tol", "tolerance of hole", "plus tolerance")),
    FieldRule("thread_length", "length", ("length of thread", "threaded length", "thread depth", "full thread")),
    FieldRule("unthreaded_length", "length", ("length without thread", "plain length", "shank length", "counterbore depth", "unthreaded")),
    FieldRule("counterbore_diameter", "length", ("counterbore", "counterbore dia", "bore", "inside diameter", "plain bore", "bore diameter")),
    FieldRule("setting_load_n", "force", ("setting load", "setting force", "pull force", "pull", "force to set", "load to set")),
    FieldRule("tightening_torque_max_nm", "torque", ("tightening torque max", "tightening torque", "max tightening torque", "maximum tightening torque", "max torque", "torque max", "maximum torque", "torque")),
    FieldRule("pull_out_n", "force", ("pull out", "tested pull out", "pull out load", "pull out force", "pull out strength")),
    FieldRule("push_out_n", "force", ("push out", "tested push out", "push out load", "push out force", "push out strength")),
    FieldRule("torque_to_turn_nm", "torque", ("torque to turn", "tested torque to turn", "turning torque", "spin torque")),
    FieldRule("head_marks", "count", ("marks", "number of marks", "marks on head", "radial marks", "head mark")),
    FieldRule("grip_datum", "choice", ("grip counts from", "grip from where", "datum", "grip measured from", "grip starts at")),
    FieldRule("note", "text", ("notes", "remark", "remarks", "comment", "comments")),
)  # fmt: skip
RULES: Mapping[str, FieldRule] = {rule.name: rule for rule in FIELDS}

# the library's own names that carry their unit at the end
OWN_UNITS: Mapping[str, str] = {
    rule.name: {"force": "N", "torque": "Nm"}[rule.kind] for rule in FIELDS if rule.kind in ("force", "torque")
}

CHOICES: Mapping[str, Mapping[str, str]] = {
    "head": {
        **dict.fromkeys(("flat", "flat head", "flange", "flanged", "large", "standard", "dome", "normal"), "flat"),
        **dict.fromkeys(("countersunk", "csk", "counter sunk", "sunk", "flush", "countersunk head"), "countersunk"),
        **dict.fromkeys(
            ("low profile", "lowprofile", "thin", "thin head", "small", "small head", "reduced", "reduced head", "low"),
            "low profile",
        ),
    },
    "end": {
        **dict.fromkeys(("open", "open end", "through", "o"), "open"),
        **dict.fromkeys(("closed", "closed end", "blind", "blind end", "sealed", "c"), "closed"),
    },
    "body": {
        **dict.fromkeys(("round", "smooth", "plain", "cylindrical"), "round"),
        **dict.fromkeys(("knurled", "knurl", "splined"), "knurled"),
        **dict.fromkeys(("ribbed", "ribs", "rib"), "ribbed"),
        **dict.fromkeys(("hexagonal", "hexagon", "hex", "six sided"), "hexagonal"),
    },
    "grip_datum": {
        **dict.fromkeys(
            ("flange", "under flange", "underside", "underside of flange", "under the flange", "under head"), "flange"
        ),
        **dict.fromkeys(("surface", "flush surface", "top", "sheet surface", "outer surface", "with head"), "surface"),
    },
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table: its ``heading`` as written, the measure it holds (``field``, or None when it is
    ignored), and the ``unit`` of bare numbers in it (None when none is known)."""

    index: int
    heading: str
    field: str | None = None
    unit: str | None = None


def plain(text: str) -> str:
    """Lower case, with every run of blanks, underscores and punctuation as one blank."""
    return re.sub(r"[\W_]+", " ", text.lower()).strip()


_FIELD_BY_WORD: dict[str, str] = {plain(word): rule.name for rule in FIELDS for word in (rule.name, *rule.words)}


def match_heading(heading: str) -> tuple[str | None, str | None]:
    """The measure and the unit that a column heading names; ``(None, None)`` when it is not known."""
    whole = _FIELD_BY_WORD.get(plain(heading))
    bare, unit_text = _split_unit(heading)
    for name, unit in ((_FIELD_BY_WORD.get(plain(bare)), unit_text), (whole, "")):
        if name is None:
            continue
        if not unit:
            return name, OWN_UNITS.get(heading.strip().lower())
        known = unit_name(unit, RULES[name].kind)
        if known is not None:
            return name, known
    return None, None


def unit_name(text: str, kind: Kind) -> str | None:
    """The name used here for a unit of that ``kind``, or None when it is not one."""
    return _UNITS_OF.get(kind, {}).get(re.sub(r"\s+", " ", text.strip().lower()))


def units_of(kind: Kind) -> tuple[str, ...]:
    """The units to choose from for that ``kind``; empty for kinds without a unit."""
    return {"length": LENGTH_UNITS, "force": FORCE_UNITS, "torque": TORQUE_UNITS}.get(kind, ())


def _split_unit(heading: str) -> tuple[str, str]:
    bracketed = re.fullmatch(r"\s*(.*?)\s*[\[(]\s*([^\[\]()]{1,12}?)\s*[\])]\s*", heading, re.DOTALL)
    if bracketed:
        return bracketed.group(1), bracketed.group(2)
    trailing = re.fullmatch(
        r"\s*(.*?)\s*[,/_ ]\s*(?:in\s+)?([A-Za-zµμ\"″”·*.-]{1,8}(?:[ ](?:in|ft|m|lbf|lb))?\.?)\s*", heading, re.DOTALL
    )
    if trailing:
        return trailing.group(1), trailing.group(2)
    return heading, ""


def map_columns(
    headings: Sequence[str],
    *,
    where: str,
    unit: str | None = None,
    unit_by_column: Mapping[str, str] | None = None,
    field_by_column: Mapping[str, str] | None = None,
) -> tuple[Column, ...]:
    """Say for each heading which measure it is and in which unit bare numbers are.

    ``unit`` is for length columns without one in their heading. ``unit_by_column`` and ``field_by_column`` are the
    person's choices, by heading or by field name. Raises BadInput for a choice that names no column, an unknown unit
    or measure, a choice against the heading's own unit, and two columns for one measure.
    """
    given_fields = _by_heading(field_by_column or {}, headings, where)
    columns = []
    for index, heading in enumerate(headings):
        name, found_unit = match_heading(heading)
        if heading in given_fields:
            name = given_fields[heading]
            found_unit = _chosen_field_unit(heading, name, where)
        columns.append(Column(index, heading, name, found_unit))
    columns = _with_units(columns, unit, unit_by_column or {}, where)
    seen: dict[str, Column] = {}
    for column in columns:
        if column.field is not None and column.field in seen:
            raise BadInput(
                f"The columns “{seen[column.field].heading}” and “{column.heading}” both mean {column.field}.",
                where=where,
                hint="Rename one, or say which measure each column holds.",
            )
        if column.field is not None:
            seen[column.field] = column
    return tuple(columns)


def _chosen_field_unit(heading: str, name: str, where: str) -> str | None:
    if not name:
        return None
    if name not in RULES:
        raise BadInput(
            f"“{name}” is not a measure of an insert.",
            where=f"{where} column “{heading}”",
            hint=nearest_hint(name, RULES),
        )
    return unit_name(_split_unit(heading)[1], RULES[name].kind)


def _with_units(columns: list[Column], unit: str | None, chosen: Mapping[str, str], where: str) -> list[Column]:
    names = {column.heading: column.heading for column in columns}
    names |= {column.field: column.heading for column in columns if column.field}
    picked: dict[str, str] = {}
    for key, wanted in chosen.items():
        heading = names.get(key) or {name.lower(): heading for name, heading in names.items()}.get(key.lower())
        if heading is None:
            raise BadInput(f"There is no column “{key}”.", where=where, hint=nearest_hint(key, names))
        picked[heading] = wanted
    done = []
    for column in columns:
        rule = RULES.get(column.field or "")
        found = column.unit
        default = unit if rule is not None and rule.kind == "length" and found is None else None
        wanted_unit = picked.get(column.heading) or default
        if rule is not None and wanted_unit:
            name = unit_name(wanted_unit, rule.kind)
            if name is None:
                choices = units_of(rule.kind)
                hint = f"Choose {', '.join(choices)}." if choices else "This column has no unit."
                raise BadInput(
                    f"“{wanted_unit}” is not a unit for {rule.name}.",
                    where=f"{where} column “{column.heading}”",
                    hint=hint,
                )
            if found is not None and found != name:
                raise BadInput(
                    f"The heading says {found}, the choice says {name}.",
                    where=f"{where} column “{column.heading}”",
                    hint="Correct the heading or the choice.",
                )
            found = name
        done.append(Column(column.index, column.heading, column.field or None, found))
    return done


def _by_heading(chosen: Mapping[str, str], headings: Sequence[str], where: str) -> dict[str, str]:
    by_lower = {heading.lower(): heading for heading in headings}
    result = {}
    for key, name in chosen.items():
        heading = by_lower.get(key.strip().lower())
        if heading is None:
            raise BadInput(f"There is no column “{key}”.", where=where, hint=nearest_hint(key, headings))
        result[heading] = name
    return result
