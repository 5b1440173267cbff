"""What does a column of a sheet mean, and what may a column of a kind of sheet mean?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from analysis.records import kinds
from analysis.records.headers import Angle
from analysis.records.parsed import DateOrder
from analysis.vocabulary import MEASURES

__all__ = [
    "WIDE_KINDS",
    "Look",
    "Looks",
    "Match",
    "Meaning",
    "Meanings",
    "Role",
    "column_choices",
    "has_kept",
    "wide_columns",
]

Role = Literal["kept", "clock", "measure", "attribute", "meter", "unit", "extra", "ignore"]
Look = Literal["number", "clock", "moment", "text", "empty"]
Looks = Callable[[int], Look]

WIDE_KINDS = ("pack_runs", "readings")


@dataclass(frozen=True)
class Meaning:
    """What one column means.

    ``name`` is a kept column (for "kept", and for "clock" the moment that the clock time completes), a measure, an
    attribute, or for a "meter" and a "unit" of a wide sheet "" or what it is the meter of; ``measures`` says whose.
    ``number`` is that of a header such as "DO 2", which may count packs or readings of one pack.
    ``is_weak`` marks a word that could mean something else, ``is_beer_or_gas`` oxygen that could be in either.
    """

    column: int
    header: str
    role: Role
    name: str = ""
    unit: str | None = None
    angle: Angle | None = None
    order: DateOrder | None = None
    stage: str | None = None
    replicate: str | None = None
    sample: str | None = None
    number: str | None = None
    measures: tuple[int, ...] = ()
    is_weak: bool = False
    is_beer_or_gas: bool = False


@dataclass(frozen=True)
class Match:
    """How well a sheet fits a kind: what its columns mean, a score, and what is lacking for the kind."""

    kind: str
    meanings: tuple[Meaning, ...]
    score: float
    lacking: tuple[str, ...]
    unknown_answers: tuple[tuple[str, str], ...] = ()

    @property
    def is_wide(self) -> bool:
        """Whether measures or attributes stand in columns of their own."""
        return any(meaning.role in ("measure", "attribute") for meaning in self.meanings)

    def kept(self, name: str) -> Meaning | None:
        """Return the column that was taken for a kept one."""
        return next((m for m in self.meanings if m.role == "kept" and m.name == name), None)


Meanings = dict[int, Meaning]
"""What columns mean, by their number, while it is being found out."""


def wide_columns(kind: str) -> tuple[kinds.Column, ...]:
    """Return the columns that a sheet of a kind may have: a sheet of packaging runs may have those of readings too."""
    own = kinds.KINDS[kind].headed
    if kind != "pack_runs":
        return own
    names = {column.name for column in own} | {"quantity", "value", "sign", "unit"}
    return (*own, *(column for column in kinds.KINDS["readings"].columns if column.name not in names))


def column_choices(kind: str) -> tuple[str, ...]:
    """Return what a person may say that a header of a sheet of a kind means."""
    names = [column.name for column in wide_columns(kind)]
    measures = list(MEASURES) if kind in WIDE_KINDS else ["attribute"] if kind == "tastings" else []
    return (*dict.fromkeys([*names, *measures]), "extra", "ignore")


def has_kept(meanings: Meanings, *names: str) -> bool:
    """Tell whether columns were found for all of some kept names."""
    kept = {m.name for m in meanings.values() if m.role == "kept"}
    return all(name in kept for name in names)
