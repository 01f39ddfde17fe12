"""The metal of one quadrilateral on a GPU's thread: the element of ``firstpull.mechanics.collapse.cells`` again.

``own`` holds what a thread keeps of each of its quadrilaterals, row ``k``; places are named below. Yield stress, its slope
and the viscosity are brought up to date once a chunk of steps, as on the CPU.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import cuda, int32, uint32

from firstpull.mechanics.collapse.cells import LEAST_SHARE
from firstpull.mechanics.collapse.element import SOFT, VISCOSITY
from firstpull.mechanics.collapse.simulate import SHARE

MOST_QUADS = 320
TABLE_ROWS, TABLE_FINE, FINE_STRAIN = 512, 256, 0.128
FINE_STEP = FINE_STRAIN / TABLE_FINE
COARSE_STEP = (3.0 - FINE_STRAIN) / (TABLE_ROWS - 1 - TABLE_FINE)

FIRST, PER_VOLUME, STRESS, STRAIN, LIMIT, SLOPE, CALMING, OWN = 0, 4, 5, 17, 21, 25, 29, 30

F = np.float32
ZERO, ONE, TWO, THREE, EIGHT, HALF, QUARTER, EIGHTH = (F(n) for n in (0.0, 1.0, 2.0, 3.0, 8.0, 0.5, 0.25, 0.125))
THIRD, FIFTH, FOUR_THIRDS, GAUSS, LEAST = F(1 / 3), F(0.2), F(4 / 3), F(1 / math.sqrt(3)), F(1e-30)
LEAST_PART = F(LEAST_SHARE)
PER_FINE, PER_COARSE, FINE_END = F(1.0 / FINE_STEP), F(1.0 / COARSE_STEP), F(FINE_STRAIN)
VISCOUS, SOFT_SHARE, PER_SHARE = F(VISCOSITY), F(SOFT), F(1.0 / (SHARE * SHARE))
SECOND, THIRD_CORNER, FOURTH = uint32(MOST_QUADS), uint32(2 * MOST_QUADS), uint32(3 * MOST_QUADS)


@cuda.jit(device=True, inline=True)
def prepare(x: Any, quads: Any, k: Any, own: Any) -> None:
    """Fill ``own``: the inverse of the first Jacobian, of the first volume, and no stress."""
    a, b, c, d = quads[k, 0], quads[k, 1], quads[k, 2], quads[k, 3]
    r_xi = QUARTER * (x[0, b] + x[0, c] - x[0, a] - x[0, d])
    r_eta = QUARTER * (x[0, c] + x[0, d] - x[0, a] - x[0, b])
    z_xi = QUARTER * (x[1, b] + x[1, c] - x[1, a] - x[1, d])
    z_eta = QUARTER * (x[1, c] + x[1, d] - x[1, a] - x[1, b])
    det = r_xi * z_eta - r_eta * z_xi
    own[k, 0], own[k, 1], own[k, 2], own[k, 3] = z_eta / det, -r_eta / det, -z_xi / det, r_xi / det
    own[k, PER_VOLUME] = ONE / (det * (x[0, a] + x[0, b] + x[0, c] + x[0, d]))
    for place in range(STRESS, OWN):
        own[k, place] = ZERO


@cuda.jit(device=True, inline=True)
def mass_needed(x: Any, quads: Any, k: Any, stiff: Any) -> Any:
    """The mass that a step of one needs of a quadrilateral; 0 where it is turned inside out."""
    a, b, c, d = quads[k, 0], quads[k, 1], quads[k, 2], quads[k, 3]
    r13, z13, r24, z24 = x[0, a] - x[0, c], x[1, a] - x[1, c], x[0, b] - x[0, d], x[1, b] - x[1, d]
    double = r13 * z24 - r24 * z13
    if double <= ZERO:
        return ZERO
    rr, zz = TWO * (z24 * z24 + z13 * z13), TWO * (r24 * r24 + r13 * r13)
    rz = -TWO * (r24 * z24 + r13 * z13)
    largest = HALF * (rr + zz) + math.sqrt(QUARTER * (rr - zz) * (rr - zz) + rz * rz)
    radius = QUARTER * (x[0, a] + x[0, b] + x[0, c] + x[0, d])
    largest = largest / (double * double) + QUARTER / (radius * radius)
    return stiff * largest * HALF * double * radius * PER_SHARE


@cuda.jit(device=True, inline=True)
def bring_up_to_date(x: Any, quads: Any, k: Any, own: Any, table: Any, limit: Any, stiff: Any, mass: Any) -> None:
    """Yield stress and slope of the points from the flow table (or the sheet's limit), and the viscosity."""
    radius = QUARTER * (x[0, quads[k, 0]] + x[0, quads[k, 1]] + x[0, quads[k, 2]] + x[0, quads[k, 3]])
    own[k, CALMING] = VISCOUS * math.sqrt(stiff * mass / radius)
    for p in range(4):
        if limit > ZERO:
            own[k, LIMIT + p], own[k, SLOPE + p] = limit, ZERO
            continue
        strain = own[k, STRAIN + p]
        if strain < FINE_END:
            place, step, base = strain * PER_FINE, PER_FINE, int32(0)
            row = min(int32(place), int32(TABLE_FINE - 1))
        else:
            place, step, base = (strain - FINE_END) * PER_COARSE, PER_COARSE, int32(TABLE_FINE)
            row = min(int32(place), int32(TABLE_ROWS - 2 - TABLE_FINE))
        low = table[uint32(base + row)]
        rise = table[uint32(base + row + int32(1))] - low
        own[k, LIMIT + p] = low + min(place - F(row), ONE) * rise
        own[k, SLOPE + p] = rise * step


@cuda.jit(device=True, inline=True)
def _point(own: Any, k: Any, p: Any, xx: Any, yy: Any, xy: Any, shear3: Any) -> tuple[Any, Any, Any]:
    """Return-map one point: its deviator."""
    equivalent = math.sqrt(THREE * (xx * xx + yy * yy + xx * yy + xy * xy))
    limit, slope = own[k, LIMIT + p], own[k, SLOPE + p]
    strain = max(equivalent - limit, ZERO) / (shear3 + slope)
    limit += slope * strain
    share = min(limit / max(equivalent, LEAST), ONE)
    own[k, STRAIN + p] += strain
    own[k, LIMIT + p] = limit
    xx, yy, xy = xx * share, yy * share, xy * share
    own[k, STRESS + 3 * p], own[k, STRESS + 3 * p + 1], own[k, STRESS + 3 * p + 2] = xx, yy, xy
    return xx, yy, xy


@cuda.jit(device=True, inline=True)
def advance(x: Any, v: Any, pushed: Any, quads: Any, q: Any, own: Any, k: Any, shear: Any, bulk: Any) -> Any:
    """One step of one quadrilateral: stresses on, its corners' forces into ``pushed``; returns its work."""
    a, b, c, d = quads[k, 0], quads[k, 1], quads[k, 2], quads[k, 3]
    ra, rb, rc, rd = x[0, a], x[0, b], x[0, c], x[0, d]
    za, zb, zc, zd = x[1, a], x[1, b], x[1, c], x[1, d]
    r13, z13, r24, z24 = ra - rc, za - zc, rb - rd, zb - zd
    hr, hz = ra - rb + rc - rd, za - zb + zc - zd
    inv = ONE / (r13 * z24 - r24 * z13)
    radius = QUARTER * (ra + rb + rc + rd)
    per_radius = ONE / radius
    volume = HALF * (r13 * z24 - r24 * z13) * radius
    ra, rb, rc, rd = v[0, a], v[0, b], v[0, c], v[0, d]
    za, zb, zc, zd = v[1, a], v[1, b], v[1, c], v[1, d]
    vr13, vz13, vr24, vz24 = ra - rc, za - zc, rb - rd, zb - zd
    br1, br2, bz1, bz2 = z24 * inv, -z13 * inv, -r24 * inv, r13 * inv
    lrr, lrz = br1 * vr13 + br2 * vr24, bz1 * vr13 + bz2 * vr24
    lzr, lzz = br1 * vz13 + br2 * vz24, bz1 * vz13 + bz2 * vz24
    loop = QUARTER * (ra + rb + rc + rd) * per_radius
    qr = QUARTER * (ra - rb + rc - rd - hr * lrr - hz * lrz)
    qz = QUARTER * (za - zb + zc - zd - hr * lzr - hz * lzz)
    r_xi, r_eta = QUARTER * (r24 - r13), -QUARTER * (r13 + r24)
    z_xi, z_eta = QUARTER * (z24 - z13), -QUARTER * (z13 + z24)
    g0, g1, g2, g3 = own[k, 0], own[k, 1], own[k, 2], own[k, 3]
    cos, sin = r_xi * g0 + r_eta * g2 + z_xi * g1 + z_eta * g3, z_xi * g0 + z_eta * g2 - r_xi * g1 - r_eta * g3
    one = ONE / math.sqrt(cos * cos + sin * sin)
    cos, sin = cos * one, sin * one
    det = EIGHT * inv
    xi_x, xi_y = det * (cos * z_eta - sin * r_eta), -det * (sin * z_eta + cos * r_eta)
    eta_x, eta_y = det * (sin * r_xi - cos * z_xi), det * (sin * z_xi + cos * r_xi)
    qx, qy = cos * qr + sin * qz, cos * qz - sin * qr
    ax, ay = GAUSS * (qx * xi_x - qy * xi_y), GAUSS * (qx * eta_x - qy * eta_y)
    cos2, sin2 = cos * cos - sin * sin, TWO * sin * cos
    half, slant, trace = HALF * (lrr - lzz), HALF * (lrz + lzr), lrr + lzz + loop
    turned, middle = half * cos2 + slant * sin2, HALF * (lrr + lzz) - THIRD * trace
    twice, shear3 = TWO * shear, THREE * shear
    dxx, dyy, dxy = twice * (middle + turned), twice * (middle - turned), twice * (slant * cos2 - half * sin2)
    lean, flare = TWO * GAUSS * inv * (r_xi * hz - z_xi * hr), TWO * GAUSS * inv * (hr * z_eta - hz * r_eta)
    f0, f1 = max(ONE - lean - flare, LEAST_PART), max(ONE + lean - flare, LEAST_PART)
    f2, f3 = max(ONE + lean + flare, LEAST_PART), max(ONE - lean + flare, LEAST_PART)
    b0, b1, b2, b3 = -twice * (ax + ay) / f0, twice * (ay - ax) / f1, twice * (ax + ay) / f2, twice * (ax - ay) / f3
    x0, y0, s0 = _point(own, k, 0, own[k, 5] + dxx + b0, own[k, 6] + dyy - b0, own[k, 7] + dxy, shear3)
    x1, y1, s1 = _point(own, k, 1, own[k, 8] + dxx + b1, own[k, 9] + dyy - b1, own[k, 10] + dxy, shear3)
    x2, y2, s2 = _point(own, k, 2, own[k, 11] + dxx + b2, own[k, 12] + dyy - b2, own[k, 13] + dxy, shear3)
    x3, y3, s3 = _point(own, k, 3, own[k, 14] + dxx + b3, own[k, 15] + dyy - b3, own[k, 16] + dxy, shear3)
    sxx, syy = QUARTER * (f0 * x0 + f1 * x1 + f2 * x2 + f3 * x3), QUARTER * (f0 * y0 + f1 * y1 + f2 * y2 + f3 * y3)
    sxy = QUARTER * (f0 * s0 + f1 * s1 + f2 * s2 + f3 * s3)
    along = QUARTER * (x2 - y2 + x3 - y3 - x0 + y0 - x1 + y1)
    across = QUARTER * (x1 - y1 + x2 - y2 - x0 + y0 - x3 + y3)
    swell = volume * own[k, PER_VOLUME]
    y = (swell - ONE) / (swell + ONE)
    pressure = bulk * TWO * y * (ONE + y * y * (THIRD + FIFTH * y * y)) + own[k, CALMING] * trace
    middle, half = HALF * (sxx + syy), HALF * (sxx - syy)
    lean = half * cos2 - sxy * sin2
    srr, szz, srz = pressure + middle + lean, pressure + middle - lean, half * sin2 + sxy * cos2
    hoop = pressure - sxx - syy
    work = volume * (srr * lrr + szz * lzz + srz * (lrz + lzr) + hoop * loop + along * ax + across * ay)
    gx, gy = GAUSS * (xi_x * along + eta_x * across), -GAUSS * (xi_y * along + eta_y * across)
    gr, gz = QUARTER * volume * (cos * gx - sin * gy), QUARTER * volume * (sin * gx + cos * gy)
    nrr, nrz, nzr, nzz = volume * srr - hr * gr, volume * srz - hz * gr, volume * srz - hr * gz, volume * szz - hz * gz
    f1r, f2r, f1z, f2z = br1 * nrr + bz1 * nrz, br2 * nrr + bz2 * nrz, br1 * nzr + bz1 * nzz, br2 * nzr + bz2 * nzz
    ring = QUARTER * volume * hoop * per_radius
    pushed[0, q], pushed[1, q] = -(f1r + gr + ring), -(f1z + gz)
    pushed[0, q + SECOND], pushed[1, q + SECOND] = -(f2r - gr + ring), -(f2z - gz)
    pushed[0, q + THIRD_CORNER], pushed[1, q + THIRD_CORNER] = -(gr + ring - f1r), -(gz - f1z)
    pushed[0, q + FOURTH], pushed[1, q + FOURTH] = -(ring - f2r - gr), f2z + gz
    return work
