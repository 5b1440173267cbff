"""What can be told of a withdrawal without reading what is on record whole?

Two cases make up almost every withdrawal: a thing that only this intake speaks of, which stands no more; and a thing
that only versions of one file speak of, of which the version before stands again, or a later one goes on standing.
Their outcome is that of ``merging``, read off a few numbers a row.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.book import Book
from analysis.ledger.changes import Changes, Tally
from analysis.ledger.decisions import load_decisions
from analysis.ledger.identity import LOOSE, span_years
from analysis.ledger.reading import read_numbers
from analysis.ledger.tables import KindTables

__all__ = ["plain_retreat"]

_LAST = np.iinfo(np.int64).max

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]


def plain_retreat(book: Book, tables: KindTables, intake: int) -> tuple[Changes, Indices]:
    """Return what plainly changes in one kind, and the keys of the things that have to be weighed.

    Parameters
    ----------
    book : Book
        The ledger as it is without the intake.
    tables : KindTables
        The tables of the kind.
    intake : int
        The number of the intake.
    """
    claims = _claims(book, tables, intake)
    decided = load_decisions(book.connection, tables.kind.name)["key"].to_numpy()
    gone, back, same = _plain_cases(claims, intake, decided, loose=tables.kind.name in LOOSE)
    key = claims["key"]
    ended = claims[claims["own"] & claims["stands"] & key.isin(gone.union(back))]
    again = claims[claims["latest"] & key.isin(back)]
    left_by = ended["conflict"][ended["key"].isin(gone)]
    removed = int(left_by.eq(0).sum()) + int(left_by[left_by > 0].nunique())
    changes = replace(
        Changes.none(tables.kind.name, Tally(removed=removed, restored=len(again))),
        ended=ended["record"].to_numpy(dtype=np.int64),
        standing=pd.DataFrame({"record": again["record"].to_numpy(dtype=np.int64), "conflict": np.int64(0)}),
    )
    rest = pd.Index(key.unique()).difference(gone.union(back).union(same))
    return changes, rest.to_numpy(dtype=np.int64)


def _claims(book: Book, tables: KindTables, intake: int) -> pd.DataFrame:
    """Return every row and pointer about the things that an intake speaks of.

    Returns
    -------
    DataFrame
        key, record, conflict, filled, intake, family; ``row`` (not a pointer), ``own`` (of the intake), ``active`` (of
        another intake that was not withdrawn), ``stands``, ``latest`` (of the last intake among the active) and
        ``moment`` (when the thing was [µs since 1970], 0 for none).
    """
    occasion = tables.kind.occasion
    names = ("key", "record", "sheet", "until", "conflict", "filled", *([occasion] if occasion else []))
    rows = read_numbers(book.connection, tables.records, names)
    rows = rows.rename(columns={occasion: "moment"}) if occasion else rows.assign(moment=0)
    pointers = read_numbers(book.connection, tables.repeats, ("key", "record", "sheet"))
    claims = pd.concat([rows.assign(row=True), pointers.assign(row=False, until=1, conflict=0, filled=0, moment=0)])
    sheet = claims.pop("sheet").to_numpy()
    claims = claims.assign(intake=book.intake_of(sheet), family=book.family_of(sheet), active=book.is_active(sheet))
    claims = claims.assign(own=claims["intake"].eq(intake), stands=claims.pop("until").eq(0))
    claims = claims[claims["key"].isin(claims["key"][claims["own"]].unique())].reset_index(drop=True)
    last = claims["intake"].where(claims["active"], 0).groupby(claims["key"]).transform("max")
    return claims.assign(latest=claims["active"] & claims["intake"].eq(last))


def _plain_cases(
    claims: pd.DataFrame, intake: int, decided: Indices, *, loose: bool
) -> tuple[pd.Index, pd.Index, pd.Index]:
    """Return the keys of the things that are gone, those that are back to the version before, and those unchanged."""
    by = claims.assign(
        elsewhere=claims["stands"] & ~claims["own"],
        stands_here=claims["stands"] & claims["own"],
        said=claims["active"] & claims["stands"],
        latest_known=claims["latest"] & claims["record"].isin(claims["record"][claims["row"] & claims["active"]]),
        last=claims["intake"].where(claims["active"], 0),
        first_family=claims["family"],
        moment=claims["moment"].where(claims["moment"].ne(0), _LAST),
        last_moment=claims["moment"],
    ).groupby("key")
    told = by.agg(
        {
            "active": "sum", "elsewhere": "any", "stands_here": "any", "said": "any", "row": "sum", "latest": "sum",
            "latest_known": "sum", "last": "max", "filled": "max", "family": "max", "first_family": "min",
            "moment": "min", "last_moment": "max",
        }
    )  # fmt: skip
    gone = told["active"].eq(0) & ~told["elsewhere"]
    copy = told["row"].eq(1) & told["said"]
    one_use = ~span_years(told["moment"].to_numpy(), told["last_moment"].to_numpy())
    versions = told["family"].eq(told["first_family"]) & told["filled"].eq(0) & ~told.index.isin(decided) & (not loose)
    versions &= one_use
    overtaken = versions & told["last"].gt(intake) & ~told["stands_here"]
    before = told["last"].gt(0) & told["latest"].eq(1) & told["latest_known"].eq(1) & ~told["elsewhere"]
    back = versions & told["last"].lt(intake) & before
    return told.index[gone], told.index[back & ~gone], told.index[(copy | overtaken) & ~gone & ~back]
