"""What the pages of a search for the fewest part numbers show: how far it is, and what was found."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote, urlencode

from firstpull.jobs.long_work import Look
from firstpull.jobs.standardise_search import Answer, Question
from firstpull.mechanics.identify_model import canonical
from firstpull.mechanics.standardise import NotServed, Served, Standard
from firstpull.record.things import ToolState
from firstpull.web.desk import Desk
from firstpull.web.texts import TEXTS

Found = Look[Question, Answer]
_STEPS = ("joints", "items", "groups", "helpers", "tightest", "total")
_LATER = {"order": "total"}


def progress_context(look: Found, *, address: str) -> dict[str, Any]:
    """How far it is: the steps, the best count so far, what it cannot be under, and the time."""
    words = TEXTS["fewest"]
    now = "" if look.step is None else _LATER.get(look.step.step, look.step.step)
    names = [name for name in _STEPS if name != "helpers" or look.asked.tools]
    place = names.index(now) if now in names else -1
    rows = [
        {
            "text": TEXTS["fewest_steps"][name],
            "state": "done" if at < place else "now" if at == place else "later",
            "note": f"{look.step.place} / {look.step.of}" if at == place == 0 and look.step is not None else "",
        }
        for at, name in enumerate(names)
    ]
    step = look.step
    facts = [_asked_for(look), {"name": words["joints"], "value": str(len(look.asked.joints))}]
    if step is not None and step.best is not None:
        facts.append({"name": words["so_far"], "value": str(step.best)})
        facts.append({"name": words["bound"], "value": str(step.bound)})
    facts.append({"name": words["time"], "value": _seconds(look.seconds)})
    return {
        "search": {"address": f"{address}/{look.id}"},
        "condition": look.condition,
        "said": TEXTS["fewest_conditions"].get(look.condition, ""),
        "rows": rows,
        "facts": facts,
        "done": max(place, 0) + (step.place / step.of if place == 0 and step is not None else 0),
        "of": len(names),
    }


def found_context(here: Desk, look: Found, *, address: str) -> dict[str, Any]:
    """What was found: parts with their joints, mandrels and tools, who is not served; or why there is no answer."""
    words = TEXTS["fewest"]
    context: dict[str, Any] = {
        "search": {"address": f"{address}/{look.id}"},
        "again": again_address(look.asked, address=address),
        "parts": [],
        "not_served": [],
        "facts": [],
        "notes": [],
        "problem": None,
        "proven": False,
        "csv": "",
    }
    if look.found is None:
        problem = look.problem
        what = words["no_answer"] if problem is None else problem.what
        return {
            **context,
            "question": words["no_answer"],
            "said": what,
            "hint": "" if problem is None else problem.hint,
        }
    found, jobs = look.found.found, dict(zip((joint.name for joint in look.asked.joints), look.asked.jobs, strict=True))
    return {
        **context,
        "question": _question(found),
        "said": _said(found),
        "hint": "",
        "proven": found.proven and bool(found.served),
        "facts": [_asked_for(look), *(_facts(found, look.seconds) if found.served else [])],
        "needed": _needed(here, found),
        "notes": list(found.notes) if found.served else [],
        "parts": _parts(here, found, jobs),
        "not_served": [_left(here, row, jobs) for row in look.found.not_served[here.unit]],
        "csv": f"{address}/{look.id}/answer.csv",
    }


def again_address(question: Question, *, address: str) -> str:
    """The form again, with the same ticks."""
    pairs = [("picked", "yes"), ("margin", f"{100 * question.min_margin:g}")]
    pairs += [("job", job) for job in question.jobs] + [("tool", name) for name, _tool in question.tools]
    if question.estimates == "worst":
        pairs.append(("worst", "yes"))
    return f"{address}?{urlencode(pairs)}"


def csv_name(look: Found) -> str:
    """The file's name: what it is, and how much margin was asked for."""
    return f"fewest-part-numbers-{100 * look.asked.min_margin:g}-percent.csv"


def _question(found: Standard) -> str:
    words = TEXTS["fewest"]
    if not found.served:
        return str(words["none_served"])
    parts, joints = len(found.inserts), len(found.served)
    return str(words["found"]).format(
        words["parts_one"] if parts == 1 else words["parts_many"].format(parts),
        words["joints_one"] if joints == 1 else words["joints_many"].format(joints),
    )


def _said(found: Standard) -> str:
    """How sure it is, in a few words; the sheet has the whole of it."""
    words = TEXTS["fewest"]
    if not found.served:
        return words["no_one"]
    if found.proven:
        return words["proven"]
    return words["certain"] if len(found.inserts) <= found.least_inserts else words["open"].format(found.least_inserts)


def _asked_for(look: Found) -> dict[str, str]:
    margin = f"{100 * look.asked.min_margin:g}\u00a0%"
    worst = TEXTS["fewest"]["at_worst"] if look.asked.estimates == "worst" else ""
    return {"name": TEXTS["fewest"]["asked_for"], "value": margin + worst}


def _facts(found: Standard, seconds: float) -> list[dict[str, str]]:
    words = TEXTS["fewest"]
    tightest = min(found.served, key=lambda row: row.margin)
    given_up = [row for row in found.served if row.price > 0]
    rows = [
        {"name": words["own_best"], "value": str(found.own_best_inserts)},
        {"name": words["tightest"], "value": f"{_percent(tightest.margin)} · {tightest.joint}"},
        {"name": words["given_up"], "value": words["of"].format(len(given_up), len(found.served))},
    ]
    if not found.proven:
        rows.insert(0, {"name": words["bound"], "value": str(found.least_inserts)})
        rows.append({"name": words["time"], "value": _seconds(seconds)})
    return rows


def _needed(here: Desk, found: Standard) -> list[dict[str, Any]]:
    """A row for each thread: its mandrel, and where the shop has one; then the tools."""
    words = TEXTS["fewest"]
    shop = here.book.tools()
    rows: list[dict[str, Any]] = []
    for name in found.threads:
        where = [f"{mark} ({tool.id})" for tool in shop for mark in _mandrels(tool, name)]
        rows.append(
            {
                "name": words["mandrel"].format(name),
                "value": ", ".join(where) or words["no_mandrel"],
                "lacks": not where,
            }
        )
    rows += [{"name": words["tool"], "value": name, "lacks": False} for name in found.tools]
    return rows


def _mandrels(tool: ToolState, thread: str) -> list[str]:
    return [
        mark
        for mark, mandrel in tool.mandrels.items()
        if canonical(str(mandrel.get("thread", ""))) == thread and not mandrel.get("retired")
    ]


def _parts(here: Desk, found: Standard, jobs: dict[str, str]) -> list[dict[str, Any]]:
    by_name = sorted(found.served, key=lambda row: row.joint.casefold())
    return [
        {
            "part": insert.part,
            "note": f"{insert.thread}, {insert.material}".rstrip(", "),
            "address": f"/inserts/row?part={quote(insert.part, safe='')}",
            "joints": [_taker(here, row, jobs) for row in by_name if row.insert.part == insert.part],
        }
        for insert in found.inserts
    ]


def _taker(here: Desk, row: Served, jobs: dict[str, str]) -> dict[str, Any]:
    words = TEXTS["fewest"]
    tightest = row.tightest.name + (words["estimate"] if row.tightest.estimate else "")
    price = words["nothing"]
    if row.price > 0:
        points = round(100 * row.price)
        given = {0: words["under_one"], 1: words["one_point"]}.get(points, words["points"].format(points))
        price = words["given"].format(given, row.own_best.name)
    short = words["short"].format(_percent(-row.worst_margin)) if row.worst_margin < 0 else ""
    return {
        "joint": row.joint,
        "address": here.address(jobs[row.joint]),
        "margin": _percent(row.margin),
        "tightest": tightest,
        "short": short,
        "price": price,
        "tool": row.tool,
        "not_checked": ", ".join(row.not_checked),
    }


def _left(here: Desk, row: NotServed, jobs: dict[str, str]) -> dict[str, Any]:
    return {
        "joint": row.joint,
        "address": here.address(jobs[row.joint], "choose"),
        "nearest": row.nearest,
        "reason": row.reason.replace(" %", "\u00a0%"),
        "cure": row.cure.replace(" %", "\u00a0%"),
    }


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u00a0%"


def _seconds(seconds: float) -> str:
    whole = int(seconds)
    return f"{whole}\u00a0s" if whole < 120 else f"{whole // 60}\u00a0min {whole % 60}\u00a0s"
