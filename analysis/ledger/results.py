"""What does the ledger say of a change, and of what was changed before?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType

from analysis.problems import Problem
from analysis.records.answers import Answers

__all__ = ["Commit", "Counts", "FileEntry", "IntakeEntry", "SheetEntry", "Taking", "Withdrawal"]


@dataclass(frozen=True)
class Counts:
    """What became of the rows of one kind; the four add up to the rows that were offered.

    ``added``: about something new. ``updated``: the corrected value, or a blank filled, of something on record.
    ``unchanged``: on record in the same words. ``conflicting``: on record beside another value for the same thing.
    """

    added: int = 0
    updated: int = 0
    unchanged: int = 0
    conflicting: int = 0

    @property
    def rows(self) -> int:
        """How many rows were offered."""
        return self.added + self.updated + self.unchanged + self.conflicting

    def __add__(self, other: Counts) -> Counts:
        return Counts(
            self.added + other.added,
            self.updated + other.updated,
            self.unchanged + other.unchanged,
            self.conflicting + other.conflicting,
        )


_NO_COUNTS: Mapping[str, Counts] = MappingProxyType({})
_NO_NUMBERS: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True)
class Commit:
    """What an intake did to the ledger; ``intake`` is None where it added nothing, and the state is as it was."""

    intake: int | None
    state: int
    counts: Mapping[str, Counts] = field(default_factory=lambda: _NO_COUNTS)
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Withdrawal:
    """What taking an intake back did, by kind: things of which nothing stands any more, and things whose earlier or
    other rows stand again."""

    intake: int
    state: int
    removed: Mapping[str, int] = field(default_factory=lambda: _NO_NUMBERS)
    restored: Mapping[str, int] = field(default_factory=lambda: _NO_NUMBERS)


@dataclass(frozen=True)
class SheetEntry:
    """One sheet of an intake, and what its headers were taken for."""

    sheet: str
    kind: str | None
    header_row: int | None
    rows: int
    accepted: int
    rejected: int
    ignored: int
    columns: Mapping[str, str]
    kept_as_extra: tuple[str, ...]
    layout: str | None
    answers: Answers | None


@dataclass(frozen=True)
class FileEntry:
    """One file of an intake."""

    file: str
    sha256: str
    sheets: tuple[SheetEntry, ...]


@dataclass(frozen=True)
class Taking:
    """Who made a change, when and why; ``state`` is the state that it made."""

    state: int
    by: str
    at: datetime
    because: str | None = None


@dataclass(frozen=True)
class IntakeEntry:
    """One intake as the ledger's history has it; ``withdrawn`` is None while it stands."""

    intake: int
    taken: Taking
    files: tuple[FileEntry, ...]
    counts: Mapping[str, Counts]
    withdrawn: Taking | None

    @property
    def by(self) -> str:
        """Who took it in."""
        return self.taken.by

    @property
    def at(self) -> datetime:
        """When it was taken in."""
        return self.taken.at
