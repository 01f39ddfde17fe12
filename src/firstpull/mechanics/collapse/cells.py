"""The metal's inner step in single precision, sixteen quadrilaterals at a time, so that a processor's lanes are full.

Everything an element has lies in one flat array, ``cells``: blocks of ``LANES`` elements, in each block ``CELL_ROWS``
rows of ``LANES`` numbers. All rows of a block are touched in one plain loop without a look-up or a branch: the yield
stress and its slope are rows too, brought up to date from the flow table after each chunk of steps. One block is one
group of threads on a graphics processor; nothing here needs more than the block and the speeds of its nodes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from firstpull.mechanics.collapse.compiled import compiled, inlined

Singles = npt.NDArray[np.float32]
Real = Any
"""A single-precision number inside a kernel."""

LANES = 16
(GEOMETRY, SPEED, FIRST, SHEAR, BULK, CALMING, STRESS, STRAIN, LIMIT, SLOPE, WORK, PUSH) = (
    0, 7, 14, 19, 20, 21, 22, 34, 38, 42, 46, 47,
)  # fmt: skip
"""First rows: diagonals and hourglass of places (7) and speeds (7); inverse first Jacobian (4) and volume; moduli;
viscosity; stress deviator at four points (12); plastic strain, yield stress and its slope there (4 each); the step's
work; corner forces along r (4) and z (4)."""
CELL_ROWS = 55
_AT = tuple(np.uint64(row * LANES) for row in range(CELL_ROWS))
(
    R13, Z13, R24, Z24, RSUM, HR, HZ, VR13, VZ13, VR24, VZ24, VSUM, KR, KZ, G0, G1, G2, G3, PER_VOLUME, G, K, CALM,
    XX0, YY0, XY0, XX1, YY1, XY1, XX2, YY2, XY2, XX3, YY3, XY3, E0, E1, E2, E3, L0, L1, L2, L3, H0, H1, H2, H3, W,
    FR0, FR1, FR2, FR3, FZ0, FZ1, FZ2, FZ3,
) = _AT  # fmt: skip
UNSIGNED = np.uint64
NIL, ONE, TWO, THREE, HALF, QUARTER, EIGHT = (np.float32(n) for n in (0.0, 1.0, 2.0, 3.0, 0.5, 0.25, 8.0))
LEAST_SHARE = np.float32(0.25)
"""A point's volume counts at least this share of an even one, so that a crushed corner does not run away."""
THIRD, FIFTH, GAUSS, LEAST = np.float32(1.0 / 3.0), np.float32(0.2), np.float32(1.0 / np.sqrt(3.0)), np.float32(1e-30)


@inlined
def _point(xx: Real, yy: Real, xy: Real, limit: Real, slope: Real, shear3: Real) -> Any:
    """Return-map one point: deviator, new yield stress, plastic strain of the step."""
    equivalent = np.sqrt(THREE * (xx * xx + yy * yy + xx * yy + xy * xy))
    strain = max(equivalent - limit, NIL) / (shear3 + slope)
    limit = limit + slope * strain
    share = min(limit / max(equivalent, LEAST), ONE)
    return xx * share, yy * share, xy * share, limit, strain


@inlined
def _shape(diagonals: Any, hourglass: Any, radius: Real, first: Any) -> Any:
    """Inverse of twice the area, inverse radius, volume, turn since the start, bending map, the points' share of volume."""
    r13, z13, r24, z24 = diagonals
    hr, hz = hourglass
    g0, g1, g2, g3 = first
    double = r13 * z24 - r24 * z13
    inv, volume = ONE / double, HALF * double * radius
    r_xi, r_eta = QUARTER * (r24 - r13), -QUARTER * (r13 + r24)
    z_xi, z_eta = QUARTER * (z24 - z13), -QUARTER * (z13 + z24)
    cos = r_xi * g0 + r_eta * g2 + z_xi * g1 + z_eta * g3
    sin = z_xi * g0 + z_eta * g2 - r_xi * g1 - r_eta * g3
    one = ONE / np.sqrt(cos * cos + sin * sin)
    cos, sin, det = cos * one, sin * one, EIGHT * inv
    xi_x, xi_y = det * (cos * z_eta - sin * r_eta), -det * (sin * z_eta + cos * r_eta)
    eta_x, eta_y = det * (sin * r_xi - cos * z_xi), det * (sin * z_xi + cos * r_xi)
    lean, flare = TWO * GAUSS * inv * (r_xi * hz - z_xi * hr), TWO * GAUSS * inv * (hr * z_eta - hz * r_eta)
    f0, f1 = max(ONE - lean - flare, LEAST_SHARE), max(ONE + lean - flare, LEAST_SHARE)
    f2, f3 = max(ONE + lean + flare, LEAST_SHARE), max(ONE - lean + flare, LEAST_SHARE)
    return inv, ONE / radius, volume, cos, sin, xi_x, xi_y, eta_x, eta_y, f0, f1, f2, f3


@inlined
def _turned(lrr: Real, lslant: Real, lzz: Real, cos: Real, sin: Real) -> Any:
    """A symmetric rate (rr, rz, zz) in the element's axes: half the sum, the turned half difference and shear; cos2, sin2."""
    cos2, sin2, half = cos * cos - sin * sin, TWO * sin * cos, HALF * (lrr - lzz)
    return HALF * (lrr + lzz), half * cos2 + lslant * sin2, lslant * cos2 - half * sin2, cos2, sin2


@inlined
def _pressure(swell: Real, bulk: Real) -> Real:
    """Bulk modulus times the logarithm of the grown volume, by the first terms of its series (1e-9 at 10 %)."""
    swell = (swell - ONE) / (swell + ONE)
    return bulk * TWO * swell * (ONE + swell * swell * (THIRD + FIFTH * swell * swell))


@inlined
def _along(br: Real, bz: Real, stress: Any, hourglass: Any, bending: Any) -> Any:
    """The force along one diagonal: of the mean stress, and of the bending mode ¼ [h − (h·r) b_r − (h·z) b_z]."""
    srr, srz, szz = stress
    hr, hz = hourglass
    gr, gz = bending
    return br * (srr - hr * gr) + bz * (srz - hz * gr), br * (srz - hr * gz) + bz * (szz - hz * gz)


@compiled
def march_block(cells: Singles, first: Any, lanes: int) -> None:
    """Advance the stresses of one block by a step and leave the step's work and the corner forces in its rows.

    ``first``: place of the block. Stresses in MPa, forces in N a radian. Source: the element of ``element``.
    """
    for lane in range(lanes):
        i = first + UNSIGNED(lane)
        r13, z13, r24, z24, hr, hz = (
            cells[i + R13], cells[i + Z13], cells[i + R24], cells[i + Z24], cells[i + HR], cells[i + HZ],
        )  # fmt: skip
        inv, per_radius, volume, cos, sin, xi_x, xi_y, eta_x, eta_y, f0, f1, f2, f3 = _shape(
            (r13, z13, r24, z24),
            (hr, hz),
            QUARTER * cells[i + RSUM],
            (cells[i + G0], cells[i + G1], cells[i + G2], cells[i + G3]),
        )
        br1, br2, bz1, bz2 = z24 * inv, -z13 * inv, -r24 * inv, r13 * inv
        lrr, lrz = br1 * cells[i + VR13] + br2 * cells[i + VR24], bz1 * cells[i + VR13] + bz2 * cells[i + VR24]
        lzr, lzz = br1 * cells[i + VZ13] + br2 * cells[i + VZ24], bz1 * cells[i + VZ13] + bz2 * cells[i + VZ24]
        loop = QUARTER * cells[i + VSUM] * per_radius
        qr, qz = QUARTER * (cells[i + KR] - hr * lrr - hz * lrz), QUARTER * (cells[i + KZ] - hr * lzr - hz * lzz)
        qx, qy = cos * qr + sin * qz, cos * qz - sin * qr
        ax, ay = GAUSS * (qx * xi_x - qy * xi_y), GAUSS * (qx * eta_x - qy * eta_y)
        middle, turned, slant, cos2, sin2 = _turned(lrr, HALF * (lrz + lzr), lzz, cos, sin)
        trace, twice, shear3 = lrr + lzz + loop, TWO * cells[i + G], THREE * cells[i + G]
        middle -= THIRD * trace
        dxx, dyy, dxy = twice * (middle + turned), twice * (middle - turned), twice * slant
        b0, b1, b2, b3 = -twice * (ax + ay) / f0, twice * (ay - ax) / f1, twice * (ax + ay) / f2, twice * (ax - ay) / f3
        x0, y0, s0, l0, e0 = _point(cells[i + XX0] + dxx + b0, cells[i + YY0] + dyy - b0, cells[i + XY0] + dxy,
                                    cells[i + L0], cells[i + H0], shear3)  # fmt: skip
        x1, y1, s1, l1, e1 = _point(cells[i + XX1] + dxx + b1, cells[i + YY1] + dyy - b1, cells[i + XY1] + dxy,
                                    cells[i + L1], cells[i + H1], shear3)  # fmt: skip
        x2, y2, s2, l2, e2 = _point(cells[i + XX2] + dxx + b2, cells[i + YY2] + dyy - b2, cells[i + XY2] + dxy,
                                    cells[i + L2], cells[i + H2], shear3)  # fmt: skip
        x3, y3, s3, l3, e3 = _point(cells[i + XX3] + dxx + b3, cells[i + YY3] + dyy - b3, cells[i + XY3] + dxy,
                                    cells[i + L3], cells[i + H3], shear3)  # fmt: skip
        cells[i + XX0], cells[i + YY0], cells[i + XY0], cells[i + L0] = x0, y0, s0, l0
        cells[i + XX1], cells[i + YY1], cells[i + XY1], cells[i + L1] = x1, y1, s1, l1
        cells[i + XX2], cells[i + YY2], cells[i + XY2], cells[i + L2] = x2, y2, s2, l2
        cells[i + XX3], cells[i + YY3], cells[i + XY3], cells[i + L3] = x3, y3, s3, l3
        cells[i + E0], cells[i + E1] = cells[i + E0] + e0, cells[i + E1] + e1
        cells[i + E2], cells[i + E3] = cells[i + E2] + e2, cells[i + E3] + e3
        sxx, syy = QUARTER * (f0 * x0 + f1 * x1 + f2 * x2 + f3 * x3), QUARTER * (f0 * y0 + f1 * y1 + f2 * y2 + f3 * y3)
        sxy = QUARTER * (f0 * s0 + f1 * s1 + f2 * s2 + f3 * s3)
        along = QUARTER * (x2 - y2 + x3 - y3 - x0 + y0 - x1 + y1)
        across = QUARTER * (x1 - y1 + x2 - y2 - x0 + y0 - x3 + y3)
        pressure = _pressure(volume * cells[i + PER_VOLUME], cells[i + K]) + cells[i + CALM] * trace
        half, mean = HALF * (sxx - syy), pressure + HALF * (sxx + syy)
        lean, srz, hoop = half * cos2 - sxy * sin2, half * sin2 + sxy * cos2, pressure - sxx - syy
        srr, szz = volume * (mean + lean), volume * (mean - lean)
        srz, ring = volume * srz, QUARTER * volume * hoop * per_radius
        cells[i + W] = (
            srr * lrr + szz * lzz + srz * (lrz + lzr) + ring * cells[i + VSUM] + volume * (along * ax + across * ay)
        )
        gx, gy = GAUSS * (xi_x * along + eta_x * across), -GAUSS * (xi_y * along + eta_y * across)
        gr, gz = QUARTER * volume * (cos * gx - sin * gy), QUARTER * volume * (sin * gx + cos * gy)
        f1r, f1z = _along(br1, bz1, (srr, srz, szz), (hr, hz), (gr, gz))
        f2r, f2z = _along(br2, bz2, (srr, srz, szz), (hr, hz), (gr, gz))
        cells[i + FR0], cells[i + FR1] = f1r + gr + ring, f2r - gr + ring
        cells[i + FR2], cells[i + FR3] = gr + ring - f1r, ring - f2r - gr
        cells[i + FZ0], cells[i + FZ1], cells[i + FZ2], cells[i + FZ3] = f1z + gz, f2z - gz, gz - f1z, -f2z - gz
