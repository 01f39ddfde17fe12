"""What people write for a thread, turned into one of the sizes we hold.

“M6”, “M6x1”, “m6×1.0”, “M6-1.0”, “M6x1-6H”, “1/4-20”, “#10-32 UNF”, “10-32”, “.250-20 UNC-2B”.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Literal

from firstpull.errors import BadInput
from firstpull.trade import tables, texts
from firstpull.units import NM_PER_INCH, NM_PER_MM

System = Literal["metric", "unified"]

_METRIC = re.compile(
    r"""m\s*(?P<major>\d{1,3}(?:[.,]\d{1,3})?)
    (?:\s*[x×*-]\s*(?P<pitch>\d{0,2}(?:[.,]\d{1,4})|\d{1,2})(?![\dhg.,]))?
    (?:\s*-?\s*(?P<class>\d[a-z]\d?[a-z]?))?""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)
_UNIFIED = re.compile(
    r"""(?:\#|no\.?)?\s*(?P<size>\d{1,2}/\d{1,3}|\d{0,2}[.,]\d{1,5}|\d{1,2})\s*(?:"|″|”|in\.?|inch)?
    (?:(?:\s*[-–x×]\s*|\s+)(?P<count>\d{1,3}))?
    (?:\s*-?\s*(?P<series>un[a-z]{0,2}|nc|nf))?
    (?:\s*-?\s*(?P<class>\d\s?[ab]))?""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)
_OLD_SERIES = {"NC": "UNC", "NF": "UNF"}


@dataclass(frozen=True, slots=True)
class ThreadSize:
    """One size we hold. ``major_nm`` and ``pitch_nm`` are exact (pitch as a fraction for unified threads)."""

    designation: str
    system: System
    size: str
    series: str
    major_nm: int
    pitch_nm: Fraction
    threads_per_inch: int | None
    tap_drill: str
    source: str


@cache
def sizes() -> tuple[ThreadSize, ...]:
    """Every size we hold, metric first, by diameter and then from coarse to fine."""
    return (*_metric_sizes(), *_unified_sizes())


def find(text: str, *, where: str = "") -> ThreadSize:
    """The size meant by ``text``. Raises BadInput, naming near sizes, when there is none or more than one."""
    shown = texts.typed(text, noun="a thread", example="M6 or 1/4-20", where=where)
    metric = _METRIC.fullmatch(shown)
    if metric is not None:
        return _find_metric(shown, metric, where)
    unified = _UNIFIED.fullmatch(shown)
    if unified is not None:
        return _find_unified(shown, unified, where)
    raise BadInput(
        f"“{shown}” is not a thread.", where=where, hint="Write for example “M6”, “M10x1.25”, “1/4-20” or “#10-32”."
    )


def _metric_sizes() -> tuple[ThreadSize, ...]:
    held = []
    for row in tables.rows("threads_metric"):
        major, pitch = Fraction(row["major_mm"]), Fraction(row["pitch_mm"])
        held.append(
            ThreadSize(
                designation=f"M{_plain(major)}x{_plain(pitch)}",
                system="metric",
                size=f"M{_plain(major)}",
                series=row["series"],
                major_nm=int(major * NM_PER_MM),
                pitch_nm=pitch * NM_PER_MM,
                threads_per_inch=None,
                tap_drill=f"{_plain(Fraction(row['tap_drill_mm']))} mm",
                source=row["source"],
            )
        )
    return tuple(held)


def _unified_sizes() -> tuple[ThreadSize, ...]:
    held = []
    for row in tables.rows("threads_unified"):
        count = int(row["threads_per_inch"])
        held.append(
            ThreadSize(
                designation=f"{row['size']}-{count} {row['series']}",
                system="unified",
                size=row["size"],
                series=row["series"],
                major_nm=int(Fraction(row["major_in"]) * NM_PER_INCH),
                pitch_nm=Fraction(NM_PER_INCH, count),
                threads_per_inch=count,
                tap_drill=row["tap_drill"],
                source=row["source"],
            )
        )
    return tuple(held)


def _find_metric(shown: str, match: re.Match[str], where: str) -> ThreadSize:
    _check_class(shown, match["class"], "6H and 6g", where)
    major_nm = Fraction(match["major"].replace(",", ".")) * NM_PER_MM
    same = [size for size in _metric_sizes() if size.major_nm == major_nm]
    if same and match["pitch"] is None:
        return next(size for size in same if size.series == "coarse")
    if match["pitch"] is not None:
        pitch_nm = Fraction(match["pitch"].replace(",", ".")) * NM_PER_MM
        same = [size for size in same if size.pitch_nm == pitch_nm]
    if not same:
        raise _not_held(shown, "metric", major_nm, where)
    return same[0]


def _find_unified(shown: str, match: re.Match[str], where: str) -> ThreadSize:
    _check_class(shown, match["class"] and match["class"].upper(), "2B and 2A", where)
    major_nm = _unified_major_nm(match["size"])
    same = [size for size in _unified_sizes() if size.major_nm == major_nm]
    if not same:
        raise _not_held(shown, "unified", major_nm, where)
    if match["count"] is not None:
        same = [size for size in same if size.threads_per_inch == int(match["count"])]
    if match["series"] is not None:
        series = match["series"].upper()
        wanted = _OLD_SERIES.get(series, series)
        same = [size for size in same if wanted in ("UN", size.series)]
    if not same:
        raise _not_held(shown, "unified", major_nm, where)
    if len(same) > 1:
        raise BadInput(
            f"“{shown}” has more than one thread.",
            where=where,
            hint=f"Write {_either(size.designation for size in same)}.",
        )
    return same[0]


def _unified_major_nm(size: str) -> Fraction:
    named = {held.size: held.major_nm for held in _unified_sizes()}
    if size in named:
        return Fraction(named[size])
    number = size.replace(",", ".")
    if "/" in number and int(number.split("/")[1]) == 0:
        return Fraction(0)
    if number.isdigit():
        # a screw number that is not held: numbers grow by 0.013 in from 0.060 in (ASME B1.1)
        return (Fraction(60, 1000) + Fraction(13, 1000) * int(number)) * NM_PER_INCH
    return Fraction(number) * NM_PER_INCH


def _check_class(shown: str, given: str | None, held: str, where: str) -> None:
    # the letter's case tells an internal class from an external one
    if given is not None and given.replace(" ", "") not in held.split(" and "):
        raise BadInput(
            f"“{shown}” asks for a tolerance class that is not held.",
            where=where,
            hint=f"Only {held} are; leave the class out.",
        )


def _not_held(shown: str, system: System, major_nm: Fraction, where: str) -> BadInput:
    held = [size for size in sizes() if size.system == system]
    held.sort(key=lambda size: (abs(size.major_nm - major_nm), -size.pitch_nm))
    return BadInput(
        f"“{shown}” is not a thread that is held.",
        where=where,
        hint=f"Near it: {', '.join(size.designation for size in held[:4])}.",
    )


def _either(names: Iterable[str]) -> str:
    quoted = [f"“{name}”" for name in names]
    return " or ".join(quoted)


def _plain(number: Fraction) -> str:
    return f"{float(number):g}"
