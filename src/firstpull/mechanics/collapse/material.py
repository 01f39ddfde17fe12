"""Flow curves of insert metals: true stress against true plastic strain, as the solver uses them."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput

Law = Literal["swift", "voce", "hollomon", "ludwik", "table"]
STRAIN_MOST = 3.0
"""A point that strains more than this keeps the stress of this strain; a fold's crest reaches 1 to 1.5."""
TABLE_STEP = 0.0005
ROWS = round(STRAIN_MOST / TABLE_STEP) + 1


@dataclass(frozen=True, slots=True)
class FlowCurve:
    """An elastic, isotropically hardening metal. Stresses in MPa, strains true and plastic.

    ``swift``: K (e0 + ε)ⁿ · ``hollomon``: K εⁿ, beginning where it meets the elastic line · ``ludwik``: s0 + K εⁿ ·
    ``voce``: s0 + Q (1 − exp(−b ε)) + H ε · ``table``: straight between (strain, stress) pairs, then the last slope
    but never softer than the last stress.
    """

    law: Law
    e_mpa: float
    poisson: float
    k_mpa: float = 0.0
    n: float = 0.0
    e0: float = 0.0
    s0_mpa: float = 0.0
    q_mpa: float = 0.0
    b: float = 0.0
    h_mpa: float = 0.0
    points: tuple[tuple[float, float], ...] = ()

    @property
    def shear_mpa(self) -> float:
        """The elastic shear modulus."""
        return self.e_mpa / (2.0 * (1.0 + self.poisson))

    @property
    def bulk_mpa(self) -> float:
        """The elastic bulk modulus."""
        return self.e_mpa / (3.0 * (1.0 - 2.0 * self.poisson))


def flow_stress_mpa(curve: FlowCurve, strain: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The flow stress in MPa at true plastic strains ≥ 0 (beyond the measured strains: the law itself).

    Source: Swift 1952, Voce 1948, Hollomon 1945 and Ludwik 1909 hardening laws in their usual forms (from memory).
    """
    if curve.law == "swift":
        return np.asarray(curve.k_mpa * (curve.e0 + strain) ** curve.n)
    if curve.law == "hollomon":
        start = (curve.k_mpa / curve.e_mpa) ** (1.0 / (1.0 - curve.n))
        return np.asarray(curve.k_mpa * (start + strain) ** curve.n)
    if curve.law == "ludwik":
        return np.asarray(curve.s0_mpa + curve.k_mpa * strain**curve.n)
    if curve.law == "voce":
        return np.asarray(curve.s0_mpa + curve.q_mpa * (1.0 - np.exp(-curve.b * strain)) + curve.h_mpa * strain)
    strains, stresses = (np.array(column, dtype=np.float64) for column in zip(*curve.points, strict=True))
    if len(strains) == 1:
        return np.full_like(strain, stresses[0])
    slope = max(0.0, (stresses[-1] - stresses[-2]) / (strains[-1] - strains[-2]))
    beyond = np.maximum(strain - strains[-1], 0.0)
    return np.asarray(np.interp(strain, strains, stresses) + slope * beyond)


def flow_table(curve: FlowCurve) -> npt.NDArray[np.float64]:
    """Flow stress in MPa at the even strains 0, 0.0005, … 3.0 of the solver's table. Source: by definition."""
    return flow_stress_mpa(curve, np.arange(ROWS, dtype=np.float64) * TABLE_STEP)


def check_flow_curve(curve: FlowCurve, *, where: str = "material") -> FlowCurve:
    """The same curve, or BadInput for one that no metal follows: constants, a stress that falls, a modulus off."""
    if not 1_000.0 <= curve.e_mpa <= 500_000.0:
        raise BadInput("The modulus is not a metal's.", where=f"{where}.E_mpa", hint="Steel is about 210000 MPa.")
    if not 0.0 <= curve.poisson <= 0.45:
        raise BadInput("Poisson's ratio must lie in 0 … 0.45.", where=f"{where}.poisson", hint="Metals: 0.27 to 0.35.")
    if curve.law in ("swift", "hollomon", "ludwik") and not 0.0 <= curve.n < 0.8:
        raise BadInput("The exponent n must lie in 0 … 0.8.", where=f"{where}.n", hint="Most metals: 0.05 to 0.5.")
    if curve.law == "swift" and curve.e0 < 0.0:
        raise BadInput("e0 cannot be negative.", where=f"{where}.e0", hint="Most metals: 0.001 to 0.05.")
    if curve.law == "table":
        _check_points(curve.points, where)
    table = flow_table(curve)
    first = float(table[0])
    if not all(map(math.isfinite, (first, float(table[-1])))) or first < 5.0 or float(table[-1]) > 5_000.0:
        raise BadInput("The flow stress leaves 5 … 5000 MPa.", where=where, hint="Check the law's constants.")
    if first > 0.02 * curve.e_mpa:
        raise BadInput("The yield strain is over 2 %.", where=where, hint="Check the modulus and the law's constants.")
    if float(np.min(np.diff(table))) < -1e-9:
        raise BadInput("The metal softens with strain; that is not modelled.", where=where, hint="Use a rising curve.")
    return curve


def _check_points(points: tuple[tuple[float, float], ...], where: str) -> None:
    if not points or points[0][0] != 0.0:
        raise BadInput("The table begins at strain 0.", where=f"{where}.points", hint="[[0, 300], [0.1, 380], …]")
    if any(later[0] <= sooner[0] for sooner, later in itertools.pairwise(points)):
        raise BadInput("The strains of the table must rise.", where=f"{where}.points", hint="[[0, 300], [0.1, 380], …]")
