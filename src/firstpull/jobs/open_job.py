"""Open a job: from nothing, from a job file, or as a new revision of a released one."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from firstpull.errors import BadInput, Conflict, Unsafe
from firstpull.jobs import choose, set_up
from firstpull.jobs.shapes import known_shift
from firstpull.jobs.workshop import Book, Doing, Planned
from firstpull.mechanics.insert import Insert
from firstpull.mechanics.joint.demand import Edges, JointDemand, Loads, Screw
from firstpull.mechanics.setting import AirToStack, Setting, SettingRequest, compute_setting
from firstpull.mechanics.tool import Tool
from firstpull.record.job import JobState

if TYPE_CHECKING:
    from firstpull.exchange.job_file import JobFile


def open_job(
    book: Book,
    title: str,
    *,
    doing: Doing,
    unit: str = "mm",
    part_name: str = "",
    demo: bool = False,
    practice: Mapping[str, Any] | None = None,
    more: tuple[Planned, ...] = (),
    tool: str = "",
) -> JobState:
    """A new job with ``title``; its id is made from the title. ``more`` is written in the same act. Raises BadInput."""
    if book.practice and practice is None:
        raise BadInput(
            "The practice book is for the simulated tool only.",
            hint="Start practice from its page; open a real job without --practice.",
        )
    title = " ".join(title.split())
    if not title:
        raise BadInput("What is this job called?", where="title", hint="For example “Battery tray lid”.")
    if len(title) > 120:
        raise BadInput("That title is too long.", where="title", hint="120 letters at most.")
    if unit not in ("mm", "in"):
        raise BadInput(f"“{unit}” is not a unit to work in.", where="unit", hint="mm or in.")
    opening = {"title": title, "part_name": part_name, "unit": unit, "demo": demo, "practice": practice}
    job_id = free_id(book, slug(title), slip=doing.slip)
    book.write(f"job:{job_id}", [("JobOpened", opening), *more], Doing(doing.by, 0, doing.slip), tool=tool)
    return book.job(job_id)


def open_from_file(book: Book, file: JobFile, *, doing: Doing, tool_id: str = "", demo: bool = False) -> JobState:
    """A job with everything that a job file says, written in one act: nothing half-opened.

    A part named in the file comes from the catalogue; ``tool_id`` names a tool of the workshop, else the file's own
    description serves. Raises what the setting refuses (Unsafe) or BadInput.
    """
    planned: list[Planned] = [choose.stack_event(file.stack, file.batch)]
    if file.needs is not None:
        planned.append(choose.needs_event(file.needs))
    demand = demand_of_file(file)
    if demand is not None:
        planned.append(choose.joint_event(demand))
    insert = file.insert if file.insert is not None else (book.insert(file.part_name) if file.part_name else None)
    tool_name = tool_id
    if insert is not None:
        planned.append(choose.insert_event(insert, source="catalogue" if file.insert is None else "job file"))
        if file.allowance is not None:
            planned.append(set_up.allowance_event(file.allowance))
        if file.window is not None:
            planned.append(set_up.window_event(file.window))
    tool_state = book.tool(tool_id) if tool_id else None
    tool = set_up.present_tool(tool_state) if tool_state is not None else file.tool
    if tool is not None:
        tool_name = tool_id or tool.name or "tool of the job file"
        source = "job file" if tool_state is None else set_up.tool_source(tool_state)
        planned.append(set_up.tool_event(tool, tool_id=tool_name, source=source))
    if insert is not None and (file.allowance is not None or insert.set_allowance is not None):
        shift = file.shift or known_shift(tool_state, insert, file.stack)
        planned.append(set_up.setting_event(request_of_file(file, insert=insert, tool=tool, shift=shift)))
    title = file.title or file.part or "Job"
    return open_job(
        book, title, doing=doing, unit=file.unit, part_name=file.part, demo=demo, more=tuple(planned), tool=tool_name
    )


def demand_of_file(file: JobFile) -> JointDemand | None:
    """What a job file asks of the joint's strength; None when it says nothing of it."""
    if file.loads is None and file.screw is None and file.edges is None and file.load_ceiling_n is None:
        return None
    return JointDemand(
        loads=file.loads or Loads(),
        screw=file.screw or Screw(),
        edges=file.edges or Edges(),
        load_ceiling_n=file.load_ceiling_n,
    )


def request_of_file(
    file: JobFile, *, insert: Insert | None, tool: Tool | None = None, shift: AirToStack | None = None
) -> SettingRequest:
    """What a job file asks to be computed; ``insert`` is the catalogue's row when the file only names a part."""
    chosen = file.insert if file.insert is not None else insert
    if chosen is None:
        raise BadInput("Which insert?", where="insert", hint="Describe it under [insert], or name its part.")
    return SettingRequest(
        insert=chosen,
        stack=file.stack,
        batch=file.batch,
        tool=tool if tool is not None else file.tool,
        allowance=file.allowance,
        window=file.window,
        shift=shift if shift is not None else file.shift,
        present_set_length=file.present_set_length,
        gap_mm=file.gap_mm,
        load_ceiling_n=file.load_ceiling_n,
        mandrel_class=file.mandrel_class or set_up.MANDREL_CLASS,
    )


def setting_of_file(file: JobFile, *, insert: Insert | None = None) -> Setting:
    """The setting for a job file, without writing anything. Raises Unsafe with reasons, BadInput."""
    return compute_setting(request_of_file(file, insert=insert))


def revise(book: Book, job_id: str, *, reason: str, doing: Doing) -> JobState:
    """Open the next revision of a released job; the old card is superseded and stays readable.

    The new revision starts with the same stack, needs, loads, insert and tool, and must be dialled in and proven again.
    Raises Unsafe when the job is not released, BadInput without a reason.
    """
    state = book.job(job_id)
    if state.superseded_by and book.repeats(state.stream, doing):
        return book.job(state.superseded_by)
    _may_be_revised(state, reason)
    base = re.sub(r"\.r\d+$", "", job_id)
    number = state.revision + 1
    new_id = f"{base}.r{number}"
    opening = {
        "title": state.title,
        "part_name": state.part_name,
        "unit": state.unit,
        "demo": state.demo,
        "practice": state.practice,
        "revision": number,
        "revises": job_id,
        "reason": reason.strip(),
    }
    planned: list[Planned] = [("JobOpened", opening), *_carried_over(state)]
    seen = state.sequence if doing.seen is None else doing.seen
    if seen != state.sequence:
        raise Conflict("The job moved on since you saw it.", where=job_id, hint="Look again, then revise.")
    book.write_all(
        [(f"job:{job_id}", [("Superseded", {"by": new_id, "reason": reason.strip()})]), (f"job:{new_id}", planned)],
        Doing(doing.by, seen, doing.slip),
    )
    return book.job(new_id)


def _may_be_revised(state: JobState, reason: str) -> None:
    if not state.released:
        raise Unsafe(
            "Only a released job gets a new revision.", where=state.id, hint="An open job can simply be changed."
        )
    if state.superseded_by:
        raise Unsafe(f"{state.id} was replaced by {state.superseded_by}.", where=state.id, hint="Revise that one.")
    if not reason.strip():
        raise BadInput("Why is it revised?", where="reason", hint="For example “new sheet supplier”.")


RESERVED = frozenset({"new"})  # stands in an address for something else than a job


def _carried_over(state: JobState) -> list[Planned]:
    """What a new revision starts from: the description of the joint and the tool, never a setting or its proof."""
    planned: list[Planned] = []
    if state.stack is not None:
        planned.append(("StackDescribed", dict(state.stack)))
    if state.needs is not None:
        planned.append(("NeedsStated", dict(state.needs)))
    if state.joint is not None:
        planned.append(("JointStated", dict(state.joint)))
    if state.insert is not None:
        planned.append(
            (
                "InsertChosen",
                {
                    "insert": state.insert,
                    "allowance": state.allowance,
                    "window": state.window,
                    "source": state.insert_source,
                },
            )
        )
    if state.plan:
        planned.append(("ProofPlanned", {"plan": dict(state.plan)}))
    if state.tool is not None:
        planned.append(
            (
                "ToolChosen",
                {
                    "tool": state.tool,
                    "tool_id": state.tool_id,
                    "mandrel": state.mandrel,
                    "gauge_id": state.gauge_id,
                    "source": state.tool_source,
                },
            )
        )
    return planned


def slug(title: str) -> str:
    """A title as an id: small letters, digits and dashes."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-") or "job"


def free_id(book: Book, wanted: str, *, slip: str = "") -> str:
    """``wanted``, or with the first number that makes it new; the one that ``slip`` opened already when it is repeated."""
    number = 1
    candidate = wanted
    while candidate in RESERVED or book.store.last(f"job:{candidate}"):
        if candidate not in RESERVED and slip and book.store.read(f"job:{candidate}")[0].client_id == f"{slip}.0.0":
            break
        number += 1
        candidate = f"{wanted}-{number}"
    return candidate
