"""How often a chart cries wolf, and how soon it finds a shift: average run lengths for independent normal values.

Shewhart: geometric. Run rules: Markov chain of what the last values were. Moving range beside the limits: integral
equation. EWMA and CUSUM: the integral equation of the
run length, solved at Gauss–Legendre places. Sigma and centre are taken as known; limits estimated from few values cry
wolf more often.

Sources: C. W. Champ, W. H. Woodall, Technometrics 29 (1987) 393–399 (run rules); S. V. Crowder, Technometrics 29 (1987)
401–407 and J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990) 1–12 (EWMA); L. C. Vance, Journal of Quality Technology
18 (1986) 189–193, J. M. Lucas, R. B. Crosier, Technometrics 24 (1982) 199–205 (CUSUM); NIST/SEMATECH e-Handbook 6.3.2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import islice, pairwise

import numpy as np
import numpy.typing as npt

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number
from firstpull.statistics.run_chances import Past as _Past
from firstpull.statistics.run_chances import mean_length, survivals

_Floats = npt.NDArray[np.float64]
_ZONES = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
_MOST = 1e12
_PANEL = 24
ZONE_RULES = (1, 2, 3, 4, 7, 8)
"""The run rules that look only at zones; 5 and 6 look at rises and falls (:mod:`run_chances`)."""
ALL_RULES = (1, 2, 3, 4, 5, 6, 7, 8)


def shewhart_run_length(*, shift: float = 0.0, width: float = 3.0) -> float:
    """Average number of points until one is beyond ± ``width`` sigmas; ``shift`` of the centre in sigmas of the point.

    Width 0.1 … 6, shift −10 … 10; no unit. 370.4 for width 3 and no shift. Raises BadInput. Source: 1/p of the
    geometric distribution, NIST/SEMATECH e-Handbook 6.3.2.
    """
    from scipy.special import ndtr

    off, reach = _shift(shift), a_number(width, "width", least=0.1, most=6)
    return float(1 / (ndtr(-reach - off) + ndtr(-reach + off)))


def rules_run_length(rules: Sequence[int], *, shift: float = 0.0) -> float:
    """Average number of points until one of the run ``rules`` holds; numbers as in :data:`run_rules.RULES`.

    At least one of the eight; ``shift`` −10 … 10 in sigmas of the point; no unit. 91.75 for rules 1 to 4 and no shift,
    65.79 for all eight. Raises BadInput. Source: Champ and Woodall (1987): the chain of all distinguishable pasts, its
    mean time to absorption from an empty past; with rules 5 or 6 the last value belongs to the past, see
    :mod:`run_chances`.
    """
    chosen, off = _rules(rules), _shift(shift)
    if 5 not in chosen and 6 not in chosen:
        return _told(_zones_length(chosen, off))
    length = mean_length(chosen, off, after=_after, start=_NO_PAST)
    return _told(math.inf if length is None else length)


def false_alarm_chance(rules: Sequence[int], points: int, *, shift: float = 0.0) -> float:
    """The chance that one of the run ``rules`` holds at least once within ``points`` values (1 to 10 000); no unit.

    Rules and ``shift`` as in :func:`rules_run_length`; with no shift it is the chance of a false alarm in a chart of
    that length. 25 values and rule 1: 0.0653. Raises BadInput. Source: Walker, Philpot and Clement (1991), there by
    simulation; here exact, by the chain of :mod:`run_chances`.
    """
    chosen, off = _rules(rules), _shift(shift)
    count = a_count(points, "points", least=1, most=10_000)
    chances = survivals(chosen, off, after=_after, start=_NO_PAST)
    return max(0.0, 1 - next(islice(chances, count - 1, None)))


def individuals_run_length(*, shift: float = 0.0) -> float:
    """Average number of values until an individuals chart signals: beyond 3 sigma, or a moving range beyond its limit.

    ``shift`` −10 … 10 in sigmas of a value, there from the first value on; no unit. Limits 3 sigma and D4·d2 = 3.686
    sigma, sigma known. Raises BadInput. Source: S. V. Crowder, Journal of Quality Technology 19 (1987) 98–102 (integral
    equation of the combined chart): L(x) = 1 + ∫ L(y) φ(y − δ) dy over y within the limits and within 3.686 of x.
    """
    from firstpull.statistics.control_charts import chart_constants

    off, reach = _shift(shift), 3.0
    jump = chart_constants(2).d2_high
    bend = jump - reach  # there the limit of the range begins to cut: L is smooth on either side
    edges = (-reach, -bend, bend, reach)
    panels = [_gauss(low, high, count=_PANEL) for low, high in pairwise(edges)]
    x = np.concatenate([place for place, _ in panels])
    kernel = np.zeros((len(x), len(x)))
    for row, last in enumerate(x):
        for panel, (low, high) in enumerate(pairwise(edges)):
            a, b = max(low, last - jump), min(high, last + jump)
            if a < b:
                y, weights = _gauss(a, b, count=_PANEL)
                held = _interpolated(y, low=low, high=high)
                kernel[row, panel * _PANEL : (panel + 1) * _PANEL] = (weights * _density(y - off)) @ held
    lengths = np.linalg.solve(np.eye(len(x)) - kernel, np.ones(len(x)))
    start = np.concatenate([weights for _, weights in panels]) * _density(x - off)
    return _told(float(1 + start @ lengths))


def _interpolated(y: _Floats, *, low: float, high: float) -> _Floats:
    """What a function held at the places of a panel is at each ``y``, as weights of those places."""
    node, weight = np.polynomial.legendre.leggauss(_PANEL)
    degree = np.arange(_PANEL)
    at = np.polynomial.legendre.legvander((2 * y - low - high) / (high - low), _PANEL - 1)
    held = np.polynomial.legendre.legvander(node, _PANEL - 1)
    weights: _Floats = at @ ((degree[:, None] + 0.5) * held.T * weight[None, :])
    return weights


def _rules(rules: Sequence[int]) -> tuple[int, ...]:
    if not rules or any(isinstance(rule, bool) or rule not in ALL_RULES for rule in rules):
        raise BadInput(
            f"Rules {list(rules)} cannot be reckoned together.",
            where="rules",
            hint=f"Take one or more of {', '.join(map(str, ALL_RULES))}.",
        )
    return tuple(sorted({int(rule) for rule in rules}))


def _zones_length(chosen: tuple[int, ...], off: float) -> float:
    from scipy.sparse import csc_matrix, identity
    from scipy.sparse.linalg import spsolve
    from scipy.special import ndtr

    edges = np.array([-math.inf, *_ZONES, math.inf])
    chances = np.diff(ndtr(edges - off))
    places: dict[_Past, int] = {_NO_PAST: 0}
    waiting = [_NO_PAST]
    rows, columns, weights = [], [], []
    while waiting:
        past = waiting.pop()
        for zone, chance in enumerate(chances):
            now = _after(past, zone, chosen)
            if now is None or chance == 0:
                continue
            if now not in places:
                places[now] = len(places)
                waiting.append(now)
            rows.append(places[past])
            columns.append(places[now])
            weights.append(float(chance))
    size = len(places)
    chain = csc_matrix((weights, (rows, columns)), shape=(size, size))
    lengths = spsolve(identity(size, format="csc") - chain, np.ones(size))
    return float(lengths[0])


def ewma_run_length(weight: float, width: float, *, shift: float = 0.0) -> float:
    """Average number of values until an EWMA started at the centre is beyond its long-run limits, two-sided.

    ``weight`` 0.01 … 1, ``width`` 0.5 … 5 (limits centre ± width · σ · √(weight/(2 − weight))), ``shift`` −10 … 10 in
    sigmas of one value; no unit. Raises BadInput, also where the answer is over 10¹². Source: Crowder (1987), integral
    equation L(u) = 1 + (1/λ) ∫ L(y) φ((y − (1 − λ)u)/λ − δ) dy.
    """
    share = a_number(weight, "weight", least=0.01, most=1)
    reach = a_number(width, "width", least=0.5, most=5)
    off = _shift(shift)
    if share == 1:
        return shewhart_run_length(shift=off, width=reach)
    far = reach * math.sqrt(share / (2 - share))
    # the kernel is λ wide: enough places to follow it
    y, weights = _gauss(-far, far, count=max(40, min(400, math.ceil(24 * far / share))))
    kernel = weights[None, :] / share * _density((y[None, :] - (1 - share) * y[:, None]) / share - off)
    lengths = np.linalg.solve(np.eye(len(y)) - kernel, np.ones(len(y)))
    start = weights / share * _density(y / share - off)
    return _told(float(1 + start @ lengths))


def cusum_run_length(
    slack: float, limit: float, *, shift: float = 0.0, head_start: float = 0.0, two_sided: bool = True
) -> float:
    """Average number of values until a CUSUM is beyond its limit; all arguments in sigmas of one value, no unit.

    ``slack`` 0 … 5, ``limit`` 0.1 … 30, ``shift`` −10 … 10, ``head_start`` from 0 up to the limit (one-sided only, or
    two-sided with slack and limit such that both sums cannot run together: head start ≤ limit/2 + slack). Raises
    BadInput, also where the answer is over 10¹². Source: Vance (1986), L(u) = 1 + L(0)Φ(k − u − δ) +
    ∫₀ʰ L(y) φ(y + k − u − δ) dy; two-sided: Lucas and Crosier (1982), with both head starts.
    """
    free = a_number(slack, "slack", least=0, most=5)
    far = a_number(limit, "limit", least=0.1, most=30)
    off = _shift(shift)
    start = a_number(head_start, "head_start", least=0, most=far)
    if not two_sided:
        return _told(_one_sided(free, far, shift=off, starts=(start,))[0])
    if start > far / 2 + free:
        raise BadInput(
            "With so large a head start both sums run together, which is not reckoned here.",
            where="head_start",
            hint="Take half of the limit.",
        )
    up_start, up = _one_sided(free, far, shift=off, starts=(start, 0.0))
    down_start, down = _one_sided(free, far, shift=-off, starts=(start, 0.0))
    return _told((up_start * down + up * down_start - up * down) / (up + down))


def ewma_width(weight: float, run_length: float) -> float:
    """The width of EWMA limits, in the sigmas of :func:`ewma_run_length`, that cries wolf once in ``run_length`` values.

    ``weight`` 0.01 … 1, ``run_length`` 20 … 10⁵; no unit. Weight 0.5 and 500 give 3.071. Raises BadInput. Source: Lucas
    and Saccucci (1990), table 3, solved from the integral equation of :func:`ewma_run_length`.
    """
    from scipy.optimize import brentq

    wanted = math.log(a_number(run_length, "run_length", least=20, most=1e5))
    return float(brentq(lambda width: math.log(ewma_run_length(weight, width)) - wanted, 0.5, 5.0, xtol=1e-8))


def cusum_limit(slack: float, run_length: float) -> float:
    """The limit of a two-sided CUSUM, in sigmas, that cries wolf once in ``run_length`` values; no unit.

    ``slack`` 0.2 … 2, ``run_length`` 20 … 10⁵. Slack 0.5 and 370 give 4.77. Raises BadInput. Source: D. M. Hawkins,
    Quality Engineering 5 (1993) 463–477 (his table of limits), solved from :func:`cusum_run_length`.
    """
    from scipy.optimize import brentq

    free = a_number(slack, "slack", least=0.2, most=2)
    wanted = math.log(a_number(run_length, "run_length", least=20, most=1e5))

    def surplus(limit: float) -> float:
        return math.log(cusum_run_length(free, limit)) - wanted

    if surplus(0.1) > 0:
        raise BadInput(
            "With so much slack even the narrowest limit cries wolf more seldom.",
            where="run_length",
            hint="Take less slack, or a longer run length.",
        )
    most = 1.0
    while surplus(most) < 0:
        most *= 1.25
    return float(brentq(surplus, 0.1, most, xtol=1e-8))


def _one_sided(free: float, far: float, *, shift: float, starts: tuple[float, ...]) -> list[float]:
    from scipy.special import ndtr

    y, weights = _gauss(0.0, far, count=max(32, min(400, math.ceil(12 * far))))
    places = np.concatenate([[0.0], y])

    def row(u: _Floats) -> _Floats:
        kernel = weights[None, :] * _density(y[None, :] + free - u[:, None] - shift)
        return np.hstack([np.asarray(ndtr(free - u - shift))[:, None], kernel])

    lengths = np.linalg.solve(np.eye(len(places)) - row(places), np.ones(len(places)))
    return [float(value) for value in 1 + row(np.array(starts)) @ lengths]


def _gauss(low: float, high: float, *, count: int) -> tuple[_Floats, _Floats]:
    place, weight = np.polynomial.legendre.leggauss(count)
    return (high - low) / 2 * place + (high + low) / 2, (high - low) / 2 * weight


def _density(x: _Floats) -> _Floats:
    return np.asarray(np.exp(-0.5 * np.square(x)) / math.sqrt(2 * math.pi), dtype=np.float64)


def _shift(shift: float) -> float:
    return a_number(shift, "shift", least=-10, most=10)


def _told(length: float) -> float:
    if not (math.isfinite(length) and 1 - 1e-9 <= length <= _MOST):
        raise BadInput(
            "That run length is too long to be computed.",
            where="run length",
            hint="It hardly ever signals: take narrower limits or other rules.",
        )
    return length


_NO_PAST: _Past = (0, 0, 0, 0, 0, 0, 0, 0)


def _after(past: _Past, zone: int, rules: tuple[int, ...]) -> _Past | None:
    """What matters of the past after one more value; None where a rule holds. ``zone`` counts from 0 (below −3 sigma)
    to 7 (above +3). A past holds: whether each of the last two was beyond two sigma, above and below; each of the last
    four beyond one sigma, above and below (bits, the last lowest); how long the run on one side is, within one sigma,
    beyond one sigma, and beyond it on one side.
    """
    levels = _after_levels(past[:4], zone, rules)
    runs = _after_runs(past[4:], zone, rules)
    return None if levels is None or runs is None else (*levels, *runs)


def _after_levels(past: _Past, zone: int, rules: tuple[int, ...]) -> _Past | None:
    """Rules 1 to 3: how many of the last few were far out on one side."""
    two_up, two_down, one_up, one_down = past
    if 1 in rules and zone in (0, 7):
        return None
    if 2 in rules:
        if (zone >= 6 and two_up) or (zone <= 1 and two_down):
            return None
        two_up, two_down = (two_up << 1 | (zone >= 6)) & 3, (two_down << 1 | (zone <= 1)) & 3
    if 3 in rules:
        if (zone >= 5 and one_up.bit_count() >= 3) or (zone <= 2 and one_down.bit_count() >= 3):
            return None
        one_up, one_down = (one_up << 1 | (zone >= 5)) & 15, (one_down << 1 | (zone <= 2)) & 15
    return (two_up, two_down, one_up, one_down)


def _after_runs(past: _Past, zone: int, rules: tuple[int, ...]) -> _Past | None:
    """Rules 4, 7 and 8: unbroken runs."""
    side, near, far, same = past
    out = zone >= 5 or zone <= 2
    turn = 1 if zone >= 4 else -1
    if 4 in rules:
        side = side + turn if side * turn > 0 else turn
    if 7 in rules:
        near = 0 if out else near + 1
    if 8 in rules:
        far = min(far + 1, 8) if out else 0
        same = 0 if not out else max(-8, min(8, same + turn)) if same * turn > 0 else turn
    if abs(side) >= 8 or near >= 15 or (far >= 8 and abs(same) < 8):
        return None
    return (side, near, far, same)
