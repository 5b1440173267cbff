"""What is to be said of an intake whose run and batch numbers stand on record with a date of another year?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.sources import Source
from analysis.problems import Problem, Severity
from analysis.records.occasions import are_apart, occasions

__all__ = ["told_of_years"]

Bools = npt.NDArray[np.bool_]


def told_of_years(offered: pd.DataFrame, recorded: pd.DataFrame, sources: Sequence[Source]) -> tuple[Problem, ...]:
    """Say how many of the offered runs had their year corrected, and how many have the number of another year's run.

    Parameters
    ----------
    offered : DataFrame
        The offered packaging runs: ``source``, ``source_row``, ``key``, ``moment``, ``family``, ``run``, ``batch``.
    recorded : DataFrame
        As from ``anew.runs_on_record``, before they are put on record.
    sources : sequence of Source
        What ``source`` counts through.
    """
    pairs = _moved(offered, recorded)
    others = recorded[~recorded.index.isin(pairs["then"])]
    return (*_year_corrected(offered, recorded, pairs, sources), *_numbers_again(offered, others, sources))


def _moved(offered: pd.DataFrame, recorded: pd.DataFrame) -> pd.DataFrame:
    """Return each row on record (``then``) whose date a later version of its sheet puts in another year (``now``).

    Those are the rows that ``same_rows`` takes for one.
    """
    now = offered.dropna(subset=["moment"]).rename_axis("now").reset_index()
    then = recorded.dropna(subset=["moment"]).rename_axis("then").reset_index()
    pairs = now.merge(then, on=["key", "family"], suffixes=("", "_then"))
    apart = are_apart(*(pairs[name].to_numpy(dtype="datetime64[us]") for name in ("moment_then", "moment")))
    in_place = apart & pairs["source_row"].eq(pairs["source_row_then"]).to_numpy()
    known = [pd.Series(~apart).groupby(pairs[name].to_numpy()).transform("any") for name in ("now", "then")]
    moved: pd.DataFrame = pairs.loc[in_place & ~known[0].to_numpy() & ~known[1].to_numpy(), ["now", "then"]]
    return moved.drop_duplicates("now")


def _year_corrected(
    offered: pd.DataFrame, recorded: pd.DataFrame, pairs: pd.DataFrame, sources: Sequence[Source]
) -> tuple[Problem, ...]:
    if not len(pairs):
        return ()
    row, before = offered.loc[pairs["now"].iloc[0]], recorded.loc[pairs["then"].iloc[0]]
    was = "1 run was" if len(pairs) == 1 else f"{len(pairs):,} runs were"
    return (
        _note(
            "year-corrected",
            f"{was} dated in another year by an earlier version of this sheet: run {row['run']} of batch {row['batch']}"
            f" on {_day(before['moment'])}, and now on {_day(row['moment'])}. The new date is taken for a correction.",
            "Nothing to do if it is one. If they are different runs, withdraw this intake and take the file in under"
            " another name.",
            row,
            sources,
        ),
    )


def _numbers_again(offered: pd.DataFrame, recorded: pd.DataFrame, sources: Sequence[Source]) -> tuple[Problem, ...]:
    both = pd.concat([recorded[["key", "moment"]], offered[["key", "moment"]]], ignore_index=True)
    both = both.assign(new=np.arange(len(both)) >= len(recorded), key=pd.factorize(both["key"])[0])
    both["use"] = occasions(both["key"].to_numpy(np.int64), both["moment"].to_numpy(dtype="datetime64[us]"))
    dated = both[both["moment"].notna()]
    uses = dated.groupby(["key", "use"]).agg(new=("new", "all"), first=("moment", "min"), row=("new", "idxmax"))
    since = uses.groupby(level="key")["first"].transform("min")
    later = uses[uses["new"] & (uses["first"] > since)].reset_index().sort_values("first")
    if not len(later):
        return ()
    row = offered.iloc[int(later["row"].iloc[0]) - len(recorded)]
    earlier = uses.loc[later["key"].iloc[0], "first"].min()
    had = "1 run has" if len(later) == 1 else f"{len(later):,} runs have"
    return (
        _note(
            "numbers-again",
            f"{had} the run and batch number of a run of another year: run {row['run']} of batch {row['batch']} was"
            f" packed on {_day(earlier)} and on {_day(row['moment'])}. They are taken for different runs.",
            "Nothing to do where your numbers begin again each year; else correct the year and take the file in again.",
            row,
            sources,
        ),
    )


def _note(code: str, message: str, remedy: str, row: pd.Series, sources: Sequence[Source]) -> Problem:
    source = sources[int(row["source"])]
    return Problem(
        code, message, remedy, Severity.NOTE, file=source.file, sheet=source.sheet, row=int(row["source_row"]),
        column="packed_at",
    )  # fmt: skip


def _day(moment: pd.Timestamp) -> str:
    return f"{moment.day} {moment:%B %Y}"
