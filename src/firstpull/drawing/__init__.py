"""Drawings and charts as SVG text: pure functions, the same bytes on page, card and test.

joint_section       the insert in its stack, before and after the pull, to scale
knob_turn           the knob with the arc to turn
convergence_chart   pulls against the window, with belief and expected reading
individuals_chart   the readings of a run with their moving ranges
mandrel_picture     fitting the tool, one act a picture
check_picture       a coupon check, good and bad
state_mark          in control, look, stop, passes, fails, owed, practice
qr_svg              a QR code
"""

from firstpull.drawing.charts import ChartPoint, convergence_chart
from firstpull.drawing.checks import CHECKS, check_picture
from firstpull.drawing.knob import knob_turn
from firstpull.drawing.marks import MARKS, state_mark
from firstpull.drawing.qr import qr_svg
from firstpull.drawing.run_chart import ChartSignal, MovingRanges, individuals_chart
from firstpull.drawing.section import InsertShape, Layer, joint_section
from firstpull.drawing.steps import STEPS, mandrel_picture

__all__ = [
    "CHECKS",
    "MARKS",
    "STEPS",
    "ChartPoint",
    "ChartSignal",
    "InsertShape",
    "Layer",
    "MovingRanges",
    "check_picture",
    "convergence_chart",
    "individuals_chart",
    "joint_section",
    "knob_turn",
    "mandrel_picture",
    "qr_svg",
    "state_mark",
]
