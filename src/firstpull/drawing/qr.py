"""QR codes as one SVG path."""

from __future__ import annotations

from firstpull.drawing import svg
from firstpull.errors import BadInput

__all__ = ["qr_svg"]

_QUIET_ZONE = 4  # modules, ISO/IEC 18004:2015, 6.3.8


def qr_svg(text: str, *, size: float = 160, key: str = "") -> str:
    """A QR code of ``text``, error correction M (ISO/IEC 18004), its quiet zone included, ``size`` px square.

    Raises BadInput when the text is empty or too long for one code.
    """
    import segno

    if not text:
        raise BadInput("A QR code needs a text.", where="qr")
    try:
        code = segno.make(text, error="m", micro=False, boost_error=False)
    except (segno.DataOverflowError, UnicodeError, ValueError):
        raise BadInput("That text does not fit one QR code.", where="qr", hint="At most about 2300 characters.")
    rows = [list(row) for row in code.matrix]
    count = len(rows) + 2 * _QUIET_ZONE
    module = size / count
    data = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            run = 1
            while x + run < len(row) and row[x + run] == row[x]:
                run += 1
            if row[x]:
                data.append(f"M{x + _QUIET_ZONE} {y + _QUIET_ZONE}h{run}v1h-{run}z")
            x += run
    body = svg.box(0, 0, width=size, height=size, fill=svg.WHITE, stroke=None) + svg.element(
        "path", d="".join(data), transform=f"scale({module:.6f})", fill="#000000", shape_rendering="crispEdges"
    )
    return svg.sheet(body, width=size, height=size, title="QR code", description=f"It holds: {text}", key=key)
