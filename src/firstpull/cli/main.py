"""The root command, the two ways of answering (text and JSON), and errors in one shape."""

from __future__ import annotations

import errno
import json
import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firstpull import __version__
from firstpull.errors import BadInput, FirstpullError, Unsafe

if TYPE_CHECKING:
    from firstpull.jobs.workshop import Book, Doing, Workshop

_Command = TypeVar("_Command", bound=Callable[..., Any])

# command → (module, one line). Modules are imported only when their command runs, so that --help stays fast.
_COMMANDS: dict[str, tuple[str, str]] = {
    "bench": ("bench", "Open the bench in the browser."),
    "choose": ("reckon", "Inserts that suit a joint, best first, and why others do not."),
    "setting": ("reckon", "Stroke, set length, window and steps for a job file."),
    "virtual-pull": (
        "virtual",
        "Simulate the collapse of an insert from its dimensions: force, closure, set allowance.",
    ),
    "identify": ("parts", "Which insert is in your hand, and what to measure next."),
    "standardise": ("parts", "The fewest part numbers that serve many joints."),
    "advise": ("reckon", "The dial-in conversation: one JSON request a line in, one reply a line out."),
    "lookup": ("reckon", "Look up a thread, a sheet gauge or a drill."),
    "gauge-study": ("measuring", "What a gauge is worth: repeatability, reproducibility, bias."),
    "budget": ("budget", "The doubt of a measurement, line by line, from a file or for a gauge of the shop."),
    "capability": ("measuring", "Cp, Cpk, Pp, Ppk of readings against limits, and what they show."),
    "stats": ("statistics_group", "Statistics by themselves: factors, plans, charts, capability, gauges, lives."),
    "open": ("work", "Open a job from a job file."),
    "jobs": ("work", "List jobs, or search them."),
    "show": ("work", "Where a job stands and what is owed."),
    "take": ("work", "Take an insert of the catalogue for a job."),
    "fit": ("work", "Choose the tool, mandrel and gauge of a job and compute its setting."),
    "ladder": ("ladder", "Find a set allowance on coupons, from short upward."),
    "done": ("work", "Say that an act at the tool is done."),
    "pull": ("work", "Record a trial pull and be told what to do next."),
    "again": ("work", "Record another reading of the last insert."),
    "turn": ("work", "Record that the adjuster was turned."),
    "cycle": ("work", "Record cycles without an insert."),
    "pressure": ("work", "Record the pressure of a force-set tool."),
    "strike": ("work", "Strike out a reading, with a reason."),
    "hold": ("work", "Take the setting as dialled in, when the advice says so."),
    "prove": ("proof", "Record a coupon, or show what the proof holds and owes."),
    "plan": ("proof", "Change what the proof of a job must hold."),
    "release": ("proof", "Release a proven setting in a person's name."),
    "card": ("proof", "Write the released setup card as PDF or JSON."),
    "paper": ("papers", "Write a trial log, a first-article record or a tool's history as PDF."),
    "revise": ("proof", "Open a new revision of a released job."),
    "check": ("runs", "Record a check of the run against the card."),
    "run": ("runs", "What a run's checks show: rules, false looks, capability."),
    "count": ("runs", "Record inserts issued, set, rejected and returned."),
    "stop": ("runs", "Stop a run and quarantine what is suspect."),
    "reopen": ("runs", "Let a stopped run go on after it was proven again."),
    "tool": ("things", "Tools and mandrels: add, list, service, cycles."),
    "gauge": ("things", "Gauges: add, list, check."),
    "due": ("things", "What wants looking after."),
    "catalogue": ("things", "Inserts: import, list, export, history."),
    "verify": ("keeping", "Walk the record and say whether it is whole."),
    "backup": ("keeping", "Write a verified copy of the record."),
    "restore": ("keeping", "Put a backup in place; the present file is kept beside it."),
    "export": ("keeping", "Write the whole record as JSON Lines."),
    "import": ("keeping", "Read JSON Lines into the record."),
}


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click's signature)
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _COMMANDS:
            return None
        module = import_module(f"firstpull.cli.{_COMMANDS[cmd_name][0]}")
        name = {"import": "import_", "open": "open_", "gauge-study": "gauge_study", "virtual-pull": "virtual_pull"}.get(
            cmd_name, cmd_name
        )
        command: click.Command = getattr(module, name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in _COMMANDS:
            import difflib

            near = difflib.get_close_matches(args[0], _COMMANDS, n=3, cutoff=0.5)
            hint = f"Did you mean {' or '.join(near)}?" if near else "See firstpull --help."
            raise BadInput(f"“{args[0]}” is not a command.", where="command", hint=hint)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise _NobodyReadsError  # click would end with 1, as if something had gone wrong

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_module, line) in _COMMANDS.items()])


@dataclass(slots=True)
class Session:
    """What every command shares: the data folder, the book, who is working, and how to answer."""

    data: Path
    demo: bool
    practice: bool
    by: str
    as_json: bool = False
    _workshop: Workshop | None = field(default=None, repr=False)

    def workshop(self) -> Workshop:
        """The open workshop; a demo one is filled on first use."""
        if self._workshop is None:
            from firstpull.jobs.workshop import Workshop

            self._workshop = Workshop(self.data)
            if self.demo:
                from firstpull.jobs.demo_workshop import fill_demo

                fill_demo(self._workshop)
        return self._workshop

    def book(self) -> Book:
        """The book that commands write to: the bench's, or with ``--practice`` the practice book."""
        workshop = self.workshop()
        return workshop.practice if self.practice else workshop.bench

    def doing(self) -> Doing:
        """Who does it. Raises BadInput without a name."""
        from firstpull.jobs.workshop import Doing

        if not self.by.strip():
            raise BadInput("Who is doing this?", where="--by", hint="Give --by NAME, or set FIRSTPULL_BY.")
        return Doing(self.by)

    def answer(self, data: Mapping[str, Any], text: str) -> None:
        """Write the answer: JSON with ``--json``, else text."""
        if self.as_json:
            click.echo(json.dumps(data, ensure_ascii=False, indent=2, default=str))
        else:
            click.echo(text)

    def close(self) -> None:
        if self._workshop is not None:
            self._workshop.close()


def default_folder() -> Path:
    """Where the record lives unless --data or FIRSTPULL_DATA says otherwise."""
    if os.environ.get("FIRSTPULL_DATA"):
        return Path(os.environ["FIRSTPULL_DATA"])
    if os.name == "nt" and os.environ.get("LOCALAPPDATA"):
        return Path(os.environ["LOCALAPPDATA"]) / "firstpull"
    return Path.home() / ".local" / "share" / "firstpull"


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "-V", "--version", prog_name="firstpull")
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), help="Folder of the record.")
@click.option("--demo", is_flag=True, help="Work in the demo workshop (invented data, a folder of its own).")
@click.option("--practice", is_flag=True, help="Work in the practice book, on the simulated tool.")
@click.option("--by", default=lambda: os.environ.get("FIRSTPULL_BY", ""), help="Who is working; kept with every entry.")
@click.pass_context
def root(ctx: click.Context, data: Path | None, demo: bool, practice: bool, by: str) -> None:
    """The setting technician's bench for blind rivet nuts.

    Every command takes --json. Exit: 0 done, 2 bad input, 3 cannot be done safely, 4 the record does not verify.
    """
    folder = data or (default_folder() / "demo" if demo else default_folder())
    ctx.obj = Session(folder, demo, practice, by)
    ctx.call_on_close(ctx.obj.close)


def json_option(command: _Command) -> _Command:
    """``--json`` for a command: sets it on the session and hands the session over as the first argument."""
    from functools import wraps

    @wraps(command)
    def with_session(*args: Any, as_json: bool, **kwargs: Any) -> Any:
        session = click.get_current_context().find_object(Session)
        if session is None:
            raise BadInput("This command needs the firstpull root command.")
        session.as_json = as_json
        return command(session, *args, **kwargs)

    return click.option("--json", "as_json", is_flag=True, help="Answer as JSON.")(with_session)  # type: ignore[return-value]


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit. No error leaves as a trace."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")
    given = sys.argv[1:] if arguments is None else arguments
    try:
        code = root.main(args=given, prog_name="firstpull", standalone_mode=False) or 0
        if sys.stdout is not None:
            sys.stdout.flush()  # what cannot be written is said, and not left to the interpreter's end
        sys.exit(code)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(130)
    except (_NobodyReadsError, BrokenPipeError):
        _drop_output()
        sys.exit(0)
    except Exception as problem:
        _fail(_ours(problem), "--json" in given)


class _NobodyReadsError(Exception):
    """What reads our output, such as “head”, has seen enough."""


def _drop_output() -> None:
    """Let nothing be written at the interpreter's end that nobody takes."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _ours(problem: Exception) -> FirstpullError:
    """Any problem as one of ours: a person never sees a trace."""
    if isinstance(problem, FirstpullError):
        return problem
    if isinstance(problem, click.exceptions.NoArgsIsHelpError):
        return BadInput(problem.format_message())
    if isinstance(problem, click.UsageError):
        context = problem.ctx.command_path if problem.ctx is not None else "firstpull"
        return BadInput(problem.format_message(), hint=f"See {context} --help.")
    if isinstance(problem, click.ClickException):
        return BadInput(problem.format_message())
    if isinstance(problem, OSError):
        if problem.errno == errno.ENOSPC:
            _drop_output()
        return BadInput(f"{problem.strerror or problem}.", where=str(problem.filename or ""))
    return FirstpullError(f"firstpull met something it did not expect: {type(problem).__name__}: {problem}")


def _fail(problem: FirstpullError, as_json: bool) -> None:
    if as_json:
        error: dict[str, Any] = problem.as_dict()
        if isinstance(problem, Unsafe):
            error["reasons"] = list(problem.reasons)
        click.echo(json.dumps({"schema": "firstpull/error/1", "error": error}, ensure_ascii=False, indent=2))
    else:
        click.echo(_error_text(problem), err=True)
    sys.exit(problem.exit_code)


def _error_text(problem: FirstpullError) -> str:
    lines = [f"{problem.where}: {problem.what}" if problem.where else problem.what]
    if isinstance(problem, Unsafe):
        lines += [f"  - {reason}" for reason in problem.reasons]
    if problem.hint:
        lines.append(problem.hint)
    return "\n".join(lines)
