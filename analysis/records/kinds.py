"""Which kinds of record does a brewery keep, and which columns has each?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from analysis.vocabulary import FORMATS, OPERATIONS, STAGES

__all__ = ["KINDS", "Column", "ColumnType", "Kind", "kind"]

ColumnType = Literal["id", "text", "number", "count", "date", "moment", "choice"]


@dataclass(frozen=True)
class Column:
    """One kept column of a kind of record.

    ``type`` decides how cells are parsed and how the ledger stores them: ``id`` is text that names something and is
    normalised; ``number`` is a float in ``unit``; ``count`` a whole number; ``date`` a day; ``moment`` a day with a
    clock time; ``choice`` one of ``choices``.
    """

    name: str
    type: ColumnType
    required: bool = False
    unit: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Kind:
    """One kind of record.

    ``identity`` names the columns that together say which thing a row is about: two rows that agree on them are the
    same record, and where their other columns differ one corrects or contradicts the other. ``occasion`` is a column of
    moments that tells apart rows that agree on them where numbers begin again each year (``occasions``), "" for none.
    """

    name: str
    label: str
    columns: tuple[Column, ...]
    identity: tuple[str, ...]
    occasion: str = ""

    def column(self, name: str) -> Column:
        """Return the column of that name; raise ``ValueError`` where the kind has none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise ValueError(f"Kind.column: name must be one of {', '.join(self.names)}, got {name!r}")

    @property
    def aside(self) -> str:
        """The column that only helps to tell rows apart and states nothing of its own, "" for none."""
        return self.occasion if self.occasion and not self.column(self.occasion).required else ""

    @property
    def headed(self) -> tuple[Column, ...]:
        """The columns that a sheet may have a header for: all but those that are read off other cells."""
        return tuple(column for column in self.columns if column.name not in ("sign", self.aside))

    @property
    def names(self) -> tuple[str, ...]:
        """The kept names of the columns, in order."""
        return tuple(column.name for column in self.columns)


_SIGNS = ("<", ">")

_KINDS = (
    Kind(
        "batches",
        "Batches",
        (
            Column("batch", "id", required=True),
            Column("recipe", "id", required=True),
            Column("style", "text"),
            Column("brewed_on", "date"),
            Column("volume", "number", unit="hL"),
            Column("vessel", "id"),
            Column("original_gravity", "number", unit="°P"),
            Column("final_gravity", "number", unit="°P"),
        ),
        identity=("batch", "brewed_on"),
    ),
    Kind(
        "transfers",
        "Transfers",
        (
            Column("from_batch", "id", required=True),
            Column("to_batch", "id", required=True),
            Column("from_vessel", "id"),
            Column("to_vessel", "id"),
            Column("volume", "number", unit="hL"),
            Column("moved_at", "moment"),
        ),
        identity=("from_batch", "to_batch", "from_vessel", "to_vessel", "moved_at"),
    ),
    Kind(
        "operations",
        "Cellar operations",
        (
            Column("batch", "id"),
            Column("operation", "choice", required=True, choices=OPERATIONS),
            Column("vessel", "id"),
            Column("started_at", "moment", required=True),
            Column("ended_at", "moment"),
            Column("minutes", "number", unit="min"),
            Column("amount", "number"),
            Column("unit", "text"),
            Column("agent", "text"),
            Column("note", "text"),
        ),
        identity=("batch", "operation", "vessel", "started_at", "agent"),
    ),
    Kind(
        "pack_runs",
        "Packaging runs",
        (
            Column("run", "id", required=True),
            Column("batch", "id", required=True),
            Column("packed_at", "moment", required=True),
            Column("format", "choice", choices=FORMATS),
            Column("size", "number", unit="mL"),
            Column("headspace", "number", unit="mL"),
            Column("line", "id"),
            Column("fill_temperature", "number", unit="°C"),
        ),
        identity=("run", "batch"),
        occasion="packed_at",
    ),
    Kind(
        "readings",
        "Readings",
        (
            Column("batch", "id"),
            Column("run", "id"),
            Column("stage", "choice", choices=STAGES),
            Column("sample", "id"),
            Column("measured_at", "moment"),
            Column("quantity", "text", required=True),
            Column("value", "number", required=True),
            Column("sign", "choice", choices=_SIGNS),
            Column("unit", "text"),
            Column("temperature", "number", unit="°C"),
            Column("angle", "text"),
            Column("meter", "id"),
            Column("replicate", "id"),
            Column("vessel", "id"),
            Column("packed_at", "moment"),
        ),
        identity=(
            "batch",
            "run",
            "vessel",
            "stage",
            "sample",
            "measured_at",
            "quantity",
            "angle",
            "temperature",
            "meter",
            "replicate",
        ),
        occasion="packed_at",
    ),
    Kind(
        "tastings",
        "Tastings",
        (
            Column("run", "id", required=True),
            Column("tasted_on", "date"),
            Column("panellist", "id", required=True),
            Column("attribute", "text", required=True),
            Column("score", "number", required=True),
            Column("scale", "text"),
        ),
        identity=("run", "tasted_on", "panellist", "attribute"),
    ),
    Kind(
        "taste_tests",
        "Difference tests",
        (
            Column("run", "id", required=True),
            Column("other_run", "id"),
            Column("test", "choice", choices=("triangle", "duo_trio", "paired")),
            Column("tasted_on", "date"),
            Column("tasters", "count", required=True),
            Column("correct", "count", required=True),
        ),
        identity=("run", "other_run", "test", "tasted_on"),
    ),
    Kind(
        "meter_checks",
        "Meter checks",
        (
            Column("meter", "id", required=True),
            Column("checked_at", "moment", required=True),
            Column("quantity", "text"),
            Column("reference", "number", required=True),
            Column("observed", "number", required=True),
            Column("unit", "text"),
        ),
        identity=("meter", "checked_at", "quantity", "reference"),
    ),
    Kind(
        "targets",
        "Targets and margins",
        (
            Column("recipe", "id"),
            Column("format", "choice", choices=FORMATS),
            Column("quantity", "text", required=True),
            Column("lower", "number"),
            Column("upper", "number"),
            Column("target", "number"),
            Column("margin", "number"),
        ),
        identity=("recipe", "format", "quantity"),
    ),
)

KINDS: Mapping[str, Kind] = MappingProxyType({k.name: k for k in _KINDS})


def kind(name: str) -> Kind:
    """Return the kind of that name.

    Raises
    ------
    ValueError
        If there is no such kind.
    """
    if name not in KINDS:
        raise ValueError(f"kind: name must be one of {', '.join(KINDS)}, got {name!r}")
    return KINDS[name]
