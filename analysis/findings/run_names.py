"""Which runs did a person name, now that their numbers have been used again?

A run is called by its number for as long as no other run has it, and by its number and year from then on: what was
decided about run 7 stays with the run 7 of then, and is never passed on to next year's.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import pandas as pd

from analysis.linking.numbers import number_and_date

__all__ = ["names_today"]


def names_today(
    named: Iterable[str], runs: pd.Series, at: pd.Series, *, since: date | None = None, by: date | None = None
) -> dict[str, str]:
    """Return what runs (or batches) that a person named are called today; one that is not among them keeps its name.

    Parameters
    ----------
    named : iterable of str
        The names that the person used.
    runs : Series of str, shape (n,)
        Today's names.
    at : Series of datetime64, shape (n,)
        When each was packed.
    since : date, optional
        The first of the runs that were named was packed then: of several uses of a number the first from then on is
        meant.
    by : date, optional
        The person named them then: of several uses of a number the last by then is meant.
    """
    runs, known, found = runs.fillna("").astype("str"), set(runs.dropna()), {}
    for name in named:
        found[name] = name if name in known else _renamed(name, runs, at, since, by)
    return found


def _renamed(name: str, runs: pd.Series, at: pd.Series, since: date | None, by: date | None) -> str:
    number, then = number_and_date(name)
    of_number = pd.Series([number_and_date(run)[0] == number for run in runs], index=runs.index)
    if not of_number.any():
        return name
    uses = pd.DataFrame({"run": runs[of_number], "day": at[of_number].dt.strftime("%Y-%m-%d")}).dropna()
    uses = uses[uses["day"].str.startswith(then)].sort_values("day", kind="stable")
    if since is not None:
        uses = uses[uses["day"] >= since.isoformat()[:10]]
    if by is not None:
        uses = uses[uses["day"] <= by.isoformat()[:10]]
    if not len(uses):
        return name
    return str(uses["run"].iloc[0 if since is not None else -1])
