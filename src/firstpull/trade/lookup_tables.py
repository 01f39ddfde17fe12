"""Looking up the packaged tables by name: materials, screw classes, nut factors, metal pairs, heat, clearance holes.

Each answer is a plain dict with a ``schema``; a name that is not held raises BadInput with the names most like it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from firstpull.errors import BadInput
from firstpull.trade import galvanic, materials, service, tables, texts
from firstpull.trade.clearance import clearance_hole
from firstpull.trade.screws import nut_factor, property_class

_MPA_PER_KSI = 6.894757293168361
_BETWEEN = re.compile(r"\s*(?:/|\+|,|\bon\b|\band\b|\bwith\b)\s*")


def _material(text: str) -> dict[str, Any]:
    shown = texts.typed(text, noun="a material", example="DC01", where="material")
    found: list[dict[str, Any]] = []
    for one in (materials.sheet_material(shown), materials.insert_material(shown)):
        if one is not None:
            found.append(
                {
                    "material": one.name,
                    "kind": one.kind,
                    "family": one.family,
                    "yield_mpa": one.yield_mpa,
                    "tensile_mpa": one.tensile_mpa,
                    "shear_mpa": one.shear_mpa,
                    "e_mpa": one.e_mpa,
                    "density_kg_m3": one.density_kg_m3,
                    "source": one.source,
                }
            )
    coat = materials.coating(shown)
    if coat is not None:
        found.append(
            {
                "material": coat.name,
                "kind": "coating",
                "thickness_min_mm": coat.thickness_min_mm,
                "thickness_max_mm": coat.thickness_max_mm,
                "outward_share": coat.outward_share,
                "parts_metals": coat.barrier,
                "source": coat.source,
            }
        )
    if not found:
        raise _not_held(shown, "material", "material", "materials", "coatings")
    return _first("material", found)


def _screw_class(text: str) -> dict[str, Any]:
    one = property_class(text, where="screw-class")
    answer: dict[str, Any] = {
        "schema": "firstpull/lookup/screw-class/1",
        "class": one.name,
        "system": one.system,
        "proof_mpa": one.proof_mpa,
        "tensile_mpa": one.tensile_mpa,
        "shear_share": one.shear_share,
    }
    if one.system == "inch":
        ksi = (round(value / _MPA_PER_KSI, 3) for value in (one.proof_mpa, one.tensile_mpa))
        answer["inch"] = dict(zip(("proof_ksi", "tensile_ksi"), ksi, strict=True))
    return answer | {"source": one.source}


def _nut_factor(text: str) -> dict[str, Any]:
    one = nut_factor(text, where="nut-factor")
    return {
        "schema": "firstpull/lookup/nut-factor/1",
        "condition": one.condition,
        "factor": one.factor,
        "scatter": one.scatter,
        "source": one.source,
    }


def _metals(text: str) -> dict[str, Any]:
    shown = texts.typed(text, noun="a metal or two", example="stainless A2 / EN AW-5754", where="galvanic")
    whole = galvanic.galvanic_group(shown)
    if whole is not None:
        return {
            "schema": "firstpull/lookup/galvanic/1",
            "metal": shown,
            "group": whole.name,
            "anodic_index_v": whole.anodic_index_v,
            "source": whole.source,
        }
    parts = [part for part in _BETWEEN.split(shown) if part]
    for part in parts if len(parts) == 2 else [shown]:
        if galvanic.galvanic_group(part) is None:
            raise _not_held(part, "metal", "galvanic", "galvanic", name="group")
    pairs = {word: galvanic.galvanic_pair(*parts, surroundings=word) for word in galvanic.SURROUNDINGS}
    (first, *_) = held = [pair for pair in pairs.values() if pair is not None]
    return {
        "schema": "firstpull/lookup/galvanic/1",
        "first": parts[0],
        "second": parts[1],
        "difference_v": first.difference_v,
        "eaten": first.anode,
        "may_touch": {word: pair.ok for word, pair in zip(pairs, held, strict=True)},
        "limits_v": dict(galvanic.LIMITS_V),
        "source": first.source,
    }


def _temperature(text: str) -> dict[str, Any]:
    shown = texts.typed(text, noun="a material or coating", example="stainless A2", where="temperature")
    kinds: tuple[service.Kind, ...] = ("insert", "coating", "sheet")
    found = [
        {
            "material": one.name,
            "kind": one.kind,
            "least_c": one.least_c,
            "most_c": one.most_c,
            "source": one.source,
        }
        for one in (service.service_range(shown, kind) for kind in kinds)
        if one is not None
    ]
    if not found:
        raise _not_held(shown, "service temperature", "temperature", "service_temperatures")
    return _first("temperature", found)


def _clearance(text: str) -> dict[str, Any]:
    one = clearance_hole(text, where="clearance-hole")
    if one is None:
        raise BadInput(
            f"No clearance hole for “{text.strip()}” is held.",
            where="clearance-hole",
            hint="ISO 273 and ASME B18.2.8 have none for this size; M3 to M12 and 4 to 1/2 in are held.",
        )
    sizes = {"fine": one.fine, "medium": one.medium, "coarse": one.coarse}
    answer: dict[str, Any] = {"schema": "firstpull/lookup/clearance-hole/1", "thread": one.thread}
    answer |= {f"{name}_mm": size.mm for name, size in sizes.items()}
    if not one.thread.startswith("M"):
        answer["inch"] = {f"{name}_in": size.inch for name, size in sizes.items()}
        answer["printed"] = {name: size.typed for name, size in sizes.items()}
    return answer | {"source": one.source}


def _first(kind: str, found: list[dict[str, Any]]) -> dict[str, Any]:
    """The first of several that bear the name, with the others beside it."""
    answer = {"schema": f"firstpull/lookup/{kind}/1", **found[0]}
    return answer if len(found) == 1 else answer | {"others": found[1:]}


def _not_held(shown: str, noun: str, where: str, *held: str, name: str = "name") -> BadInput:
    names = [one for table in held for row in tables.rows(table) for one in tables.names(row, name=name)]
    near = ", ".join(f"“{one}”" for one in texts.near(shown, names))
    return BadInput(f"“{shown}” is not a {noun} that is held.", where=where, hint=f"Near it: {near}.")


TABLES: dict[str, Callable[[str], dict[str, Any]]] = {
    "material": _material,
    "screw-class": _screw_class,
    "nut-factor": _nut_factor,
    "galvanic": _metals,
    "temperature": _temperature,
    "clearance-hole": _clearance,
}
"""What can be looked up by name, and how."""
