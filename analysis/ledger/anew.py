"""Is this sheet a later version of one on record, or one of the same name that was begun anew in another year?

Many breweries clear their packing sheet each January and go on under the same file name, with runs and batches counted
from 1 again. Such a sheet corrects nothing of last year's. It is told by its packaging runs: where at least as many of
them have the number of a run of another year as are on record already, the sheet was begun anew, and it and its later
versions are a family of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from analysis.ledger.book import Book
from analysis.ledger.reading import read_numbers
from analysis.ledger.sources import Source
from analysis.ledger.tables import KIND_TABLES
from analysis.records.occasions import are_apart

__all__ = ["RUNS", "anew_name", "begins_anew", "runs_on_record", "told_anew"]

RUNS = "pack_runs"
_MARK = "//"  # no name of a sheet in a workbook can hold a stroke


def anew_name(family: str, number: int) -> str:
    """Return the name of a family that was begun anew for the ``number``-th time; 1 is the family itself."""
    return family if number == 1 else f"{family}{_MARK}{number}"


def _begun(family: str, known: Iterable[str]) -> set[int]:
    """Return the numbers under which a family is on record."""
    tails = [name.removeprefix(f"{family}{_MARK}") for name in known if name.startswith(f"{family}{_MARK}")]
    return {*({1} if family in known else set()), *(int(tail) for tail in tails if tail.isdecimal())}


def begins_anew(before: pd.DataFrame, now: pd.DataFrame) -> bool | None:
    """Return whether a sheet's runs are those of another year than the runs of sheets on record under its name.

    None where no number stands in both. A date that differs in nothing but its year may be a slip that was corrected,
    and speaks for a version.

    Parameters
    ----------
    before, now : DataFrame
        ``sheet`` (what tells the sheets of a file apart), ``key`` (of the run and batch), ``moment`` (datetime64[us]).
    """
    pairs = now.dropna().reset_index().merge(before.dropna(), on=["sheet", "key"], suffixes=("", "_before"))
    if not len(pairs):
        return None
    own, other = (pairs[name].to_numpy(dtype="datetime64[us]") for name in ("moment", "moment_before"))
    day, other_day = (pairs[name].dt.strftime("%m-%d") for name in ("moment", "moment_before"))
    same = ~are_apart(other, own) | day.eq(other_day).to_numpy()
    a_version = pd.Series(same).groupby(pairs["index"].to_numpy()).any()
    strange = int((~a_version).sum())
    return strange > 0 and strange >= int(a_version.sum())


def runs_on_record(book: Book) -> pd.DataFrame:
    """Return the packaging runs of intakes that were not withdrawn.

    Returns
    -------
    DataFrame
        ``key`` (of the run and batch), ``moment``, ``family`` (its number) and ``source_row``.
    """
    rows = read_numbers(book.connection, KIND_TABLES[RUNS].records, ("key", "sheet", "packed_at", "source_row"))
    sheet = rows["sheet"].to_numpy()
    rows = rows.assign(moment=_moments(rows["packed_at"]), family=book.family_of(sheet))
    return rows.loc[book.is_active(sheet), ["key", "moment", "family", "source_row"]].reset_index(drop=True)


def _moments(micros: pd.Series) -> pd.Series:
    return micros.astype("datetime64[us]").where(micros.ne(0))


def told_anew(
    book: Book, sources: Sequence[Source], offered: pd.DataFrame, recorded: pd.DataFrame, known: Mapping[str, int]
) -> tuple[Source, ...]:
    """Return the sources, those of a file that was begun anew with a family of their own.

    Parameters
    ----------
    book : Book
    sources : sequence of Source
        Every sheet of the intake.
    offered : DataFrame
        The offered packaging runs: ``source`` (their place among ``sources``), ``key``, ``moment``.
    recorded : DataFrame
        As from ``runs_on_record``.
    known : mapping of str to int
        The files on record, by their hash.
    """
    names = pd.Series(book.family_names, dtype="object")
    told = list(sources)
    for file in dict.fromkeys((source.file, source.sha256) for source in sources):
        places = [place for place, source in enumerate(sources) if (source.file, source.sha256) == file]
        begun = set().union(*(_begun(sources[place].family, book.family_names) for place in places))
        if not begun:
            continue
        now = offered[offered["source"].isin(places)].rename(columns={"source": "sheet"})
        number = max(begun)
        if len(now):
            may_begin = file[1] not in known and not sources[places[0]].partial
            number = _number(now, recorded, names, {p: sources[p].family for p in places}, begun, may_begin=may_begin)
        for place in places:
            told[place] = replace(sources[place], family=anew_name(sources[place].family, number))
    return tuple(told)


def _number(
    now: pd.DataFrame,
    recorded: pd.DataFrame,
    names: pd.Series,
    families: Mapping[int, str],
    begun: set[int],
    *,
    may_begin: bool,
) -> int:
    """Return the number of the family, of those begun under one name or a new one, that a file's sheets belong to."""
    strange = False
    for number in sorted(begun, reverse=True):
        place = {anew_name(family, number): sheet for sheet, family in families.items()}
        before = recorded.assign(sheet=names.map(place).reindex(recorded["family"]).to_numpy())
        anew = begins_anew(before[["sheet", "key", "moment"]], now)
        if anew is False:
            return number
        strange |= anew is True
    return max(begun) + 1 if strange and may_begin else max(begun)
