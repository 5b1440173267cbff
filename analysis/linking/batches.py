"""Which batches are there, each use of a number apart?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import DAY, NEVER, Flags, Ints, moments_of, seconds_of
from analysis.linking.numbers import UNDATED, Pool, UseIndex, clusters, unique_keys
from analysis.records.occasions import occasions

__all__ = ["IN_CELLAR", "LEAD", "BatchUses", "Mention", "batch_uses"]

_ONE_USE = 30 * DAY
"""Rows of one number whose brew days lie no further apart are one batch (common practice, no source)."""

_ONE_MENTION = 180 * DAY
"""Runs and transfers of one number that is not on the batch list, no further apart, are one batch; but for a number
that was packed under the same run number in two years, which began again with the runs."""

LEAD = 7 * DAY
"""A vessel is made ready, and a brew day written down, up to this long before the brew day that is on record."""

IN_CELLAR = 365 * DAY
"""No batch is taken to stand longer than this in the cellar (common practice, no source)."""


@dataclass(frozen=True)
class Mention:
    """Rows of another kind that name a batch: the number's code, whether the cell says anything, and when [s].

    ``run`` is the code of the run's number beside it, where the kind has one.
    """

    code: Ints
    given: Flags
    seconds: Ints
    run: Ints | None = None


@dataclass(frozen=True)
class BatchUses:
    """Every batch, a row each, numbered from 0.

    ``table`` has ``batch`` (the unique key), ``number``, ``code``, ``recipe``, ``style``, ``brewed_on``, ``volume``
    [hL], ``vessel``, ``original_gravity``, ``final_gravity``, ``extra``, ``listed`` and ``since`` [s]. ``mentioned``
    has, for each of the mentions handed in, the batch of each row, -1 where none is meant. ``joined`` counts rows that
    told of a batch which another row had told of; ``undated`` rows of a used-again number without a brew day.
    """

    table: pd.DataFrame
    pool: Pool
    mentioned: tuple[Ints, ...]
    joined: int
    undated: int


def batch_uses(rows: pd.DataFrame, pool: Pool, mentions: tuple[Mention, ...]) -> BatchUses:
    """Return the batches of the batch list, and those that runs and transfers name beside it.

    Rows of one number with brew days no more than 30 days apart are one batch, brewed on the first of them; where they
    tell of several brew days their volumes add up. A row without a brew day belongs to the number's only batch.
    """
    code, _ = pool.codes(rows["batch"])
    use, undated = _listed_uses(code, seconds_of(rows["brewed_on"]))
    kept = rows[use >= 0]
    listed = _gathered(kept, use[use >= 0], code[use >= 0], pool)
    index = _index(listed, len(pool.keys))
    found = [index.find(m.code, m.given, m.seconds) for m in mentions]
    others, mentioned = _unlisted(mentions, found, len(listed), pool)
    table = pd.concat([listed, others], ignore_index=True) if len(others) else listed
    table["batch"] = unique_keys(table["number"], moments_of(table["first_seen"].to_numpy(np.int64)))
    return BatchUses(table, pool, mentioned, len(kept) - len(listed), undated)


def _listed_uses(code: Ints, brewed: Ints) -> tuple[Ints, int]:
    """Return each row's use, -1 for an undated row of a number that several dated uses share."""
    dated = brewed != NEVER
    use = np.full(len(code), -1, dtype=np.int64)
    use[dated] = clusters(code[dated], brewed[dated], _ONE_USE)
    by_code = pd.DataFrame({"code": code[dated], "use": use[dated]}).drop_duplicates()
    several = by_code["code"].duplicated(keep=False)
    only = pd.Series(by_code["use"].to_numpy(), index=by_code["code"])[~several.to_numpy()]
    shared = np.isin(code, by_code.loc[several, "code"])
    loose = ~dated & ~shared
    joins = loose & np.isin(code, only.index)
    use[joins] = only.reindex(code[joins]).to_numpy()
    fresh = loose & ~joins
    use[fresh] = (use.max() if len(use) else -1) + 1 + pd.factorize(code[fresh])[0]
    return use, int((~dated & shared).sum())


def _gathered(rows: pd.DataFrame, use: Ints, code: Ints, pool: Pool) -> pd.DataFrame:
    """Return one row a use: the first thing said of each column, the first brew day, volumes of several brews added."""
    rows = rows.assign(use=use, code=code)
    order = ["use", "brewed_on", "record"]
    grouped = rows.sort_values(order, kind="stable").groupby("use")
    table = grouped.first()
    brews = rows.drop_duplicates(["use", "brewed_on"])
    table["volume"] = brews.groupby("use")["volume"].sum(min_count=1).reindex(table.index)
    table["number"] = pool.keys[table["code"]]
    table["listed"] = True
    table["first_seen"] = seconds_of(table["brewed_on"])
    table["since"] = np.where(table["first_seen"] == NEVER, 0, table["first_seen"] - LEAD)
    return table.reset_index(drop=True)


def _index(table: pd.DataFrame, n_codes: int) -> UseIndex:
    since = table["since"].to_numpy(np.int64)
    until = np.where(since == 0, np.iinfo(np.int64).max, since + LEAD + IN_CELLAR)
    return UseIndex.of(table["code"].to_numpy(np.int64), since, until, n_codes)


def _unlisted(
    mentions: tuple[Mention, ...], found: list[tuple[Ints, Ints]], first: int, pool: Pool
) -> tuple[pd.DataFrame, tuple[Ints, ...]]:
    """Return the batches that no listed use accounts for, and every mention's batch."""
    code = np.concatenate([m.code for m in mentions])
    seconds = np.concatenate([m.seconds for m in mentions])
    use = np.concatenate([f[0] for f in found])
    ended = np.concatenate([f[1] for f in found])
    strange = (code >= 0) & (use < 0) & (ended != UNDATED)
    label = _mentioned_uses(code[strange], seconds[strange], _begun_again(mentions))
    use[strange] = first + label
    frame = pd.DataFrame({"use": label, "code": code[strange], "seconds": seconds[strange]})
    table = frame.sort_values(["use", "seconds"], kind="stable").groupby("use").first()
    others = pd.DataFrame(
        {
            "number": pool.keys[table["code"]],
            "code": table["code"].to_numpy(np.int64),
            "listed": False,
            "first_seen": table["seconds"].to_numpy(np.int64),
            "since": np.maximum(table["seconds"].to_numpy(np.int64) - IN_CELLAR, 0),
        }
    )
    parts = np.cumsum([len(m.code) for m in mentions])[:-1]
    return others, tuple(np.split(use, parts))


def _begun_again(mentions: tuple[Mention, ...]) -> Ints:
    """Return the codes of the numbers that were packed under one run number in two years."""
    codes = [np.empty(0, dtype=np.int64)]
    for mention in mentions:
        if mention.run is None:
            continue
        rows = np.flatnonzero((mention.code >= 0) & (mention.run >= 0) & (mention.seconds != NEVER))
        pair = pd.factorize(mention.code[rows] * (int(mention.run.max(initial=0)) + 1) + mention.run[rows])[0]
        use = occasions(pair.astype(np.int64), mention.seconds[rows].astype("datetime64[s]"))
        told = pd.DataFrame({"pair": pair, "use": use, "code": mention.code[rows]}).drop_duplicates()
        codes.append(told.loc[told["pair"].duplicated(), "code"].to_numpy(np.int64))
    return np.unique(np.concatenate(codes))


def _mentioned_uses(code: Ints, seconds: Ints, again: Ints) -> Ints:
    """Return each mention's use; one without a date belongs to the last dated use of its number."""
    dated = seconds != NEVER
    label = np.full(len(code), -1, dtype=np.int64)
    label[dated] = clusters(code[dated], seconds[dated], _ONE_MENTION)
    begun = dated & np.isin(code, again)
    label[begun] = label.max(initial=-1) + 1 + occasions(code[begun], seconds[begun].astype("datetime64[s]"))
    last = pd.Series(label[dated], index=code[dated]).groupby(level=0).max()
    label[~dated] = last.reindex(code[~dated]).fillna(-1).to_numpy(np.int64)
    fresh = label < 0
    label[fresh] = label.max(initial=-1) + 1 + pd.factorize(code[fresh])[0]
    return np.unique(label, return_inverse=True)[1].astype(np.int64)
