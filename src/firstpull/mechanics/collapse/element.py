"""The metal: a four-point quadrilateral with an assumed strain, turned with the element, and J2 plasticity in it.

In the element's own turned axes the strain rate is its mean, plus a bending part (a, −a) that varies over the four
points: no shear and no volume in it, so that neither bending nor incompressible flow locks. This is the assumed-strain
idea of Belytschko and Bindeman (1991) with full points instead of a stabilising stiffness, so nothing is left to tune.
Pressure and hoop strain are the element's. Pressure follows the volume itself, so that it cannot drift.
"""

from __future__ import annotations

import numpy as np

from firstpull.mechanics.collapse.body import Body, Floats, Ints
from firstpull.mechanics.collapse.compiled import compiled
from firstpull.mechanics.collapse.material import ROWS, TABLE_STEP

PER_STEP = 1.0 / TABLE_STEP
LAST = ROWS - 2
GAUSS = 0.5773502691896258
VISCOSITY = 0.06
"""Share of the critical damping of a volume wave across one element; it only calms ringing."""

SOFT = 0.5
"""A soft sheet weighs at least this share of what the insert's metal would, so that touching it stays stable."""


@compiled
def prepare(x: Floats, quads: Ints, start: Floats) -> None:
    """Per element: the inverse of the first Jacobian (4 numbers) and the first volume in mm³ a radian."""
    for e in range(quads.shape[0]):
        a, b, c, d = quads[e]
        r_xi = 0.25 * (x[b, 0] + x[c, 0] - x[a, 0] - x[d, 0])
        r_eta = 0.25 * (x[c, 0] + x[d, 0] - x[a, 0] - x[b, 0])
        z_xi = 0.25 * (x[b, 1] + x[c, 1] - x[a, 1] - x[d, 1])
        z_eta = 0.25 * (x[c, 1] + x[d, 1] - x[a, 1] - x[b, 1])
        det = r_xi * z_eta - r_eta * z_xi
        start[e, 0], start[e, 1] = z_eta / det, -r_eta / det
        start[e, 2], start[e, 3] = -z_xi / det, r_xi / det
        start[e, 4] = det * (x[a, 0] + x[b, 0] + x[c, 0] + x[d, 0])


@compiled
def raise_mass(body: Body, share: float) -> float:
    """Raise each element's mass to what steps of one need, spread it to the nodes; returns the energy added.

    ``share`` is what a step takes of the stability limit. The limit is that of a uniform strain, which bounds the
    bending modes of this element too.
    """
    x, quads, moduli = body.x, body.quads, body.moduli
    added = 0.0
    body.mass[:] = 0.0
    for e in range(quads.shape[0]):
        a, b, c, d = quads[e]
        r13, z13 = x[a, 0] - x[c, 0], x[a, 1] - x[c, 1]
        r24, z24 = x[b, 0] - x[d, 0], x[b, 1] - x[d, 1]
        double = r13 * z24 - r24 * z13
        if double > 0.0:
            rr = 2.0 * (z24 * z24 + z13 * z13)
            zz = 2.0 * (r24 * r24 + r13 * r13)
            rz = -2.0 * (r24 * z24 + r13 * z13)
            largest = 0.5 * (rr + zz) + np.sqrt(0.25 * (rr - zz) * (rr - zz) + rz * rz)
            radius = 0.25 * (x[a, 0] + x[b, 0] + x[c, 0] + x[d, 0])
            largest = largest / (double * double) + 0.25 / (radius * radius)
            k = body.kind[e]
            stiff = max(moduli[k, 1] + 4.0 / 3.0 * moduli[k, 0], SOFT * (moduli[0, 1] + 4.0 / 3.0 * moduli[0, 0]))
            needed = stiff * largest * 0.5 * double * radius / (share * share)
            if needed > body.quad_mass[e]:
                more = 0.125 * (needed - body.quad_mass[e])
                for n in range(4):
                    i = quads[e, n]
                    added += more * (body.v[i, 0] ** 2 + body.v[i, 1] ** 2)
                body.quad_mass[e] = needed
        for n in range(4):
            body.mass[quads[e, n]] += 0.25 * body.quad_mass[e]
    return added


@compiled
def kinetic(body: Body) -> float:
    """Kinetic energy of the whole mesh, in N·mm a radian."""
    total = 0.0
    for n in range(body.v.shape[0]):
        total += 0.5 * body.mass[n] * (body.v[n, 0] ** 2 + body.v[n, 1] ** 2)
    return total


@compiled
def _points(
    body: Body, e: int, rates: tuple[float, float, float, float, float]
) -> tuple[float, float, float, float, float, float]:
    """Return-map the four points: mean deviator (3), its two bending moments, and the power of bending.

    ``rates``: deviator rates xx, yy, xy of the mean and the two bending amplitudes, which vary with η and with ξ.
    """
    dxx, dyy, dxy, ax, ay = rates
    k = body.kind[e]
    shear = body.moduli[k, 0]
    sxx = syy = sxy = along = across = power = 0.0
    for p in range(4):
        eta = 1.0 if p >= 2 else -1.0
        xi = 1.0 if p in (1, 2) else -1.0
        bend = ax * eta + ay * xi
        txx = body.deviator[e, p, 0] + 2.0 * shear * (dxx + bend)
        tyy = body.deviator[e, p, 1] + 2.0 * shear * (dyy - bend)
        txy = body.deviator[e, p, 2] + 2.0 * shear * dxy
        equivalent = np.sqrt(3.0 * (txx * txx + tyy * tyy + txx * tyy + txy * txy))
        place = body.strain[e, p] * PER_STEP
        row = min(int(place), LAST)
        slope = body.tables[k, row + 1] - body.tables[k, row]
        limit = body.tables[k, row] + min(place - row, 1.0) * slope
        if equivalent > limit:
            strain = body.strain[e, p] + (equivalent - limit) / (3.0 * shear + slope * PER_STEP)
            body.strain[e, p] = strain
            place = strain * PER_STEP
            row = min(int(place), LAST)
            limit = body.tables[k, row] + min(place - row, 1.0) * (body.tables[k, row + 1] - body.tables[k, row])
            ratio = limit / equivalent
            txx *= ratio
            tyy *= ratio
            txy *= ratio
        body.deviator[e, p, 0], body.deviator[e, p, 1], body.deviator[e, p, 2] = txx, tyy, txy
        sxx += 0.25 * txx
        syy += 0.25 * tyy
        sxy += 0.25 * txy
        difference = 0.25 * (txx - tyy)
        along += difference * eta
        across += difference * xi
        power += difference * bend
    return sxx, syy, sxy, along, across, power


@compiled
def _push(force: Floats, quad: Ints, parts: tuple[float, float, float, float, float, float, float]) -> None:
    """Subtract one element's forces: mean stress (opposite at opposite corners), bending (in turn), hoop (at all)."""
    f1r, f1z, f2r, f2z, gr, gz, ring = parts
    force[quad[0], 0] -= f1r + gr + ring
    force[quad[0], 1] -= f1z + gz
    force[quad[1], 0] -= f2r - gr + ring
    force[quad[1], 1] -= f2z - gz
    force[quad[2], 0] -= gr + ring - f1r
    force[quad[2], 1] -= gz - f1z
    force[quad[3], 0] -= ring - f2r - gr
    force[quad[3], 1] -= -f2z - gz


@compiled
def metal_forces(body: Body) -> float:
    """Advance the stresses over one step and subtract the metal's forces (N a radian); returns its work in N·mm."""
    x, v, force = body.x, body.v, body.force
    work = 0.0
    for e in range(body.quads.shape[0]):
        a, b, c, d = body.quads[e]
        shear, bulk = body.moduli[body.kind[e], 0], body.moduli[body.kind[e], 1]
        r13, z13, r24, z24 = x[a, 0] - x[c, 0], x[a, 1] - x[c, 1], x[b, 0] - x[d, 0], x[b, 1] - x[d, 1]
        double = r13 * z24 - r24 * z13
        inv = 1.0 / double
        radius = 0.25 * (x[a, 0] + x[b, 0] + x[c, 0] + x[d, 0])
        volume = 0.5 * double * radius
        br1, br2, bz1, bz2 = z24 * inv, -z13 * inv, -r24 * inv, r13 * inv
        vr13, vz13, vr24, vz24 = v[a, 0] - v[c, 0], v[a, 1] - v[c, 1], v[b, 0] - v[d, 0], v[b, 1] - v[d, 1]
        lrr, lrz, lzr, lzz = (
            br1 * vr13 + br2 * vr24,
            bz1 * vr13 + bz2 * vr24,
            br1 * vz13 + br2 * vz24,
            bz1 * vz13 + bz2 * vz24,
        )
        loop = 0.25 * (v[a, 0] + v[b, 0] + v[c, 0] + v[d, 0]) / radius
        hr, hz = x[a, 0] - x[b, 0] + x[c, 0] - x[d, 0], x[a, 1] - x[b, 1] + x[c, 1] - x[d, 1]
        qr = 0.25 * (v[a, 0] - v[b, 0] + v[c, 0] - v[d, 0] - hr * lrr - hz * lrz)
        qz = 0.25 * (v[a, 1] - v[b, 1] + v[c, 1] - v[d, 1] - hr * lzr - hz * lzz)
        r_xi, r_eta, z_xi, z_eta = 0.25 * (r24 - r13), -0.25 * (r13 + r24), 0.25 * (z24 - z13), -0.25 * (z13 + z24)
        g = body.start[e]
        cos = r_xi * g[0] + r_eta * g[2] + z_xi * g[1] + z_eta * g[3]
        sin = z_xi * g[0] + z_eta * g[2] - r_xi * g[1] - r_eta * g[3]
        one = 1.0 / np.sqrt(cos * cos + sin * sin)
        cos, sin = cos * one, sin * one
        cos2, sin2 = cos * cos - sin * sin, 2.0 * sin * cos
        mean, half, slant, trace = 0.5 * (lrr + lzz), 0.5 * (lrr - lzz), 0.5 * (lrz + lzr), lrr + lzz + loop
        turned = half * cos2 + slant * sin2
        det = 8.0 * inv  # 1 / (r_ξ z_η − r_η z_ξ)
        xi_x, xi_y = det * (cos * z_eta - sin * r_eta), -det * (sin * z_eta + cos * r_eta)
        eta_x, eta_y = det * (sin * r_xi - cos * z_xi), det * (sin * z_xi + cos * r_xi)
        qx, qy = cos * qr + sin * qz, cos * qz - sin * qr
        ax, ay = GAUSS * (qx * xi_x - qy * xi_y), GAUSS * (qx * eta_x - qy * eta_y)
        third = trace / 3.0
        rates = (mean + turned - third, mean - turned - third, slant * cos2 - half * sin2, ax, ay)
        sxx, syy, sxy, along, across, power = _points(body, e, rates)
        pressure = bulk * np.log(volume / g[4])
        pressure += VISCOSITY * np.sqrt((bulk + 4.0 / 3.0 * shear) * body.quad_mass[e] / radius) * trace
        middle, half_s = 0.5 * (sxx + syy), 0.5 * (sxx - syy)
        lean = half_s * cos2 - sxy * sin2
        srr, szz, srz = pressure + middle + lean, pressure + middle - lean, half_s * sin2 + sxy * cos2
        hoop = pressure - sxx - syy
        work += volume * (srr * lrr + szz * lzz + srz * (lrz + lzr) + hoop * loop + power)
        gx, gy = GAUSS * volume * (xi_x * along + eta_x * across), -GAUSS * volume * (xi_y * along + eta_y * across)
        gr, gz = 0.25 * (cos * gx - sin * gy), 0.25 * (sin * gx + cos * gy)
        # the vector of the bending mode is ¼ [h − (h·r) b_r − (h·z) b_z]: its b parts join the mean stress
        ring = 0.25 * volume * hoop / radius
        nrr, nrz = volume * srr - hr * gr, volume * srz - hz * gr
        nzr, nzz = volume * srz - hr * gz, volume * szz - hz * gz
        f1r, f2r, f1z, f2z = br1 * nrr + bz1 * nrz, br2 * nrr + bz2 * nrz, br1 * nzr + bz1 * nzz, br2 * nzr + bz2 * nzz
        _push(force, body.quads[e], (f1r, f1z, f2r, f2z, gr, gz, ring))
    return work
