"""Long work beside the pages: each has an id, tells how far it is, can be stopped with its best so far, and is dropped
after a while. Nothing of it is on record.
"""

from __future__ import annotations

import logging
import threading
import time
import uuid
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, Literal, TypeVar

from firstpull.errors import BadInput, FirstpullError, NotFound
from firstpull.mechanics.cover import Progress

log = logging.getLogger("firstpull.jobs")

Condition = Literal["waiting", "working", "stopping", "done", "failed"]
Asked = TypeVar("Asked")
Found = TypeVar("Found")
_PAUSE_S = 0.1


@dataclass(frozen=True, slots=True)
class Look(Generic[Asked, Found]):
    """How a piece of work stands. ``found`` once it is done, ``problem`` once it failed; ``seconds`` since its start
    (while it waits: since it was asked for)."""

    id: str
    asked: Asked
    condition: Condition
    step: Progress | None
    seconds: float
    found: Found | None
    problem: FirstpullError | None

    @property
    def over(self) -> bool:
        return self.condition in ("done", "failed")


Perform = Callable[[Asked, Callable[[], bool], Callable[[Progress], None]], Found]


@dataclass(slots=True)
class _Piece(Generic[Asked, Found]):
    id: str
    asked: Asked
    slip: str
    begun: float
    stop: threading.Event = field(default_factory=threading.Event)
    working: bool = False
    step: Progress | None = None
    ended: float | None = None
    found: Found | None = None
    problem: FirstpullError | None = None
    thread: threading.Thread | None = None


class LongWork(Generic[Asked, Found]):
    """Pieces of work of one kind: at most ``at_once`` at a time, the others wait their turn; ``keep`` that are over are
    kept, each for ``keep_s`` seconds after anybody last looked. ``perform`` does one piece: what was asked, whether it
    is stopped, and where it tells how far it is."""

    def __init__(
        self,
        perform: Perform[Asked, Found],
        *,
        at_once: int = 2,
        most_open: int = 20,
        keep: int = 40,
        keep_s: float = 3600.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._perform = perform
        self._turn = threading.Semaphore(at_once)
        self._most_open, self._keep, self._keep_s = most_open, keep, keep_s
        self._clock = clock
        self._pieces: OrderedDict[str, _Piece[Asked, Found]] = OrderedDict()
        self._looked: dict[str, float] = {}
        self._lock = threading.Lock()
        self._closed = False

    def start(self, asked: Asked, *, slip: str = "") -> str:
        """Begin a piece of work; returns its id. The same ``slip`` with the same question gives the piece that is there
        already (a button pressed twice). Raises BadInput when too many are open."""
        with self._lock:
            self._drop_old()
            if slip:
                for piece in self._pieces.values():
                    if piece.slip == slip and piece.asked == asked:
                        return piece.id
            if self._closed or sum(piece.ended is None for piece in self._pieces.values()) >= self._most_open:
                raise BadInput(
                    "Too many searches are running here.", where="start", hint="Wait for one to end, or stop one."
                )
            piece = _Piece[Asked, Found](uuid.uuid4().hex, asked, slip, self._clock())
            self._pieces[piece.id] = piece
            self._looked[piece.id] = piece.begun
            piece.thread = threading.Thread(target=self._run, args=(piece,), name=f"work {piece.id[:8]}", daemon=True)
            piece.thread.start()
        return piece.id

    def look(self, piece_id: str) -> Look[Asked, Found]:
        """How it stands. Raises NotFound for one that is not here, or not any longer."""
        with self._lock:
            self._drop_old()
            piece = self._find(piece_id)
            now = self._clock()
            self._looked[piece_id] = now
            if piece.ended is not None:
                condition: Condition = "failed" if piece.problem is not None else "done"
            elif piece.stop.is_set():
                condition = "stopping"
            else:
                condition = "working" if piece.working else "waiting"
            seconds = max((now if piece.ended is None else piece.ended) - piece.begun, 0.0)
            return Look(piece.id, piece.asked, condition, piece.step, seconds, piece.found, piece.problem)

    def stop(self, piece_id: str) -> None:
        """Ask it to stop with its best so far; one that is over stays as it is. Raises NotFound."""
        with self._lock:
            self._find(piece_id).stop.set()

    def close(self, *, wait_s: float = 6.0) -> None:
        """Stop everything and wait for it, at most ``wait_s`` seconds in all; nothing can be started afterwards."""
        with self._lock:
            self._closed = True
            threads = [piece.thread for piece in self._pieces.values() if piece.ended is None]
            for piece in self._pieces.values():
                piece.stop.set()
        until = time.monotonic() + wait_s
        for thread in threads:
            if thread is not None:
                thread.join(max(until - time.monotonic(), 0.0))

    def _find(self, piece_id: str) -> _Piece[Asked, Found]:
        piece = self._pieces.get(piece_id)
        if piece is None:
            raise NotFound(
                "This search is not here any longer.", where="search", hint="Results are kept for an hour. Start again."
            )
        return piece

    def _run(self, piece: _Piece[Asked, Found]) -> None:
        while not self._turn.acquire(timeout=_PAUSE_S):
            if piece.stop.is_set():
                self._end(piece, problem=BadInput("It was stopped before it began.", hint="Start it again."))
                return
        try:
            with self._lock:
                piece.working, piece.begun = True, self._clock()
            self._end(piece, found=self._perform(piece.asked, piece.stop.is_set, lambda step: self._tell(piece, step)))
        except FirstpullError as problem:
            self._end(piece, problem=problem)
        except Exception:
            log.exception("Unforeseen problem in long work %s", piece.id)
            self._end(
                piece, problem=FirstpullError("The search broke off.", hint="The details are in the bench's log.")
            )
        finally:
            self._turn.release()

    def _tell(self, piece: _Piece[Asked, Found], step: Progress) -> None:
        with self._lock:
            piece.step = step

    def _end(
        self, piece: _Piece[Asked, Found], *, found: Found | None = None, problem: FirstpullError | None = None
    ) -> None:
        with self._lock:
            piece.found, piece.problem, piece.ended = found, problem, self._clock()
            self._looked[piece.id] = piece.ended

    def _drop_old(self) -> None:
        """Drop what is over and was not looked at for long, and the oldest of what is over when there are too many."""
        now = self._clock()
        over = [piece.id for piece in self._pieces.values() if piece.ended is not None]
        old = [one for one in over if now - self._looked[one] > self._keep_s]
        left = [one for one in over if one not in old]
        left.sort(key=lambda one: self._looked[one])
        for one in (*old, *left[: max(len(left) - self._keep, 0)]):
            del self._pieces[one], self._looked[one]
