"""Which batches are in a pack, by which share, and until when did each one's cellar work count?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import DAY, NEVER, Flags, Floats, Ints, end_of_moment

__all__ = ["EQUAL", "ONLY", "VOLUME", "Lineage", "has_own_beer", "inflows_of", "lineage_of"]

ONLY = "the only batch"
VOLUME = "shares by volume"
EQUAL = "equal shares, since not every volume is on record"

_DEEPEST = 8
"""Beer is followed back through this many batches; what is older counts as brewed there."""

_OWN = -1


@dataclass(frozen=True)
class Lineage:
    """The ways by which beer came into each run.

    ``paths``, a row a way and numbered from 0: ``run``, ``last`` (the batch that was packed), ``origin`` (the batch it
    was brewed as), ``share`` of the run, ``packed`` [s], ``equal`` (a share is only a guess). ``segments``: ``path``,
    ``use`` (a batch), ``since``, ``until`` [s], both inclusive: while the beer was that batch. A run's shares add to 1.
    """

    paths: pd.DataFrame
    segments: pd.DataFrame


def inflows_of(transfers: pd.DataFrame) -> pd.DataFrame:
    """Return the transfers that brought beer of one batch into another: ``source``, ``target``, ``moved``, ``volume``.

    One without a date counts from the beginning.
    """
    between = transfers[
        (transfers["source"] >= 0) & (transfers["target"] >= 0) & (transfers["source"] != transfers["target"])
    ]
    moved = between["moved"].where(between["moved"] != NEVER, 0)
    return between[["source", "target", "volume"]].assign(moved=moved).reset_index(drop=True)


def has_own_beer(batches: pd.DataFrame, inflows: pd.DataFrame, first_work: Ints) -> Flags:
    """Return whether each batch was brewed, and not only received from others.

    A batch that received nothing was brewed. One that did was brewed too if it is listed with a brew day before the
    first beer came in, unless it looks like a part split off: it shares its brew day with a batch it came from, what
    came in is nine tenths of its volume or more (or its volume is not listed), and no cellar work is on record before.

    Parameters
    ----------
    batches : DataFrame
        ``listed``, ``first_seen`` [s], ``volume`` [hL]; a row a batch.
    inflows : DataFrame
        As from ``inflows_of``.
    first_work : ndarray, shape (n_batches,)
        The first cellar operation of each batch [s]; a very large number where there is none.
    """
    n = len(batches)
    brewed = batches["first_seen"].to_numpy(np.int64)
    came = np.full(n, np.iinfo(np.int64).max)
    np.minimum.at(came, inflows["target"], inflows["moved"])
    received = np.bincount(inflows["target"], weights=inflows["volume"].fillna(0.0), minlength=n)
    same_day = brewed[inflows["source"]] == brewed[inflows["target"]]
    twin = np.bincount(inflows["target"], weights=same_day, minlength=n) > 0
    volume = batches["volume"].to_numpy(np.float64)
    filled = np.isnan(volume) | (received >= 0.9 * volume)
    brewed_before = batches["listed"].to_numpy(bool) & (brewed != NEVER) & (brewed + DAY <= came)
    split_off = twin & filled & (first_work >= came)
    received_any = came < np.iinfo(np.int64).max
    return np.asarray(~received_any | (brewed_before & ~split_off), dtype=np.bool_)


def lineage_of(members: pd.DataFrame, inflows: pd.DataFrame, own: Flags, volume: Floats) -> Lineage:
    """Return the ways by which beer came into each run.

    Parameters
    ----------
    members : DataFrame
        ``run``, ``use``, ``packed`` [s], ``share``, ``equal``: the batches that each run was filled from.
    inflows, own
        As from ``inflows_of`` and ``has_own_beer``.
    volume : ndarray, shape (n_batches,)
        Each batch's own volume when the first beer came in [hL].

    Notes
    -----
    A batch is made of its own beer and of all that came into it by then, by volume; where one of those volumes is
    missing, all count the same. Beer that left before the last came in changes no share here.
    """
    sources = _sources(inflows, own, volume)
    state = members.rename(columns={"use": "last"}).reset_index(drop=True)
    state = state.assign(use=state["last"], until=end_of_moment(state["packed"].to_numpy(np.int64)))
    segments = _empty_segments()
    done_paths: list[pd.DataFrame] = []
    done_segments: list[pd.DataFrame] = []
    for depth in range(_DEEPEST + 1):
        state = state.assign(path=np.arange(len(state)))
        open_ways = _expanded(state, sources) if depth < _DEEPEST else _unexpanded(state)
        finished, state, segments = _step(open_ways, segments)
        done_paths.append(finished[0])
        done_segments.append(finished[1])
        if state.empty:
            break
    return _numbered(done_paths, done_segments)


def _sources(inflows: pd.DataFrame, own: Flags, volume: Floats) -> pd.DataFrame:
    """Return what each receiving batch is made of: ``use``, ``source`` (-1 its own beer), ``moved`` [s], ``weight``."""
    received = inflows.rename(columns={"target": "use", "volume": "weight"})
    brewed = np.unique(received["use"].to_numpy(np.int64))
    brewed = brewed[own[brewed]]
    itself = pd.DataFrame({"use": brewed, "source": _OWN, "moved": 0, "weight": volume[brewed]})
    sources = pd.concat([received, itself], ignore_index=True)
    vague = (~(sources["weight"] > 0)).groupby(sources["use"]).transform("any")
    sources["equal"] = vague & (sources.groupby("use")["use"].transform("size") > 1)
    sources["weight"] = sources["weight"].where(~vague, 1.0)
    return sources.sort_values(["use", "moved", "source"], kind="stable")


def _unexpanded(state: pd.DataFrame) -> pd.DataFrame:
    return state.assign(source=_OWN, moved=0, old=state["path"])


def _expanded(state: pd.DataFrame, sources: pd.DataFrame) -> pd.DataFrame:
    """Return a row for each source of each way's batch, the way itself where it has none."""
    receiving = state["use"].isin(sources["use"])
    wide = state[receiving].merge(sources, on="use", suffixes=("", "_source"))
    wide = wide[wide["moved"] <= wide["until"]]
    wide["share"] *= wide["weight"] / wide.groupby("path")["weight"].transform("sum")
    wide["equal"] |= wide["equal_source"]
    plain = state[~state["path"].isin(wide["path"])]
    return pd.concat([_unexpanded(plain), wide.assign(old=wide["path"])], ignore_index=True)


def _step(
    ways: pd.DataFrame, segments: pd.DataFrame
) -> tuple[tuple[pd.DataFrame, pd.DataFrame], pd.DataFrame, pd.DataFrame]:
    """Return the ways that end here with their segments, those that go on, and the segments of those."""
    ways = ways.assign(path=np.arange(len(ways)))
    grown = ways[["path", "old"]].merge(segments.rename(columns={"path": "old"}), on="old")
    here = ways[["path", "use", "until"]].assign(since=ways["moved"])
    grown = pd.concat([grown[list(segments.columns)], here[list(segments.columns)]], ignore_index=True)
    ends = ways["source"] == _OWN
    finished = ways[ends]
    ended = grown["path"].isin(finished["path"])
    onward = ways[~ends].reset_index(drop=True)
    renumber = pd.Series(np.arange(len(onward)), index=onward["path"])
    carried = grown[~ended]
    carried = carried.assign(path=renumber.reindex(carried["path"]).to_numpy(np.int64))
    onward["use"] = onward["source"]
    left = end_of_moment(onward["moved"].to_numpy(np.int64))
    # Beer that left at an unknown moment had left by the time that ends the batch it went into.
    onward["until"] = np.where(onward["moved"] == 0, onward["until"], left)
    columns = ["run", "last", "share", "equal", "packed", "use", "until"]
    return (finished, grown[ended]), onward[columns], carried


def _empty_segments() -> pd.DataFrame:
    return pd.DataFrame({name: np.empty(0, dtype=np.int64) for name in ("path", "use", "since", "until")})


def _numbered(paths: list[pd.DataFrame], segments: list[pd.DataFrame]) -> Lineage:
    """Return all finished ways with one numbering."""
    first = 0
    kept_paths, kept_segments = [], []
    for ways, parts in zip(paths, segments, strict=True):
        number = pd.Series(np.arange(first, first + len(ways)), index=ways["path"], dtype=np.int64)
        kept_paths.append(ways.rename(columns={"use": "origin"}))
        kept_segments.append(parts.assign(path=number.reindex(parts["path"]).to_numpy(np.int64)))
        first += len(ways)
    columns = ["run", "last", "origin", "share", "equal", "packed"]
    table = pd.concat(kept_paths, ignore_index=True)[columns]
    return Lineage(table, pd.concat(kept_segments, ignore_index=True))
