"""The strength of a joint with a set insert: demand against capacity, as worst case and as probability.

``demand`` says what is asked, ``spread`` compares ranges, ``tightening`` finds the screw's torque and its window,
``estimates`` holds the closed-form capacities, ``checks`` makes the table, ``hole`` and ``screw`` say what to drill
and which screw to take.
"""

from __future__ import annotations

from firstpull.mechanics.joint.demand import Edges, JointDemand, LoadRange, Loads, Screw

__all__ = ["Edges", "JointDemand", "LoadRange", "Loads", "Screw"]
