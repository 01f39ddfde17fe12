"""Fit the emulator to the curves of ``measure``. Needs PyTorch.

    python -m studies.many_pulls.fit FOLDER

Reads curves_*.npz, writes emulator.npz into FOLDER. The last tenth of the pulls is held back; ``judge.py`` judges on it.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import numpy as np

from firstpull.mechanics.collapse.emulator import PLACES, scaled

HIDDEN, ROUNDS, BATCH = (160, 160), 400, 2048
ENERGY_MOST = 0.02
GROWTH_SHIFT = 0.05
FITTED = 0.9


def loaded(folder: Path) -> tuple[np.ndarray, np.ndarray, int]:
    """Points and curves of the pulls that held together, and of how many."""
    points, curves = [], []
    for path in sorted(folder.glob("curves_*.npz")):
        with np.load(path) as stored:
            points.append(stored["points"])
            curves.append(stored["curves"].astype(np.float64))
    all_points, all_curves = np.concatenate(points), np.concatenate(curves)
    sound = (all_curves[:, 0] < ENERGY_MOST) & (all_curves[:, 1] > 0) & np.isfinite(all_curves).all(axis=1)
    sound &= all_curves[:, 2 : 2 + PLACES].min(axis=1) > -9.0
    targets = all_curves[sound][:, 2:]
    targets[:, PLACES:] = np.log(np.maximum(targets[:, PLACES:], 0.0) + GROWTH_SHIFT)
    return all_points[sound], targets, len(all_points)


def trained(inputs: np.ndarray, targets: np.ndarray) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Weights (w, b of each layer), middle and spread of the outputs."""
    import torch

    torch.manual_seed(1)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    middle, spread = targets.mean(axis=0), targets.std(axis=0)
    sizes = (inputs.shape[1], *HIDDEN, targets.shape[1])
    layers: list[torch.nn.Module] = []
    for number, (wide, narrow) in enumerate(itertools.pairwise(sizes)):
        layers += [torch.nn.Linear(wide, narrow)] + ([torch.nn.SiLU()] if number < len(sizes) - 2 else [])
    network = torch.nn.Sequential(*layers).to(device)
    x = torch.tensor(inputs, dtype=torch.float32, device=device)
    y = torch.tensor((targets - middle) / spread, dtype=torch.float32, device=device)
    weight = torch.tensor(spread, dtype=torch.float32, device=device)
    moves = torch.optim.AdamW(network.parameters(), lr=3e-3, weight_decay=1e-6)
    steps = ROUNDS * (len(x) // BATCH)
    pace = torch.optim.lr_scheduler.OneCycleLR(moves, max_lr=4e-3, total_steps=steps)
    for _round in range(ROUNDS):
        order = torch.randperm(len(x), device=device)
        for first in range(0, len(x) - BATCH + 1, BATCH):
            pick = order[first : first + BATCH]
            loss = (((network(x[pick]) - y[pick]) * weight) ** 2).mean()
            moves.zero_grad()
            loss.backward()
            moves.step()
            pace.step()
    parameters = [parameter.detach().cpu().numpy() for parameter in network.parameters()]
    return parameters, middle, spread


def main() -> None:
    """Fit and write the network."""
    folder = Path(sys.argv[1])
    points, targets, _of = loaded(folder)
    cut = int(FITTED * len(points))
    parameters, middle, spread = trained(scaled(points[:cut]), targets[:cut])
    stored = {f"w{n // 2}": parameters[n].T.astype(np.float32) for n in range(0, len(parameters), 2)}
    stored |= {f"b{n // 2}": parameters[n + 1].astype(np.float32) for n in range(0, len(parameters), 2)}
    np.savez_compressed(
        folder / "emulator.npz",
        layers=len(parameters) // 2,
        middle=middle.astype(np.float32),
        spread=spread.astype(np.float32),
        **stored,
    )


if __name__ == "__main__":
    main()
