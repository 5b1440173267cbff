"""What was done to the beer in each finished pack, and what could not be linked?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

import pandas as pd

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.wording import amount, count, listing
from analysis.linking import PackTable
from analysis.linking.numbers import number_and_date
from analysis.vocabulary import measure

__all__ = ["PacksFinding", "packs", "runs_named"]

_FIRST = ("run", "batch", "recipe", "format", "packed_at", "sample")
_SIGNS: Mapping[int, str] = MappingProxyType({-1: "<", 0: "", 1: ">"})


@dataclass(frozen=True)
class PacksFinding:
    """The pack table as it was asked for.

    ``rows`` has one row a finished pack sample, as in ``PackTable.rows``; ``unlinked`` counts what could not be linked,
    by kind and reason; ``units`` maps a column to its unit.
    """

    question: str
    answer: str
    rows: pd.DataFrame
    unlinked: pd.DataFrame
    measures: tuple[str, ...]
    practices: tuple[str, ...]
    units: Mapping[str, str]
    ledger_state: int
    filters: Filters
    cautions: tuple[str, ...] = ()

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        return {
            "ledger_state": self.ledger_state,
            "units": dict(self.units),
            "rows": _plain(self.rows[self._columns]),
            "unlinked": _plain(self.unlinked[["kind", "reason", "count"]]),
            "cautions": list(self.cautions),
        }

    def export(self, form: Form, made_at: datetime | None = None) -> bytes:
        """Return the table as a file's bytes, with selection, units and ledger state beside the numbers."""
        note = ExportNote(
            "Pack table",
            self.ledger_state,
            self.filters.in_words(),
            self.units,
            self.cautions,
            made_at or datetime.now(),
        )
        return export_table(self.rows[self._columns], note, form)

    def export_unlinked(self, form: Form, made_at: datetime | None = None) -> bytes:
        """Return what could not be linked, of the whole ledger, as a file's bytes."""
        note = ExportNote(
            "Records that could not be linked",
            self.ledger_state,
            Filters().in_words(),
            made_at=made_at or datetime.now(),
        )
        return export_table(self.unlinked[["kind", "reason", "count"]], note, form)

    def in_words(self, most: int = 30) -> tuple[list[str], list[list[str]]]:
        """Return headers and the first rows as text, for a terminal."""
        headers = [*_FIRST, *(f"{m} [{self.units[m]}]" if self.units[m] else m for m in self.measures)]
        return headers, [self._row_in_words(row) for _, row in self.rows.head(most).iterrows()]

    @property
    def _columns(self) -> list[str]:
        censored = [c for m in self.measures for c in (m, f"{m}_censored") if c in self.rows]
        others = [c for c in self.rows.columns if c not in (*_FIRST, *censored, *self.practices)]
        done = [name for name in self.practices if name not in _FIRST]
        return [*_FIRST, *censored, *done, *others]

    def _row_in_words(self, row: pd.Series) -> list[str]:
        first = ["" if pd.isna(row[c]) else str(row[c]) for c in _FIRST]
        return first + [_reading(float(row[m]), float(row.get(f"{m}_censored", 0))) for m in self.measures]


def packs(table: PackTable, filters: Filters | None = None) -> PacksFinding:
    """Return the pack table for a selection.

    Parameters
    ----------
    table : PackTable
        As linking made it.
    filters : Filters, optional
        All packs where it is not given.
    """
    chosen = filters if filters is not None else Filters()
    rows = chosen.apply(table.rows)
    shown = tuple(m for m in table.measures if m in rows and rows[m].notna().any())
    units = {m: measure(m).unit for m in shown} | {p.name: p.unit for p in table.practices}
    return PacksFinding(
        question="What was done to the beer in each finished pack?",
        answer=_answer(rows, table.unlinked) if len(rows) or len(table.rows) else _without_packs(table),
        rows=rows,
        unlinked=table.unlinked,
        measures=shown,
        practices=tuple(p.name for p in table.practices if p.name in rows),
        units=units,
        ledger_state=table.state,
        filters=chosen,
        cautions=(*table.remarks_on(), *_cautions(rows)),
    )


def runs_named(table: PackTable, name: str) -> pd.DataFrame:
    """Return the runs that a name may stand for, the latest first: ``run``, ``batch``, ``packed_at``.

    That is one run where a run is called so today. A number that was used again since stands for every run that had it,
    and a name with a year for those of that year.
    """
    known = table.rows[["run", "batch", "packed_at"]].drop_duplicates("run")
    own = known[known["run"] == name]
    if len(own) or not len(known):
        return own.reset_index(drop=True)
    number, then = number_and_date(name)
    of_number = known["run"].map(lambda run: number_and_date(run)[0]).eq(number)
    of_date = known["packed_at"].dt.strftime("%Y-%m-%d").fillna("").str.startswith(then)
    uses: pd.DataFrame = known[of_number & of_date]
    return uses.sort_values("packed_at", ascending=False, kind="stable").reset_index(drop=True)


def _answer(rows: pd.DataFrame, unlinked: pd.DataFrame) -> str:
    if not len(rows):
        return "No finished pack is on record for this selection."
    told = (
        f"{count(len(rows), 'pack')} of {count(rows['run'].nunique(), 'run')} from "
        f"{count(rows['batch'].nunique(), 'batch', 'batches')} of {listing(sorted(rows['recipe'].dropna().unique()))}"
    )
    left = int(unlinked["count"].sum()) if len(unlinked) else 0
    return f"{told}; {count(left, 'record')} could not be linked." if left else f"{told}; every record is linked."


def _without_packs(table: PackTable) -> str:
    """Say what is on record where no pack was read at all: a brewery may taste and not measure."""
    told = ["No reading of a finished pack is on record"]
    if len(table.tastings):
        told.append(f"{count(table.tastings['run'].nunique(), 'run was', 'runs were')} tasted")
    if left := int(table.unlinked["count"].sum()) if len(table.unlinked) else 0:
        told.append(f"{count(left, 'record')} could not be linked")
    return f"{'; '.join(told)}."


def _cautions(rows: pd.DataFrame) -> tuple[str, ...]:
    if "blended" not in rows or not rows["blended"].fillna(False).astype(bool).any():
        return ()
    number = int(rows["blended"].fillna(False).astype(bool).sum())
    return (
        f"{count(number, 'pack is a blend', 'packs are blends')} of several batches: a practice is the mean of its "
        "batches by volume, a count the largest of them.",
    )


def _reading(value: float, sign: float) -> str:
    if math.isnan(value):
        return ""
    return f"{_SIGNS[0 if math.isnan(sign) else int(sign)]}{amount(value)}"


def _plain(frame: pd.DataFrame) -> list[dict[str, object]]:
    """Return rows as JSON can hold them: None for missing, ISO text for a moment."""
    plain = {str(c): _plain_column(frame[c]) for c in frame.columns}
    return [dict(zip(plain, cells, strict=True)) for cells in zip(*plain.values(), strict=True)]


def _plain_column(column: pd.Series) -> Sequence[object]:
    if pd.api.types.is_datetime64_any_dtype(column):
        return [None if pd.isna(cell) else cell.isoformat() for cell in column]
    return [None if missing else cell for cell, missing in zip(column.tolist(), column.isna(), strict=True)]
