"""How many good ones prove how much, and how far off centre a tool may stand.

Two different promises are kept apart here. *Attribute*: n coupons pass, so at confidence C at least a share R of all
sets is good (success run, Clopper–Pearson). *Setting*: each set scatters by sigma about the tool's mean, so the mean
itself has to stay closer to the middle than the window's half width.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 8.3.1.1 (zero-failure test plans) and 7.2.4.1 (exact binomial
limits); C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404–413.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstpull.errors import BadInput
from firstpull.statistics.inputs import a_count, a_number, a_share

_MOST_COUPONS = 100_000_000


def success_run_exact(reliability: float, confidence: float) -> float:
    """The real number n with ``reliability`` ** n = 1 − ``confidence``: good ones in a row, none bad.

    Both are shares from 0.001 to 0.999999. Raises BadInput. Source: success run, n = ln(1 − C) / ln R,
    the binomial of no failures; NIST/SEMATECH e-Handbook 8.3.1.1. For R = 0.95, C = 0.95: 58.40.
    """
    share, sure = a_share(reliability, "reliability"), a_share(confidence, "confidence")
    return math.log1p(-sure) / math.log(share)


def success_run_count(reliability: float, confidence: float, *, failed: int = 0) -> int:
    """The least number of coupons that shows ``reliability`` at ``confidence`` when at most ``failed`` of them fail.

    0.95 and 0.95 need 59, 0.99 and 0.95 need 299 without a failure; 0.95 and 0.95 with one failure need 93.
    Shares from 0.001 to 0.999999, ``failed`` from 0 to 1000. Raises BadInput. Source: the least n with
    P(at most ``failed`` failures | n, R) ≤ 1 − C, binomial; Clopper and Pearson (1934).
    """
    allowed = a_count(failed, "failed", least=0, most=1000)
    exact = success_run_exact(reliability, confidence)
    if allowed == 0:
        # A whole-number answer must not be lifted to the next one by the last bit of a logarithm.
        return max(1, math.ceil(exact * (1 - 1e-12)))
    low, high = allowed, allowed + 1
    while reliability_shown(high - allowed, confidence, failed=allowed) < reliability:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        enough = reliability_shown(middle - allowed, confidence, failed=allowed) >= reliability
        low, high = (low, middle) if enough else (middle, high)
    return high


def reliability_shown(passed: int, confidence: float, *, failed: int = 0) -> float:
    """The share of good sets that ``passed`` good and ``failed`` bad coupons show at ``confidence`` (0 … 1).

    3 good ones show 0.368 at 0.95, 5 show 0.549; nothing passed shows 0. Raises BadInput for counts below 0 or over
    10⁸ and for a confidence outside 0.001 … 0.999999. Source: one-sided Clopper–Pearson lower limit, the (1 − C)
    point of Beta(passed, failed + 1); without failures (1 − C) ** (1/n), NIST/SEMATECH e-Handbook 7.2.4.1.
    """
    good = a_count(passed, "passed", least=0, most=_MOST_COUPONS)
    bad = a_count(failed, "failed", least=0, most=_MOST_COUPONS)
    sure = a_share(confidence, "confidence")
    if good == 0:
        return 0.0
    if bad == 0:
        return math.exp(math.log1p(-sure) / good)
    from scipy.special import betaincinv

    return float(betaincinv(good, bad + 1, 1 - sure))


def mean_tolerance_mm(half_window_mm: float, *, sigma_mm: float, share: float) -> float:
    """How far (mm) the tool's mean may stand from the middle of the window so that ``share`` of the sets is inside.

    half window − z · sigma. z is not a constant: far off centre only one limit cuts, z = Φ⁻¹(share); in the middle
    both do, z = Φ⁻¹((1 + share) / 2). It is solved here so that the share is met exactly at the edge of the answer.
    Zero or less: even a perfectly centred tool leaves more than 1 − share outside, no single setting serves; the
    number then says by how much (half window − Φ⁻¹((1 + share) / 2) · sigma). ``half_window_mm`` above 0 to 10⁶,
    ``sigma_mm`` 0 to 10⁶. Raises BadInput. Source: normal distribution, Φ((h − d)/σ) − Φ((−h − d)/σ) = share for d.
    """
    half = a_number(half_window_mm, "half_window_mm", least=1e-9, most=1e6)
    sigma = a_number(sigma_mm, "sigma_mm", least=0, most=1e6)
    inside = a_share(share, "share")
    from scipy.special import ndtr, ndtri

    centred = half - float(ndtri((1 + inside) / 2)) * sigma
    if centred <= 0 or sigma == 0:
        return centred
    near, far = 0.0, half  # at d = half at most one half is inside, less than any share that gets here off centre
    if inside < 0.5:
        far = half - float(ndtri(inside)) * sigma
    for _ in range(200):
        middle = (near + far) / 2
        got = float(ndtr((half - middle) / sigma) - ndtr((-half - middle) / sigma))
        near, far = (middle, far) if got >= inside else (near, middle)
        if far - near <= 1e-15 * half:
            break
    return near


@dataclass(frozen=True, slots=True)
class OneSetting:
    """Whether one knob setting can keep ``share`` of the sets inside, with the mean's tolerance (mm) and a sentence."""

    serves: bool
    mean_tolerance_mm: float
    share: float
    text: str


def one_setting(half_window_mm: float, *, sigma_mm: float, share: float = 0.99) -> OneSetting:
    """Say in words what :func:`mean_tolerance_mm` means for the job. Same ranges, errors and source."""
    tolerance = mean_tolerance_mm(half_window_mm, sigma_mm=sigma_mm, share=share)
    wanted = f"{100 * float(share):.10g} %"
    if tolerance > 0:
        text = (
            f"The tool's mean must stand within {tolerance:.3f} mm of the middle for {wanted} of the sets to be inside."
        )
    else:
        text = (
            f"No single setting serves: sets scatter by {float(sigma_mm):.3f} mm (one sigma), too much for {wanted} of them "
            f"to stay inside ± {float(half_window_mm):.3f} mm. Sort the panels, steady the tool or use a force-set tool."
        )
    return OneSetting(tolerance > 0, tolerance, float(share), text)


def shown_text(passed: int, confidence: float, *, failed: int = 0, wanted: float | None = None) -> str:
    """One sentence: what the coupons show, and how many good ones the ``wanted`` reliability would need.

    “3 good coupons alone show 36.8 % reliability at 95 % confidence; 95 % needs 59.” Errors and source as
    :func:`reliability_shown` and :func:`success_run_count`.
    """
    shown = reliability_shown(passed, confidence, failed=failed)
    coupons = "coupon" if passed == 1 else "coupons"
    verb = "shows" if passed == 1 and not failed else "show"
    which = f"{passed} good and {failed} bad coupons" if failed else f"{passed} good {coupons}"
    text = f"{which} alone {verb} {_percent(shown)} reliability at {_percent(confidence)} confidence"
    if wanted is None:
        return text + "."
    needed = success_run_count(wanted, confidence, failed=min(failed, 1000))
    if shown >= wanted:
        return f"{text}; the wanted {_percent(wanted)} is shown."
    return f"{text}; {_percent(wanted)} needs {needed}{' in all' if failed else ''}."


def _percent(share: float) -> str:
    if not math.isfinite(share):
        raise BadInput("That share is not a number.", hint="Write 95 % as 0.95.")
    # Rounded down: a proof must not read better than it is.
    return f"{math.floor(share * 1000 + 1e-9) / 10:.1f}".removesuffix(".0") + " %"
