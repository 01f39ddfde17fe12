"""Which characters the vendored fonts can print, read from their own character maps.

A character without a glyph would be left out or boxed in silence; here it becomes a named sign instead, so that the
card can say that something is missing.
"""

from __future__ import annotations

import struct
import unicodedata
from functools import cache
from pathlib import Path

FONT_FOLDER = Path(__file__).parent / "fonts"
FAMILIES = ("Atkinson Hyperlegible Next", "DejaVu Sans")
MISSING = "\u25a1"  # white square, in DejaVu Sans

# Signs that differ only in code point; the first family has the right-hand one.
_SAME = str.maketrans({"\u00b5": "\u03bc", "\u2033": '"', "\u2032": "'", "\u00a0": " "})


@cache
def printable() -> frozenset[int]:
    """Code points with a glyph in the regular and in the bold cut of one of the families."""
    sets = {path.stem: _code_points(path.read_bytes()) for path in sorted(FONT_FOLDER.glob("*.ttf"))}
    return frozenset().union(
        sets["AtkinsonHyperlegibleNext-Regular"] & sets["AtkinsonHyperlegibleNext-Bold"],
        sets["DejaVuSans"] & sets["DejaVuSans-Bold"],
    )


def fit_to_fonts(text: str) -> str:
    """``text`` on one line, composed (NFC), with :data:`MISSING` for each character that can not be printed."""
    known = printable()
    one_line = " ".join(unicodedata.normalize("NFC", text).translate(_SAME).split())
    return "".join(letter if ord(letter) in known and _visible(letter) else MISSING for letter in one_line)


def _visible(letter: str) -> bool:
    """Not a control or format character: those could reorder or hide what the card says."""
    return unicodedata.category(letter) not in ("Cc", "Cf", "Co", "Cs", "Cn")


def _code_points(font: bytes) -> frozenset[int]:
    """The code points of a TrueType ``cmap`` (formats 4 and 12; ISO/IEC 14496-22, 5.3.1)."""
    tables = struct.unpack_from(">H", font, 4)[0]
    start = 0
    for index in range(tables):
        tag, _, offset, _ = struct.unpack_from(">4sLLL", font, 12 + 16 * index)
        if tag == b"cmap":
            start = offset
    found: set[int] = set()
    for index in range(struct.unpack_from(">H", font, start + 2)[0]):
        offset = start + struct.unpack_from(">HHL", font, start + 4 + 8 * index)[2]
        kind = struct.unpack_from(">H", font, offset)[0]
        if kind == 4:
            found |= _format_4(font, offset)
        elif kind == 12:
            groups = struct.unpack_from(">L", font, offset + 12)[0]
            for group in range(groups):
                first, last, _ = struct.unpack_from(">LLL", font, offset + 16 + 12 * group)
                found.update(range(first, last + 1))
    return frozenset(found)


def _format_4(font: bytes, offset: int) -> set[int]:
    count = struct.unpack_from(">H", font, offset + 6)[0] // 2
    at = offset + 14
    ends = struct.unpack_from(f">{count}H", font, at)
    starts = struct.unpack_from(f">{count}H", font, at + 2 * count + 2)
    deltas = struct.unpack_from(f">{count}h", font, at + 4 * count + 2)
    ranges_at = at + 6 * count + 2
    ranges = struct.unpack_from(f">{count}H", font, ranges_at)
    found = set()
    for segment, (first, last, delta, shift) in enumerate(zip(starts, ends, deltas, ranges, strict=True)):
        for code in range(first, min(last, 0xFFFE) + 1):
            glyph = code
            if shift:
                glyph = struct.unpack_from(">H", font, ranges_at + 2 * segment + shift + 2 * (code - first))[0]
            if (glyph + delta) & 0xFFFF if glyph or not shift else 0:
                found.add(code)
    return found
