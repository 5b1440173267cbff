"""What did a person say about a sheet: its kind, its header row, what its columns mean?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

from analysis.records.headers import header_key
from analysis.records.kinds import KINDS
from analysis.records.parsed import DATE_ORDERS

__all__ = ["Answers", "SheetAnswers"]

_NOTHING: Mapping[str, str] = MappingProxyType({})
_ALLOWED: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"dates": DATE_ORDERS, "angles": ("90", "forward"), "numbers": ("sample", "replicate")}
)
_MAPS = ("columns", "units", "dates", "angles", "numbers")


@dataclass(frozen=True)
class Answers:
    """What a person said about one sheet; nothing that is not said is changed.

    ``kind`` is a kind of record; ``header_row`` counts as the spreadsheet does, from 1. ``columns`` gives, by header, a
    kept column's name, a measure's name (in a sheet with a column a measure), ``"attribute"``, ``"extra"`` or
    ``"ignore"``; it may also give, by a word that stands in a column of measures, that measure's name or ``"ignore"``.
    ``units`` gives the unit of a column, ``dates`` its order of day, month and year, ``angles`` the angle of a haze
    column, ``numbers`` what columns such as "TPO 1" and "TPO 2" count ("sample": a pack each; "replicate": one pack
    read again; any of their headers speaks for all), each by header. ``decimal`` is the decimal sign.
    """

    kind: str | None = None
    header_row: int | None = None
    columns: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    units: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    dates: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    angles: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    numbers: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    decimal: str | None = None

    @classmethod
    def from_document(cls, document: object) -> Answers:
        """Return the answers that a JSON document holds.

        Raises
        ------
        ValueError
            If it has a field, a kind or a word that there is none of.
        """
        given = _mapping(document, "an answer")
        known = [each.name for each in fields(cls)]
        for name in given:
            if name not in known:
                raise ValueError(f"Answers: a field must be one of {', '.join(known)}, got {name!r}")
        _check_one("kind", given.get("kind"), tuple(KINDS))
        _check_one("decimal", given.get("decimal"), (".", ","))
        row = given.get("header_row")
        if row is not None and (isinstance(row, bool) or not isinstance(row, int) or row < 1):
            raise ValueError(f"Answers: header_row must be a whole number from 1 on, got {row!r}")
        maps = {name: _texts(given.get(name), name) for name in _MAPS}
        for name, allowed in _ALLOWED.items():
            for value in maps[name].values():
                _check_one(name, value, allowed)
        return cls(given.get("kind"), row, **maps, decimal=given.get("decimal"))

    def as_document(self) -> dict[str, Any]:
        """Return the answers as a JSON document, without what was not said."""
        document: dict[str, Any] = {"kind": self.kind, "header_row": self.header_row, "decimal": self.decimal}
        document.update({name: dict(getattr(self, name)) for name in _MAPS})
        return {name: value for name, value in document.items() if value}

    def column(self, header: str) -> str | None:
        """Return what a header was said to mean."""
        return _found(self.columns, header)

    def unit(self, header: str) -> str | None:
        """Return the unit that a header's column was said to have."""
        return _found(self.units, header)

    def date_order(self, header: str) -> str | None:
        """Return the order of day and month that a header's column was said to have."""
        return _found(self.dates, header)

    def angle(self, header: str) -> str | None:
        """Return the angle that a header's column was said to have."""
        return _found(self.angles, header)

    def number(self, header: str) -> str | None:
        """Return what the number in a header was said to count: samples or replicates."""
        return _found(self.numbers, header)

    def over(self, earlier: Answers | None) -> Answers:
        """Return these answers laid over earlier ones: where both speak, these hold."""
        if earlier is None:
            return self
        return Answers(
            self.kind or earlier.kind,
            self.header_row or earlier.header_row,
            decimal=self.decimal or earlier.decimal,
            **{name: _merged(getattr(earlier, name), getattr(self, name)) for name in _MAPS},
        )

    def __bool__(self) -> bool:
        return bool(self.as_document())


@dataclass(frozen=True)
class SheetAnswers:
    """What a person said about many sheets.

    ``everywhere`` holds for every sheet; ``sheets`` by ``"file.xlsx/Sheet"``, or by ``"file.csv"`` for all of a file,
    and lies over it.
    """

    everywhere: Answers = field(default_factory=Answers)
    sheets: Mapping[str, Answers] = field(default_factory=lambda: MappingProxyType({}))

    @classmethod
    def from_document(cls, document: object) -> SheetAnswers:
        """Return the answers of a ``--columns`` file: one for every sheet, or ``{"sheets": {"file/Sheet": {...}}}``.

        Raises
        ------
        ValueError
            If it holds anything else.
        """
        given = dict(_mapping(document, "the answers"))
        sheets = _mapping(given.pop("sheets", {}), "sheets")
        return cls(
            Answers.from_document(given),
            MappingProxyType({name: Answers.from_document(each) for name, each in sheets.items()}),
        )

    def as_document(self) -> dict[str, Any]:
        """Return the answers as a JSON document."""
        document = self.everywhere.as_document()
        if self.sheets:
            document["sheets"] = {name: each.as_document() for name, each in self.sheets.items()}
        return document

    def of(self, file: str, sheet: str) -> Answers:
        """Return what was said about one sheet."""
        said = self.everywhere
        for name in (file, f"{file}/{sheet}"):
            for key, answers in self.sheets.items():
                if header_key(key) == header_key(name):
                    said = answers.over(said)
        return said


def _mapping(document: object, what: str) -> Mapping[str, Any]:
    if not isinstance(document, Mapping) or not all(isinstance(name, str) for name in document):
        raise ValueError(f"Answers: {what} must be a JSON object, got {type(document).__name__}")
    return document


def _texts(given: object, name: str) -> Mapping[str, str]:
    texts = _mapping(given or {}, name)
    for value in texts.values():
        if not isinstance(value, str):
            raise ValueError(f"Answers: {name} must give a text for each header, got {value!r}")
    return MappingProxyType(dict(texts))


def _check_one(name: str, given: object, allowed: tuple[str, ...]) -> None:
    if given is not None and given not in allowed:
        raise ValueError(f"Answers: {name} must be one of {', '.join(allowed)}, got {given!r}")


def _found(said: Mapping[str, str], header: str) -> str | None:
    if header in said:
        return said[header]

    return next((value for key, value in said.items() if header_key(key) == header_key(header)), None)


def _merged(earlier: Mapping[str, str], later: Mapping[str, str]) -> Mapping[str, str]:
    said = {key: value for key, value in earlier.items() if _found(later, key) is None}
    return MappingProxyType({**said, **later})
