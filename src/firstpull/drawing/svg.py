"""A small SVG writer: plain functions that return elements as text.

Only presentation attributes are used, never styles, classes or scripts, so that the same bytes serve the page (whose
content policy forbids inline styles), the printed card and the tests. Coordinates are px of the drawing's own size.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr

from firstpull.errors import BadInput

INK = "#1D2326"
QUIET = "#4A5055"
BEFORE = "#74797D"
FAINT = "#B9BCBE"
WHITE = "#FFFFFF"
PETROL = "#0F4C5C"
PALE_PETROL = "#9CC3CC"
AMBER = "#F2B84B"
BRICK = "#A8321A"
FAMILY = "'Atkinson Hyperlegible Next', sans-serif"
SMALLEST_PX = 14

Point = tuple[float, float]
Attribute = str | float | None

# Advance widths in 1/1000 em of the vendored family for the characters 32 to 126, regular and bold.
_REGULAR = (
    "280 286 301 651 592 919 731 160 299 299 485 606 210 362 210 387 648 407 548 576 614 588 598 510 615 595 210 210 553 "
    "628 553 480 778 626 613 645 669 569 552 694 694 392 512 631 541 824 693 714 592 724 614 592 558 690 593 856 623 575 "
    "607 317 387 344 552 372 243 525 566 485 564 538 314 558 550 252 245 492 262 845 550 548 566 574 349 471 326 540 461 "
    "684 481 449 460 344 237 344 555"
)
_BOLD = (
    "312 303 390 765 610 969 725 210 335 335 485 595 271 373 272 440 659 440 579 600 624 607 626 537 624 571 272 272 569 "
    "612 569 547 781 678 643 658 688 597 566 718 701 424 561 663 552 858 717 746 629 756 650 610 607 686 644 886 685 650 "
    "618 340 440 344 582 400 288 552 596 510 596 563 365 593 571 300 259 555 318 882 571 576 596 599 376 508 376 567 530 "
    "740 539 521 505 381 254 381 537"
)
_WIDTHS = {
    weight: {chr(32 + index): int(width) for index, width in enumerate(table.split())}
    for weight, table in (("400", _REGULAR), ("700", _BOLD))
}
_TABULAR = 632
_UNKNOWN = 860  # wider than most letters, so that a foreign name is cut short rather than run over
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(value: str) -> str:
    """The text without the characters that XML can not hold, and on one line."""
    return " ".join(_NOT_XML.sub("\ufffd", value).split())


def number(value: float) -> str:
    """A coordinate, at most two places, no negative zero. Raises BadInput when it is not finite."""
    if not math.isfinite(value):
        raise BadInput("A drawing needs finite numbers.", hint="Check the lengths that it is made from.")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def element(tag: str, children: str = "", /, **attributes: Attribute) -> str:
    """One element; ``stroke_width`` becomes ``stroke-width`` and an attribute of ``None`` is left out."""
    parts = [tag]
    for name, value in attributes.items():
        if value is not None:
            shown = value if isinstance(value, str) else number(value)
            parts.append(f"{name.rstrip('_').replace('_', '-')}={quoteattr(_NOT_XML.sub('', shown))}")
    head = " ".join(parts)
    return f"<{head}>{children}</{tag}>" if children else f"<{head}/>"


def group(*children: str, **attributes: Attribute) -> str:
    """A group of elements."""
    return element("g", "".join(children), **attributes)


def line(start: Point, end: Point, *, stroke: str = INK, width: float = 2, dash: str | None = None) -> str:
    """A straight line."""
    return element(
        "line",
        x1=start[0],
        y1=start[1],
        x2=end[0],
        y2=end[1],
        stroke=stroke,
        stroke_width=width,
        stroke_dasharray=dash,
    )


def outline(points: Sequence[Point], *, closed: bool = True) -> str:
    """The path data through ``points``."""
    body = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{body}{'Z' if closed else ''}"


def path(data: str, *, stroke: str | None = INK, width: float = 2, fill: str = "none", **more: Attribute) -> str:
    """A path with rounded joins."""
    return element(
        "path",
        d=data,
        fill=fill,
        stroke=stroke,
        stroke_width=width if stroke else None,
        stroke_linejoin="round",
        **more,
    )


def polygon(points: Sequence[Point], *, stroke: str | None = INK, width: float = 2, fill: str = "none") -> str:
    """A closed outline."""
    return path(outline(points), stroke=stroke, width=width, fill=fill)


def box(left: float, top: float, *, width: float, height: float, **attributes: Attribute) -> str:
    """A rectangle; ink outline of 2 px and no fill unless told."""
    given: dict[str, Attribute] = {"fill": "none", "stroke": INK, "stroke_width": 2, **attributes}
    return element("rect", x=left, y=top, width=max(width, 0.0), height=max(height, 0.0), **given)


def circle(centre: Point, radius: float, *, fill: str = "none", stroke: str | None = INK, width: float = 2) -> str:
    """A circle."""
    return element(
        "circle",
        cx=centre[0],
        cy=centre[1],
        r=radius,
        fill=fill,
        stroke=stroke,
        stroke_width=width if stroke else None,
    )


def text_width(value: str, size: float, *, bold: bool = False) -> float:
    """About how wide ``value`` is when set at ``size`` px; digits count as tabular."""
    table = _WIDTHS["700" if bold else "400"]
    total = sum(_TABULAR if "0" <= letter <= "9" else table.get(letter, _UNKNOWN) for letter in value)
    return total * size / 1000


def shorten(value: str, width: float, *, size: float = SMALLEST_PX, bold: bool = False) -> str:
    """``value`` cut with an ellipsis so that it fits ``width`` px."""
    shown = clean(value)
    if text_width(shown, size, bold=bold) <= width:
        return shown
    while shown and text_width(shown + "…", size, bold=bold) > width:
        shown = shown[:-1]
    return shown.rstrip() + "…"


def wrap(value: str, width: float, *, size: float = SMALLEST_PX, lines: int = 2, bold: bool = False) -> tuple[str, ...]:
    """``value`` broken at spaces into at most ``lines`` lines of ``width`` px, the last one shortened."""
    out: list[str] = []
    words = clean(value).split(" ")
    while words and len(out) < lines - 1:
        row = words.pop(0)
        while words and text_width(f"{row} {words[0]}", size, bold=bold) <= width:
            row += " " + words.pop(0)
        out.append(shorten(row, width, size=size, bold=bold))
    if words:
        out.append(shorten(" ".join(words), width, size=size, bold=bold))
    return tuple(out)


def text(
    value: str,
    at: Point,
    *,
    size: float = SMALLEST_PX,
    bold: bool = False,
    anchor: str = "start",
    fill: str = INK,
    halo: bool = False,
) -> str:
    """Words at a base-line point. ``halo`` lays them on white so that lines behind stay apart from the letters."""
    shown = clean(value)
    words = element(
        "text",
        escape(shown),
        x=at[0],
        y=at[1],
        font_size=size,
        font_weight="700" if bold else None,
        text_anchor=anchor if anchor != "start" else None,
        fill=fill,
    )
    if not halo:
        return words
    wide = text_width(shown, size, bold=bold) + 6
    left = at[0] - {"start": 3.0, "middle": wide / 2, "end": wide - 3}[anchor]
    return box(left, at[1] - size * 0.82, width=wide, height=size * 1.06, fill=WHITE, stroke=None) + words


def paragraph(rows: Iterable[str], at: Point, *, size: float = SMALLEST_PX, leading: float = 1.3, **more: str) -> str:
    """Several rows of quiet text, one under the other."""
    fill = more.get("fill", QUIET)
    return "".join(
        text(row, (at[0], at[1] + index * size * leading), size=size, fill=fill, anchor=more.get("anchor", "start"))
        for index, row in enumerate(rows)
    )


def arrow_head(tip: Point, angle: float, *, length: float = 11, half: float = 4, fill: str = INK) -> str:
    """A filled arrow head at ``tip`` that points along ``angle`` (radians, 0 to the right, π/2 down)."""
    back = (tip[0] - length * math.cos(angle), tip[1] - length * math.sin(angle))
    side = (-half * math.sin(angle), half * math.cos(angle))
    corners = (tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))
    return polygon(corners, stroke=None, fill=fill)


def arrow(start: Point, end: Point, *, stroke: str = INK, width: float = 2, head: float = 11) -> str:
    """A line with one head at ``end``."""
    angle = math.atan2(end[1] - start[1], end[0] - start[0])
    stop = (end[0] - (head - 1) * math.cos(angle), end[1] - (head - 1) * math.sin(angle))
    shaft = line(start, stop, stroke=stroke, width=width)
    return shaft + arrow_head(end, angle, length=head, half=head * 0.4, fill=stroke)


def hatch(points: Sequence[Point], *, spacing: float = 7, falling: bool = False) -> str:
    """Path data of 45° section lines inside a closed outline (even-odd), spaced square to the lines."""
    slope = -1 if falling else 1
    step = spacing * math.sqrt(2)
    keys = [y + slope * x for x, y in points]
    pieces: list[str] = []
    first = math.ceil(min(keys) / step)
    for index in range(first, math.floor(max(keys) / step) + 1):
        level = index * step + 1e-7
        hits: list[Point] = []
        for (x1, y1), (x2, y2) in zip(points, [*points[1:], points[0]], strict=True):
            key1, key2 = y1 + slope * x1 - level, y2 + slope * x2 - level
            if (key1 < 0) != (key2 < 0):
                share = key1 / (key1 - key2)
                hits.append((x1 + share * (x2 - x1), y1 + share * (y2 - y1)))
        hits.sort()
        pieces += [outline(pair, closed=False) for pair in zip(hits[::2], hits[1::2], strict=False)]
    return "".join(pieces)


def sheet(body: str, *, width: float, height: float, title: str, description: str, key: str = "") -> str:
    """The whole drawing, named for screen readers.

    The ids are made from the content and ``key``: give two equal drawings on one page different keys.
    """
    mark = hashlib.sha256(f"{key}\0{title}\0{body}".encode("utf-8", "replace")).hexdigest()[:10]
    names = element("title", escape(clean(title)) or " ", id=f"t{mark}")
    names += element("desc", escape(clean(description)) or " ", id=f"d{mark}")
    return element(
        "svg",
        names + body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=width,
        height=height,
        role="img",
        aria_labelledby=f"t{mark} d{mark}",
        font_family=FAMILY,
        font_variant="tabular-nums",
        fill=INK,
    )


def finite(value: object, what: str) -> float:
    """``value`` when it is a usable number; raises BadInput otherwise."""
    if not isinstance(value, int | float) or isinstance(value, bool) or not -1e9 < value < 1e9:
        raise BadInput(f"{what} must be a number.", where=what, hint="It must be finite.")
    return float(value)
