"""On a GPU: how many pulls a second, how near the CPU's, and the curves of many spread pulls for the fit.

    python -m studies.many_pulls.measure COUNT FOLDER [COMPARED]

COUNT is a power of two. Writes measure.json and curves_*.npz into FOLDER; COMPARED pulls are run on the CPU too.
"""

from __future__ import annotations

import json
import multiprocessing
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from numba import cuda
from studies.many_pulls.cases import case_of, spread
from studies.many_pulls.kernel import make_kernel
from studies.many_pulls.pack import Packed, pack, pulled

from firstpull.errors import FirstpullError
from firstpull.mechanics.collapse.case import check_case
from firstpull.mechanics.collapse.emulator import strokes, unit_force_n
from firstpull.mechanics.collapse.events import find_events
from firstpull.mechanics.collapse.simulate import CHUNK, Effort, simulate

EFFORT = Effort(layers=3, pace=0.0017)
BATCH = 4096
SHAPES = ((256, 64), (160, 96), (128, 128))
"""Threads of a block and registers of a thread that are tried."""


def pack_points(points: np.ndarray) -> tuple[Packed | None, list[int]]:
    """The points that can be pulled, packed, and which they are."""
    cases, kept = [], []
    for place, point in enumerate(points):
        try:
            case = check_case(case_of(point))
            pack([case], effort=EFFORT)
        except FirstpullError:
            continue
        cases.append(case)
        kept.append(place)
    return (pack(cases, effort=EFFORT) if cases else None), kept


def part_of(packed: Packed, first: int) -> Packed:
    """One batch."""
    return Packed(*(array[first : first + BATCH] for array in packed.arguments()))


def run(packed: Packed, *, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray, float]:
    """Looks, totals and seconds of the kernel alone."""
    threads, registers = shape
    kernel = make_kernel(threads, registers=registers)
    looks, totals = packed.outputs()
    few = [cuda.to_device(array[:1]) for array in packed.arguments()]
    kernel[1, threads](*few, cuda.to_device(looks[:1]), cuda.to_device(totals[:1]))
    arrays = [cuda.to_device(array) for array in packed.arguments()]
    on_looks, on_totals = cuda.to_device(looks), cuda.to_device(totals)
    cuda.synchronize()
    begin = time.perf_counter()
    kernel[len(packed.counts), threads](*arrays, on_looks, on_totals)
    cuda.synchronize()
    seconds = time.perf_counter() - begin
    return on_looks.copy_to_host(), on_totals.copy_to_host(), seconds


def curve_of(point: np.ndarray, looks: np.ndarray, totals: np.ndarray) -> np.ndarray:
    """Energy error, finished, then the emulator's curves: log of force, growth of the diameter in walls."""
    case = case_of(point)
    got = pulled(case, looks, totals)
    at = strokes(point[None, :])[0]
    force = np.interp(at, got.stroke_mm, got.force_n) / unit_force_n(case)
    growth = (np.interp(at, got.stroke_mm, got.diameter_mm) - case.outer_diameter_mm) / case.wall_mm
    return np.concatenate(
        [[got.energy_error, float(got.finished)], np.log(np.maximum(force, 1e-6)), growth],
    )


def against_cpu(point: np.ndarray, looks: np.ndarray, totals: np.ndarray) -> dict[str, Any]:
    """How far the GPU's pull is from the CPU's of the same case and effort."""
    case = case_of(point)
    got = pulled(case, looks, totals)
    begin = time.process_time()
    run_of_cpu = simulate(case, effort=EFFORT)
    cpu_s = time.process_time() - begin
    events = find_events(run_of_cpu.stroke_mm, run_of_cpu.force_n, wall_mm=case.wall_mm)
    peak, closure, other = events["peak"], events["closure"], got.events.get("closure")
    size = min(len(run_of_cpu.force_n), len(got.force_n))
    end = int((closure.stroke_mm - 0.1) / 0.01) if closure else size
    off = np.abs(run_of_cpu.force_n[: min(size, end)] - got.force_n[: min(size, end)])
    most = peak.force_n if peak else float(run_of_cpu.force_n.max())
    return {
        "cpu_s": round(cpu_s, 3),
        "rms_of_peak": round(float(np.sqrt(np.mean(off**2)) / most), 5),
        "worst_of_peak": round(float(off.max() / most), 5),
        "closure_off_mm": None if other is None or closure is None else round(other.stroke_mm - closure.stroke_mm, 4),
        "energy_cpu": round(run_of_cpu.energy_error, 5),
        "energy_gpu": round(got.energy_error, 5),
    }


def speeds(packed: Packed, said: dict[str, Any]) -> tuple[int, int]:
    """Time the shapes on the first batch; returns the best."""
    tried = {}
    for shape in SHAPES:
        _looks, totals, seconds = run(packed, shape=shape)
        steps = float(((totals[:, 0] - 1) * packed.counts[:, 1]).sum()) * CHUNK
        tried[shape] = len(totals) / seconds
        said[f"threads {shape[0]}, registers {shape[1]}"] = {
            "pulls_per_s": round(len(totals) / seconds, 1),
            "element_steps_per_s": round(steps / seconds),
            "element_steps_a_pull": round(steps / len(totals)),
        }
        print(shape, said[f"threads {shape[0]}, registers {shape[1]}"], flush=True)
    return max(tried, key=lambda shape: tried[shape])


def main() -> None:
    """Pack, time, run all, compare some, keep the curves."""
    count, folder = int(sys.argv[1]), Path(sys.argv[2])
    compared = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    points = spread(count)
    pieces = np.array_split(np.arange(count), 4 * multiprocessing.cpu_count())
    with multiprocessing.Pool() as pool:
        parts = pool.map(pack_points, [points[piece] for piece in pieces])
    kept = np.concatenate([piece[places] for piece, (_packed, places) in zip(pieces, parts, strict=True)]).astype(int)
    some = [part.arguments() for part, _places in parts if part is not None]
    packed = Packed(*(np.concatenate(arrays) for arrays in zip(*some, strict=True)))
    said: dict[str, Any] = {
        "cases": count,
        "that fit a block": len(kept),
        "gpu": str(cuda.get_current_device().name),
    }
    best = speeds(part_of(packed, 0), said)
    rows, seconds_all = [], 0.0
    for first in range(0, len(kept), BATCH):
        looks, totals, seconds = run(part_of(packed, first), shape=best)
        seconds_all += seconds
        here = kept[first : first + BATCH]
        with multiprocessing.Pool() as pool:
            rows += pool.starmap(curve_of, zip(points[here], looks, totals, strict=True), chunksize=64)
        if first == 0:
            said["beside the CPU"] = [against_cpu(points[here[i]], looks[i], totals[i]) for i in range(compared)]
    said["all_pulls_per_s"] = round(len(kept) / seconds_all, 1)
    print(json.dumps(said, indent=1), flush=True)
    (folder / "measure.json").write_text(json.dumps(said, indent=1) + "\n")
    table = np.array(rows, np.float32)
    for number, part in enumerate(np.array_split(np.arange(len(kept)), 4)):
        np.savez_compressed(
            folder / f"curves_{number}.npz", points=points[kept[part]], curves=table[part].astype(np.float16)
        )


if __name__ == "__main__":
    main()
