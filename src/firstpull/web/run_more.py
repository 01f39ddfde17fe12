"""The run page's further screens: why it is stopped, which check does not count, where the inserts went."""

from __future__ import annotations

from typing import Any

from fastapi.responses import Response

from firstpull.jobs import run_checks
from firstpull.jobs.run_study import run_study, study_lines
from firstpull.record.job import JobState
from firstpull.web.asking import asking, entry
from firstpull.web.desk import Desk, form_of, show
from firstpull.web.run_views import chart_svg, count_rows, found_text, last_in_air

_MOST_SHOWN = 12


def ask_stop(
    here: Desk, state: JobState, given: dict[str, str], *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    """Stopping wants a reason; everything since the last good check is kept apart."""
    last = run_checks.last_check(state)
    of_count = problem is not None and "set so far" in problem["what"]
    context = _context(
        here,
        state,
        question="Why do you stop?",
        crumb="Everything since the last good check is kept apart",
        fields=[
            entry(
                "reason",
                "Reason",
                given.get("reason", ""),
                note="for example “insert spun”",
                problem=None if of_count else problem,
            ),
            entry(
                "count",
                "Sets so far",
                given.get("count", ""),
                note=f"{last.count} at the last check" if last else "",
                problem=problem if of_count else None,
                inputmode="numeric",
            ),
        ],
        carry=[("now", "stop")],
        buttons=[{"label": "Stop the run", "do": "stop", "kind": "stop"}, _back(here, state)],
    )
    return show(here, state, "steps/question.html", context, step="run", status_code=status_code)


def ask_strike(
    here: Desk, state: JobState, given: dict[str, str], *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    """A check that was wrong stays in the record and no longer counts."""
    newest = [check for check in reversed(state.checks) if not check.struck_out][:_MOST_SHOWN]
    tiles = [
        {"value": str(check.sequence), "label": found_text(here, check), "note": f"at {check.count} · {check.by}"}
        for check in newest
    ]
    group = {
        "name": "of",
        "legend": "Check",
        "choices": tiles,
        "chosen": given.get("of", ""),
        "hide_legend": True,
        "across": 2,
    }
    context = _context(
        here,
        state,
        question="Which check does not count, and why?",
        choices_after=[group],
        fields=[entry("reason", "Why", given.get("reason", ""), problem=problem)],
        carry=[("now", "strike")],
        buttons=[{"label": "Strike it out", "do": "strike"}, _back(here, state)],
    )
    return show(here, state, "steps/question.html", context, step="run", status_code=status_code)


def show_figures(
    here: Desk,
    state: JobState,
    _given: dict[str, str],
    *,
    problem: dict[str, Any] | None = None,
    status_code: int = 200,
) -> Response:
    """How often the rules cry wolf and what the tool is shown to hold, for whoever asks."""
    study = run_study(state, in_air=last_in_air(state))
    context = _context(
        here,
        state,
        question="What do the checks show?",
        crumb="Air pulls" if study["in_air"] else "Lengths of set inserts",
        problem=problem,
        lines_left=study_lines(study),
        buttons=[{"label": "Back to the check", "address": here.address(state.id, "run"), "kind": ""}],
    )
    return show(here, state, "steps/question.html", context, step="run", status_code=status_code)


def ask_count(
    here: Desk, state: JobState, given: dict[str, str], *, problem: dict[str, Any] | None = None, status_code: int = 200
) -> Response:
    """Issued = set + rejected + returned; a difference is kept and said."""
    labels = {"issued": "Issued", "count": "Set", "rejected": "Rejected", "returned": "Returned"}
    fields = [entry(name, label, given.get(name, ""), inputmode="numeric") for name, label in labels.items()]
    context = _context(
        here,
        state,
        question="Where did the inserts go?",
        crumb="Issued = set + rejected + returned",
        fields=fields,
        pairs=True,
        carry=[("now", "count")],
        problem=problem,
        facts=count_rows(state),
        buttons=[{"label": "Save the count", "do": "count"}, _back(here, state)],
    )
    return show(here, state, "steps/question.html", context, step="run", status_code=status_code)


def _context(here: Desk, state: JobState, **given: Any) -> dict[str, Any]:
    base = {
        "form": form_of(state, here.address(state.id, "run")),
        "title": "Run",
        "drawing": chart_svg(here, state),
        "drawing_title": "Set lengths in this run",
        "drawing_notes": [here.lengths_note],
    }
    return asking(**{**base, **given})


def _back(here: Desk, state: JobState) -> dict[str, str]:
    return {"label": "Back", "address": here.address(state.id, "run"), "kind": "other"}
