"""The practice bench: a simulated tool to learn on, with its own physics. It never imports the estimator."""

from firstpull.practice.nominals import Nominals
from firstpull.practice.results import PracticeCoupon, PracticePull, PracticeTruth
from firstpull.practice.simulated_tool import SimulatedTool
from firstpull.practice.temperament import TEMPERAMENTS

__all__ = ["TEMPERAMENTS", "Nominals", "PracticeCoupon", "PracticePull", "PracticeTruth", "SimulatedTool"]
