"""The command for uncertainty budgets: from a file, or for a gauge of the shop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.reckon import read_bytes
from firstpull.cli.texts import grid, table
from firstpull.errors import BadInput
from firstpull.units import parse_length

if TYPE_CHECKING:
    from firstpull.jobs.gauge_doubt import Doubt


@click.command()
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--gauge", help="A gauge of the shop instead of a file, by its mark.")
@click.option("--length", default="12 mm", show_default=True, help="With --gauge: what is read.")
@click.option("--part", default="steel", show_default=True, help="With --gauge: aluminium, steel, stainless or brass.")
@click.option("--room", default=20.0, show_default=True, help="With --gauge: the room in °C.")
@click.option("--room-known", default=3.0, show_default=True, help="With --gauge: the room is known to ± K.")
@click.option("--part-off", default=1.0, show_default=True, help="With --gauge: part and gauge differ by up to ± K.")
@click.option("--readings", default=1, show_default=True, help="With --gauge: the mean of so many readings.")
@json_option
def budget(
    session: Session,
    file: Path | None,
    *,
    gauge: str | None,
    length: str,
    part: str,
    room: float,
    room_known: float,
    part_off: float,
    readings: int,
) -> None:
    """The doubt of a measurement from FILE, or of a reading with --gauge: table, expanded uncertainty, simulation.

    FILE is TOML: model = "…", and [inputs.NAME] with value and u, half_width, expanded or readings.
    """
    from firstpull.exchange.budget_file import read_budget
    from firstpull.jobs.gauge_doubt import Conditions, doubt_answer, doubt_of_file, doubt_of_reading

    if (file is None) == (not gauge):
        raise BadInput("A file, or a gauge with --gauge.", where="file", hint="For example examples/end_gauge.toml.")
    if file is not None:
        read = read_budget(read_bytes(file), filename=str(file))
        found, unit = doubt_of_file(read), read.unit
    else:
        at = Conditions(
            length_mm=parse_length(length, where="--length").mm,
            material=part,
            temperature_c=room,
            temperature_half_k=room_known,
            difference_half_k=part_off,
            readings=readings,
        )
        found, unit = doubt_of_reading(session.book(), gauge or "", at), "mm"
    session.answer(doubt_answer(found, unit=unit), _text(found, unit))


def _text(found: Doubt, unit: str) -> str:
    made = found.budget
    head = ("", "value", "u", "shape", "freedom", "sensitivity", f"brings [{unit}]" if unit else "brings", "share")
    rows = [
        (
            line.name,
            f"{line.value:.9g}",
            f"{line.u:.4g} {line.unit}".rstrip(),
            line.distribution,
            "∞" if line.degrees_of_freedom is None else f"{line.degrees_of_freedom:.3g}",
            f"{line.sensitivity:.4g}",
            f"{line.contribution:.4g}",
            f"{line.percent:.1f} %",
        )
        for line in made.lines
    ]
    freedom = "∞" if made.degrees_of_freedom is None else f"{made.degrees_of_freedom:g}"
    sure = f"{100 * made.confidence:g} %"
    simulated = found.simulated
    verdict = "agrees" if found.holds else "differs: believe the simulation"
    settled = "" if simulated.stable else ", not settled to the digits asked for"
    return "\n".join(
        [
            grid(head, rows),
            table(
                [
                    ("Result", f"{made.value:.10g} {unit}".rstrip()),
                    ("Standard uncertainty", f"{made.standard_uncertainty:.4g}"),
                    ("Degrees of freedom", freedom),
                    (f"Expanded ({sure})", f"{made.expanded:.4g}, k = {made.coverage_factor:.3f}"),
                    (
                        f"Simulated ({sure})",
                        f"{simulated.low:.10g} to {simulated.high:.10g}, {simulated.trials} trials{settled}; {verdict}",
                    ),
                ]
            ),
            *made.notes,
            *([found.source] if found.source else []),
        ]
    )
