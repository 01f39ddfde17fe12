"""The command of the virtual pull."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from firstpull.cli.main import Session, json_option
from firstpull.errors import BadInput


@click.command("virtual-pull")
@click.argument("case_file", type=click.Path(path_type=Path))
@click.option("--whole", is_flag=True, help="Add what each dimension does, and the pull's stages (six more runs).")
@click.option(
    "--curve", type=click.Path(path_type=Path), help="Learn from a measured pull: stroke in mm, pull in N a line."
)
@click.option(
    "--inserts",
    type=click.Path(path_type=Path),
    help="Learn from set inserts: stroke, bulge's diameter, set length in mm.",
)
@click.option("--quick", is_flag=True, help="Answer at once from a fit to many simulated pulls.")
@click.option("--stroke", help="With --quick: the share of sets that closes at this stroke, with the file's [scatter].")
@json_option
def virtual_pull(
    session: Session,
    case_file: Path,
    *,
    whole: bool,
    curve: Path | None,
    inserts: Path | None,
    quick: bool,
    stroke: str | None,
) -> None:
    """Simulate the collapse of the insert in CASE_FILE: force against stroke, closure, set allowance."""
    if quick:
        _quick(session, case_file, stroke)
        return
    if stroke is not None:
        raise BadInput("--stroke is asked with --quick.", where="--stroke", hint="Add --quick, or leave it out.")
    from firstpull.cli.reckon import read_text
    from firstpull.exchange.pull_file import read_pull
    from firstpull.jobs.virtual_pull import pull_virtually

    request = read_pull(read_text(case_file), where=str(case_file))
    if curve is None and inserts is None:
        answer = pull_virtually(request, whole=whole)
    else:
        from firstpull.jobs.virtual_learn import Measured, learn_virtually

        texts = ["" if file is None else read_text(file) for file in (curve, inserts)]
        answer = learn_virtually(request, Measured(*texts), whole=whole)
    session.answer(answer, _text(answer))


def _quick(session: Session, case_file: Path, stroke: str | None) -> None:
    """The quick answer."""
    from firstpull.cli.reckon import read_text
    from firstpull.exchange.pull_file import read_pull
    from firstpull.jobs.virtual_quick import quick_answer
    from firstpull.units import parse_length

    request = read_pull(read_text(case_file), where=str(case_file))
    at = None if stroke is None else parse_length(stroke, unit="mm", where="--stroke").mm
    answer = quick_answer(request, stroke_mm=at)
    lines = ["Quick answer (a fit to simulated pulls, not a proof):"]
    closure = answer["events"]["closure"]
    if closure is not None:
        lines.append(
            f"  closure {closure['stroke_mm']:.2f} ± {answer['closure_sd_mm']:.2f} mm (1 sd) at {closure['force_n'] / 1000:.2f} kN"
        )
        lines.append(f"  outer diameter there {answer['outer_diameter_at_closure_mm']:.2f} mm")
    if answer["set_allowance_mm"] is not None:
        lines.append(
            f"  set allowance {answer['set_allowance_mm']:.2f} ± {answer['set_allowance_sd_mm']:.2f} mm (1 sd)"
        )
    if answer["closing"] is not None:
        share = answer["closing"]["share_closed"]
        lines.append(f"  at {answer['closing']['stroke_mm']:.2f} mm {100.0 * share:.1f} % of the sets have closed")
    session.answer(answer, "\n".join([*lines, *answer["limits"]]))


def _text(answer: dict[str, Any]) -> str:
    """The answer in a few lines."""
    lines = ["Simulated pull (a calculation, not a proof):"]
    for name, event in answer["events"].items():
        said = f"{event['stroke_mm']:.2f} mm at {event['force_n'] / 1000:.2f} kN" if event else "not reached"
        lines.append(f"  {name:8} {said}")
    if answer["stroke_plus_thickness_mm"] is not None:
        lines.append(f"  closure stroke plus thickness {answer['stroke_plus_thickness_mm']:.2f} mm")
    if answer["set_allowance_mm"] is not None:
        lines.append(
            f"  set allowance {answer['set_allowance_mm']:.2f} ± {answer['set_allowance_sd_mm']:.2f} mm (1 sd)"
        )
    lines.append(f"  clamp left on the sheet {answer['clamp_n'] / 1000:.2f} kN")
    lines.append(f"  largest outer diameter {answer['outer_diameter_mm'][-1]:.2f} mm")
    lines += _loads(answer)
    if "learned" in answer:
        lines += [
            f"  {one['name']} {one['value']:.3f} ± {one['sd']:.3f}: {one['text']}"
            for one in answer["learned"]["constants"]
        ]
    lines += [f"  {row['text']}" for row in answer.get("sensitivity", ())]
    hand = answer["by_hand"]
    lines.append(f"  by hand: {hand['mean_n'] / 1000:.1f} kN on average, closure near {hand['closure_mm']:.1f} mm")
    return "\n".join([*lines, *answer["limits"]])


def _loads(answer: dict[str, Any]) -> list[str]:
    """Setting load, margins, room and window."""
    lines = [f"  setting load {answer['setting_load_n'] / 1000:.2f} kN"]
    if answer["strip_margin"] is not None:
        lines.append(
            f"  mandrel {answer['mandrel_stress_mpa']:.0f} MPa, threads hold {answer['strip_margin']:.2f} times the load"
        )
    lines.append(
        f"  blind head {answer['blind_head_diameter_mm']:.2f} mm across; behind the sheet {answer['room_before_mm']:.2f} mm "
        f"before, {answer['room_after_mm']:.2f} mm after"
    )
    window = answer["window"]
    for name, key, by in (("least", "stroke_min_mm", "min_by"), ("greatest", "stroke_max_mm", "max_by")):
        value = "not known" if window[key] is None else f"{window[key]:.2f} mm"
        lines.append(f"  {name} stroke {value}: {window[by]}")
    return [*lines, *(f"  {note}" for note in window["notes"])]
