"""Makes the solver's kernels ready: one short pull of a small insert. Numba keeps them in the user's cache."""

from __future__ import annotations

import os

from firstpull.mechanics.collapse.case import PullCase, Sheet
from firstpull.mechanics.collapse.flow_curves import library_curve
from firstpull.mechanics.collapse.pull import virtual_pull

SHORT = PullCase(
    outer_diameter_mm=9.0,
    counterbore_diameter_mm=7.2,
    unthreaded_length_mm=6.5,
    bore_diameter_mm=5.5,
    threaded_length_mm=5.0,
    flange_diameter_mm=13.0,
    flange_thickness_mm=1.5,
    metal=library_curve("steel"),
    friction=0.12,
    stroke_mm=0.05,
    sheet=Sheet(2.0, 9.1, 0.1, 210_000.0, 300.0),
)


def warm() -> None:
    """Run the short pull once; a second or so when the kernels are in the cache, else as long as they take to compile."""
    virtual_pull(SHORT)


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(15)
    warm()
