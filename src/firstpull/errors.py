"""The error tree: every problem that a person can meet, in one shape.

::

    FirstpullError            what, where, hint; never a stack trace
    ├── BadInput              exit 2: something typed, sent or read cannot be used as it is
    │   ├── NotFound          a job, part, tool or name that is not there
    │   └── Conflict          the record moved on since the page was shown; nothing was written
    ├── Unsafe                exit 3: understood, but cannot be done safely; says why
    └── RecordDamaged         exit 4: the record does not verify

Every lower problem (of a file, the database, a library) leaves the package as one of these.
"""

from __future__ import annotations


class FirstpullError(Exception):
    """Base of all errors that leave the package.

    ``what`` says what is wrong, ``where`` names the file, row or field, ``hint`` says what would be right.
    """

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.hint}".strip()

    def at(self, where: str) -> FirstpullError:
        """The same error with an outer place put before its own: ``job.toml`` + ``stack.layer[2].thickness``."""
        self.where = f"{where}: {self.where}" if self.where else where
        return self

    def as_dict(self) -> dict[str, str]:
        """The shape shared by the command line, HTTP and the library."""
        return {"what": self.what, "where": self.where, "hint": self.hint}


class BadInput(FirstpullError):
    """What was given cannot be used as it is."""

    exit_code = 2


class NotFound(BadInput):
    """A job, part, tool, gauge or name that is not there."""


class Conflict(BadInput):
    """The record moved on since this was shown. Nothing was written; what was typed is still with the caller."""


class Unsafe(FirstpullError):
    """Understood, but cannot be done safely. ``reasons`` lists each reason in plain words."""

    exit_code = 3

    def __init__(self, what: str, *, where: str = "", hint: str = "", reasons: tuple[str, ...] = ()) -> None:
        super().__init__(what, where=where, hint=hint)
        self.reasons = reasons

    def __str__(self) -> str:
        return " ".join([super().__str__(), *self.reasons]).strip()


class RecordDamaged(FirstpullError):
    """The record does not verify: a hash, a sequence or a projection is not what it must be."""

    exit_code = 4
