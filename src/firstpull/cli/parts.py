"""Commands about parts: which insert is this one, and how few serve many joints."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from firstpull.cli.main import Session, json_option
from firstpull.cli.reckon import read_inserts
from firstpull.cli.texts import grid
from firstpull.units import Length, LengthUnit, parse_length

if TYPE_CHECKING:
    from firstpull.mechanics.identify import Identification, Match
    from firstpull.mechanics.insert import Body, End, Head

_HEADS = click.Choice(["flat", "countersunk", "low profile"])
_BODIES = click.Choice(["round", "knurled", "ribbed", "hexagonal"])


def catalogue_option(command: click.decorators.FC) -> click.decorators.FC:
    """``--catalogue FILE``."""
    return click.option(
        "--catalogue",
        "catalogue_file",
        type=click.Path(path_type=Path),
        help="A CSV or XLSX file instead of the shop's catalogue.",
    )(command)


@click.command()
@click.option("--thread", help="M6, M8x1, 10-32, 1/4-20 …")
@click.option("--free-length", help="Overall length before the pull, for example “15.2 mm”.")
@click.option("--flange-diameter", help="Across the head.")
@click.option("--body-diameter", help="Outside of the body.")
@click.option("--head", type=_HEADS, help="What the head looks like.")
@click.option("--end", type=click.Choice(["open", "closed"]), help="The far end.")
@click.option("--body", type=_BODIES, help="What the body looks like.")
@click.option("--marks", type=int, help="How many marks the head carries.")
@click.option("--gauge-error", default="0.03 mm", show_default=True, help="Limit of error of the caliper.")
@click.option("--gauge", default="", help="A gauge of the shop: its limit of error is taken.")
@click.option("--unit", type=click.Choice(["mm", "in"]), default="mm", help="Of the answer, and of bare numbers.")
@catalogue_option
@json_option
def identify(
    session: Session,
    *,
    thread: str | None,
    free_length: str | None,
    flange_diameter: str | None,
    body_diameter: str | None,
    head: str | None,
    end: str | None,
    body: str | None,
    marks: int | None,
    gauge_error: str,
    gauge: str,
    unit: str,
    catalogue_file: Path | None,
) -> None:
    """Which insert of the catalogue is the one in your hand, and what to measure next to be sure.

    Give what you know of it; each thing may be left out.
    """
    from firstpull.jobs.identify import identify_answer, with_gauge
    from firstpull.mechanics.identify import InHand
    from firstpull.mechanics.identify import identify as identify_among

    chosen = cast(LengthUnit, unit)

    def length(text: str | None, name: str) -> Length | None:
        return None if text is None else parse_length(text, unit=chosen, where=f"--{name}")

    error = parse_length(gauge_error, unit=chosen, where="--gauge-error")
    seen = InHand(
        thread=thread,
        free_length=length(free_length, "free-length"),
        flange_diameter=length(flange_diameter, "flange-diameter"),
        body_diameter=length(body_diameter, "body-diameter"),
        head=cast("Head | None", head),
        end=cast("End | None", end),
        body=cast("Body | None", body),
        head_marks=marks,
        gauge_error_mm=error.mm,
    )
    if gauge:
        seen = with_gauge(session.book(), seen, gauge)
    found = identify_among(read_inserts(session, catalogue_file), seen, unit=chosen)
    session.answer(identify_answer(found), _identified(found, chosen))


def _identified(found: Identification, unit: LengthUnit) -> str:
    from firstpull.mechanics.identify import percent
    from firstpull.units import show_length

    def row(match: Match) -> tuple[str, ...]:
        insert = match.insert
        grip = f"{show_length(insert.grip_min, unit)} to {show_length(insert.grip_max, unit)} {unit}"
        form = f"{insert.head}, {insert.end}, {insert.body}"
        return percent(match.probability), insert.name, insert.thread, insert.material, form, grip

    rows = [row(match) for match in found.matches[:8]]
    rows.append((percent(found.none_probability), "none of these", "", "", "", ""))
    return "\n".join([found.text, "", grid(("", "part", "thread", "material", "form", "grip"), rows), "", *found.notes])
