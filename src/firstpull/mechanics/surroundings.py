"""Hard checks on what surrounds the insert: heat, metals that touch, the countersink, the pocket, soft sheet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from firstpull.mechanics.check import Check
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.needs import Needs
from firstpull.mechanics.stack import Stack
from firstpull.units import NM_PER_MM, Length, LengthUnit, show_length, show_mm


@dataclass(frozen=True, slots=True)
class SurroundingRow:
    """A check, its smallest cure, and by how much it misses (nm, or thousandths of its unit)."""

    check: Check
    cure: str
    by: int


def surroundings_rows(
    insert: Insert, stack: Stack, needs: Needs, *, load_ceiling_n: float | None, unit: LengthUnit
) -> tuple[SurroundingRow, ...]:
    """The rows that apply, in a fixed order; what is asked but not known is said and does not reject."""
    rows = (
        _temperature(insert, stack, needs),
        _galvanic(insert.material, _metals(stack), _barrier(stack), needs.surroundings),
        _countersink(insert, stack, needs, unit),
        _pocket(insert, needs, unit),
        _nose(needs, unit),
        _soft(insert, stack, load_ceiling_n),
    )
    return tuple(row for row in rows if row is not None)


def _temperature(insert: Insert, stack: Stack, needs: Needs) -> SurroundingRow | None:
    from firstpull.trade.service import service_range

    hot = needs.temperature_c
    if hot is None:
        return None
    ranges = [service_range(insert.material, "insert")]
    for layer in stack.layers:
        ranges.append(service_range(layer.material, "coating" if layer.coating else "sheet"))
    known = [one for one in ranges if one is not None]
    if ranges[0] is None:
        text = f"How much heat its material{f' “{insert.material}”' if insert.material else ''} stands is not known."
        return _said("temperature", hot, "not known", "°C", text)
    least = min(known, key=lambda one: one.most_c)
    over = hot - least.most_c
    text = f"{hot:g} °C in service; {least.name} is used up to {least.most_c:g} °C."
    margin = (least.most_c - hot) / max(abs(least.most_c), 1.0)
    check = Check(
        "temperature", hot, least.most_c, round(margin, 6), "°C", over <= 0, text, least.source, assumptions=("from memory",)
    )  # fmt: skip
    what = "an insert of another material" if least.kind == "insert" else f"a {least.kind} that stands more heat"
    return SurroundingRow(check, f"Take {what}: {over:g} °C are missing.", round(1000 * max(over, 0.0)))


@lru_cache(maxsize=256)
def _galvanic(material: str, metals: tuple[str, ...], barrier: str, surroundings: str | None) -> SurroundingRow | None:
    """The worst pair. A ``barrier`` (a coating that does not conduct) lets a poor pair pass, with the margin as it is:

    it parts the metals on the faces, and the hole's edge is bare until somebody seals it.
    """
    from firstpull.trade.galvanic import galvanic_pair

    pairs = [(metal, galvanic_pair(material, metal, surroundings=surroundings or "normal")) for metal in metals]
    known = [(metal, pair) for metal, pair in pairs if pair is not None]
    if not known:
        if surroundings is None:
            return None
        return _said(
            "galvanic pair", material or "not known", "not known", "V", "The metal pair is not known: judge it."
        )
    metal, pair = max(known, key=lambda row: row[1].difference_v)
    between = f"{material} on {metal}: {pair.difference_v:.2f} V apart"
    eaten = f" {pair.anode} is eaten." if pair.anode and not pair.ok else ""
    parted = f" The {barrier} parts them on the faces, not in the hole." if barrier and pair.difference_v > 0 else ""
    if surroundings is None:
        text = f"{between}.{eaten}{parted} The surroundings are not given: not judged."
        # a pair that is poor even indoors ranks behind those of which nothing is open
        offer = "not given" if pair.ok or barrier else "not known"
        text += "" if pair.ok else f" Indoors {pair.limit_v:.2f} V would be the limit."
        return SurroundingRow(
            Check("galvanic pair", pair.difference_v, offer, None, "V", True, text, pair.source), "", 0
        )
    text = f"{between}, at most {pair.limit_v:.2f} V in {surroundings} surroundings.{eaten}{parted}"
    words: tuple[str, ...] = ()
    if barrier and not pair.ok:
        text += " It passes only with the hole's edge sealed: set the insert with wet primer or sealant."
        words = ("the hole's edge is sealed",)
    margin = round((pair.limit_v - pair.difference_v) / pair.limit_v, 6)
    ok = pair.ok or bool(barrier)
    check = Check(
        "galvanic pair", pair.difference_v, pair.limit_v, margin, "V", ok, text, pair.source, assumptions=words
    )
    cure = f"Take an insert nearer to {metal}, or part the metals with a sealant or a coating."
    return SurroundingRow(check, cure, round(1000 * max(pair.difference_v - pair.limit_v, 0.0)))


def _countersink(insert: Insert, stack: Stack, needs: Needs, unit: LengthUnit) -> SurroundingRow | None:
    if insert.head != "countersunk":
        return None
    sheet = next((layer for layer in stack.layers if not layer.coating), None)
    if sheet is None or insert.flange_thickness is None:
        return _said("countersink", "not known", "not known", "mm", "The height of the countersunk head is not known.")
    tolerance = sheet.tolerance or Length(0)
    least, height = sheet.thickness.nanometres - tolerance.nanometres, insert.flange_thickness.nanometres
    short = height - least
    text = f"The head is {show_length(height, unit)} {unit} high in a sheet of {show_length(least, unit)} {unit}."
    if short >= 0 and needs.dimple:
        return _said("countersink", height / NM_PER_MM, least / NM_PER_MM, "mm", f"{text} Dimple the sheet.")
    margin = -1.0 if least <= 0 else (least - height) / least
    check = Check(
        "countersink", height / NM_PER_MM, least / NM_PER_MM, round(margin, 6), "mm", short < 0, text, "common practice: no knife edge"
    )  # fmt: skip
    thicker = f"{show_length(max(short, 0), unit)} {unit}"
    cure = f"Dimple the sheet (dimple = true), take a sheet more than {thicker} thicker, or a flat head."
    return SurroundingRow(check, cure, max(short, 0))


def _pocket(insert: Insert, needs: Needs, unit: LengthUnit) -> SurroundingRow | None:
    wide = needs.pocket_diameter_mm
    if wide is None:
        return None
    if insert.flange_diameter is None:
        return _said("pocket", "not known", wide, "mm", "Its flange diameter is not known: try it in the pocket.")
    flange = insert.flange_diameter.mm
    margin = round((wide - flange) / wide, 6)
    fits = flange < wide
    text = f"A flange of {show_mm(flange, unit)} {unit} {'in' if fits else 'does not enter'} a pocket of {show_mm(wide, unit)} {unit}."
    check = Check("pocket", flange, wide, margin, "mm", fits, text, "geometry")
    cure = f"Make the pocket more than {show_mm(flange - wide, unit)} {unit} wider, or take a smaller flange."
    return SurroundingRow(check, cure, round(max(flange - wide, 0.0) * NM_PER_MM))


def _nose(needs: Needs, unit: LengthUnit) -> SurroundingRow | None:
    tool, wide, deep = needs.tool, needs.pocket_diameter_mm, needs.pocket_depth_mm
    if tool is None or (wide is None and deep is None):
        return None
    nose, reach = tool.nose_diameter, tool.nose_reach
    if wide is not None and nose is not None and nose.mm >= wide:
        text = f"The tool's nose, {show_mm(nose.mm, unit)} {unit}, does not enter a pocket of {show_mm(wide, unit)} {unit}."
        return _nose_row(nose.mm, wide, text, f"Use a nose more than {show_mm(nose.mm - wide, unit)} {unit} thinner.")
    if deep is not None and reach is not None and reach.mm < deep:
        text = (
            f"The tool's nose reaches {show_mm(reach.mm, unit)} {unit} into a pocket of {show_mm(deep, unit)} {unit}."
        )
        return _nose_row(deep, reach.mm, text, f"Use a nose {show_mm(deep - reach.mm, unit)} {unit} longer.")
    if (wide is not None and nose is None) or (deep is not None and reach is None):
        return _said("nose reach", "pocket", "not known", "mm", "The tool's nose is not known: try it in the pocket.")
    if wide is not None and nose is not None:
        text = f"A nose of {show_mm(nose.mm, unit)} {unit} in a pocket of {show_mm(wide, unit)} {unit}."
        return SurroundingRow(
            Check("nose reach", nose.mm, wide, round((wide - nose.mm) / wide, 6), "mm", True, text, "tool"), "", 0
        )
    return _said("nose reach", deep or 0.0, 0.0 if reach is None else reach.mm, "mm", "The nose reaches the bottom.")


def _nose_row(demand: float, offer: float, text: str, cure: str) -> SurroundingRow:
    check = Check("nose reach", demand, offer, round((offer - demand) / offer, 6), "mm", False, text, "tool")
    return SurroundingRow(check, cure, round((demand - offer) * NM_PER_MM))


def _soft(insert: Insert, stack: Stack, ceiling_n: float | None) -> SurroundingRow | None:
    soft = _soft_layers(tuple(layer.material for layer in stack.layers if not layer.coating))
    if not soft and ceiling_n is None:
        return None
    load = insert.setting_load_n
    words = (
        f"{soft[0]} may be crushed or split: backing washer under the blind head, no knurl, set by coupons."
        if soft
        else ""
    )
    if ceiling_n is None or load is None:
        return _said(
            "soft sheet", "not known" if load is None else load, ceiling_n or "not known", "N", f"{words} The pull is not checked.".strip()
        )  # fmt: skip
    text = f"Setting takes {load / 1000:.2f} of the {ceiling_n / 1000:.2f} kN that the stack bears. {words}".strip()
    margin = round((ceiling_n - load) / ceiling_n, 6)
    check = Check("soft sheet", load, ceiling_n, margin, "N", load <= ceiling_n, text, "the job's load ceiling")
    cure = f"Take an insert that sets with {(load - ceiling_n) / 1000:.2f} kN less, or a backing washer."
    return SurroundingRow(check, cure, round(1000 * max(load - ceiling_n, 0.0)))


@lru_cache(maxsize=64)
def _soft_layers(names: tuple[str, ...]) -> tuple[str, ...]:
    from firstpull.trade.materials import sheet_material

    held = ((name, sheet_material(name)) for name in names)
    return tuple(name for name, material in held if material is not None and material.soft)


def _metals(stack: Stack) -> tuple[str, ...]:
    """The sheets, and the coatings: a plating is a metal that touches the insert too. What is no metal is not held."""
    return tuple(dict.fromkeys(layer.material for layer in stack.layers))


def _barrier(stack: Stack) -> str:
    """The first coating of the stack that does not conduct, or nothing."""
    from firstpull.trade.materials import coating

    held = ((layer.material, coating(layer.material)) for layer in stack.layers if layer.coating)
    return next((name for name, one in held if one is not None and one.barrier), "")


def _said(name: str, demand: float | str, offer: float | str, unit: str, text: str) -> SurroundingRow:
    return SurroundingRow(Check(name, demand, offer, None, unit, True, text), "", 0)
