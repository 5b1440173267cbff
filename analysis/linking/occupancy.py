"""Which batch stood in which vessel, and when?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.batches import IN_CELLAR
from analysis.linking.entries import DAY, NEVER, Flags, Ints, moments_of
from analysis.linking.numbers import Pool, UseIndex

__all__ = ["Occupancy", "day_words", "occupancy_of"]

_FAR = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Occupancy:
    """Every stay of a batch in a vessel, a row each, numbered from 0.

    ``stays``, in the order of ``use`` (a batch) and ``vessel`` (a code of ``pool``), has ``since`` and ``until`` [s],
    ``left`` [s], when a transfer took the last of it out (``NEVER`` where none did), and ``open``, whether its end is
    only a guess; ``index`` finds a stay by vessel and moment. ``names`` has each vessel by its code, ``numbers`` each
    batch's number.
    """

    stays: pd.DataFrame
    pool: Pool
    index: UseIndex
    names: pd.Series
    numbers: pd.Series

    def find(self, vessel: pd.Series, seconds: Ints) -> Ints:
        """Return the stay that each vessel and moment mean, -1 where the vessel was empty or unknown."""
        code, given = self.pool.codes(vessel)
        stay, _ = self.index.find(code, given & (seconds != NEVER), seconds)
        return np.where(seconds == NEVER, -1, stay)

    def of_batch(self, use: Ints, vessel: Ints) -> Ints:
        """Return the stay of each batch in each vessel (a code of ``pool``), -1 where it never stood there."""
        wide = len(self.pool.keys) + 1
        keys = self.stays["use"].to_numpy(np.int64) * wide + self.stays["vessel"].to_numpy(np.int64)
        wanted = np.where((use >= 0) & (vessel >= 0), use * wide + vessel, -1)
        place = np.searchsorted(keys, wanted)
        inside = place < len(keys)
        found = np.zeros(len(use), dtype=bool)
        found[inside] = keys[place[inside]] == wanted[inside]
        return np.where(found, place, -1)

    def in_several(self, use: Ints, seconds: Ints) -> Flags:
        """Return whether each batch stood in more than one vessel at each moment."""
        stays = self.stays[self.stays["use"].duplicated(keep=False)]
        rows = np.flatnonzero(np.isin(use, stays["use"]))
        asked = pd.DataFrame({"use": use[rows], "at": seconds[rows], "row": rows})
        left = stays["left"].where(stays["left"] != NEVER, _FAR)
        of_batch = asked.merge(stays[["use", "since"]].assign(left=left), on="use")
        there = of_batch[(of_batch["since"] <= of_batch["at"]) & (of_batch["left"] > of_batch["at"])]
        return np.bincount(there["row"], minlength=len(use)) > 1

    def words(self, stay: Ints) -> list[str]:
        """Return what a brewer would say of each stay: ``by tank FV3 and time: 2417 stood there from 3 to 19 May``."""
        different, place = np.unique(stay, return_inverse=True)
        stays = self.stays.iloc[different]
        since = moments_of(stays["since"].to_numpy(np.int64))
        until = moments_of(stays["until"].to_numpy(np.int64))
        vessel, number = self.names.reindex(stays["vessel"]), self.numbers.iloc[stays["use"]]
        parts = zip(vessel, number, since, until, stays["open"], strict=True)
        said = [f"by tank {v} and time: {n} stood there {_span(a, b, still)}" for v, n, a, b, still in parts]
        return [said[i] for i in place.tolist()]


def occupancy_of(batches: pd.DataFrame, transfers: pd.DataFrame, last_packed: Ints) -> Occupancy:
    """Return the stays.

    A batch stands in the vessel of the batch list from its brew day, and in a transfer's vessel from the transfer; one
    that a transfer took it out of and none had brought it into was its first. It leaves with the last transfer out of
    the vessel, or when it was last packed, and at the latest after a year.

    Parameters
    ----------
    batches : DataFrame
        ``vessel``, ``number``, ``first_seen`` [s]; a row a batch.
    transfers : DataFrame
        ``source``, ``target`` (batches), ``moved`` [s], ``from_vessel``, ``to_vessel``.
    last_packed : ndarray, shape (n_batches,)
        When each batch was last packed [s], ``NEVER`` where it was not.
    """
    pool = Pool.of_vessels(batches["vessel"], transfers["from_vessel"], transfers["to_vessel"])
    names = _names(pool, batches["vessel"], transfers["from_vessel"], transfers["to_vessel"])
    came = _arrivals(batches, transfers, pool)
    left = _departures(transfers, came, pool)
    stays = came.merge(left, on=["use", "vessel"], how="left")
    use, since = stays["use"].to_numpy(np.int64), stays["since"].to_numpy(np.int64)
    out = stays["left"].fillna(NEVER).to_numpy(np.int64)
    packed = last_packed[use]
    until = np.where(out >= since, out, np.where(packed >= since, packed, since + IN_CELLAR))
    stays["open"] = (out < since) & (packed < since)
    # A departure written without a clock time leaves the vessel at the end of that day.
    stays["until"] = np.where(until % DAY == 0, until + DAY - 1, until)
    stays["left"] = np.where(out >= since, out, NEVER)
    index = UseIndex.of(stays["vessel"].to_numpy(np.int64), since, stays["until"].to_numpy(np.int64), len(pool.keys))
    return Occupancy(stays, pool, index, names, batches["number"])


def _names(pool: Pool, *columns: pd.Series) -> pd.Series:
    """Return each vessel's name as it was first written."""
    written = pd.concat(columns, ignore_index=True)
    code, given = pool.codes(written)
    return pd.Series(written[given].to_numpy(), index=code[given]).groupby(level=0).min()


def _arrivals(batches: pd.DataFrame, transfers: pd.DataFrame, pool: Pool) -> pd.DataFrame:
    brewed = pd.DataFrame({"use": np.arange(len(batches)), "since": batches["first_seen"]})
    brewed["vessel"] = pool.codes(batches["vessel"])[0]
    moved = pd.DataFrame({"use": transfers["target"], "since": transfers["moved"]})
    moved["vessel"] = pool.codes(transfers["to_vessel"])[0]
    before = pd.DataFrame({"use": transfers["source"], "vessel": pool.codes(transfers["from_vessel"])[0]})
    before["since"] = np.where(before["use"] >= 0, batches["first_seen"].to_numpy(np.int64)[before["use"]], NEVER)
    came = _known(pd.concat([brewed, moved], ignore_index=True))
    told = pd.MultiIndex.from_frame(came[["use", "vessel"]])
    unseen = ~pd.MultiIndex.from_frame(before[["use", "vessel"]]).isin(told)
    came = _known(pd.concat([came, before[unseen]], ignore_index=True))
    return came.groupby(["use", "vessel"], as_index=False).agg(since=("since", "min"))


def _known(came: pd.DataFrame) -> pd.DataFrame:
    return came[(came["use"] >= 0) & (came["since"] != NEVER) & (came["vessel"] >= 0)]


def _departures(transfers: pd.DataFrame, came: pd.DataFrame, pool: Pool) -> pd.DataFrame:
    """Return when each batch last left each vessel; a transfer that names no vessel left the one the batch was in."""
    gone = transfers[(transfers["source"] >= 0) & (transfers["moved"] != NEVER)]
    vessel, _ = pool.codes(gone["from_vessel"])
    use, at = gone["source"].to_numpy(np.int64), gone["moved"].to_numpy(np.int64)
    into = np.where(gone["target"] == gone["source"], pool.codes(gone["to_vessel"])[0], -1)
    stood = UseIndex.of(
        came["use"].to_numpy(np.int64),
        came["since"].to_numpy(np.int64),
        np.full(len(came), _FAR),
        int(use.max(initial=0)) + 1,
    )
    place, _ = stood.find(use, use >= 0, np.maximum(at - 1, 0))
    before = np.where(place >= 0, came["vessel"].to_numpy(np.int64)[np.maximum(place, 0)] if len(came) else -1, -1)
    vessel = np.where(vessel >= 0, vessel, before)
    away = pd.DataFrame({"use": use, "vessel": vessel, "left": at})[(vessel >= 0) & (vessel != into)]
    last: pd.DataFrame = away.groupby(["use", "vessel"], as_index=False).agg(left=("left", "max"))
    return last


def _span(since: pd.Timestamp, until: pd.Timestamp, still: bool) -> str:
    if still:
        return f"from {day_words(since)}"
    if since.year != until.year:
        return f"from {day_words(since)} to {day_words(until)}"
    if since.month != until.month:
        return f"from {since.day} {since:%b} to {day_words(until)}"
    return f"from {since.day} to {day_words(until)}"


def day_words(moment: pd.Timestamp) -> str:
    """Return a day as a brewer writes it: ``3 May 2026``."""
    return f"{moment.day} {moment:%b %Y}"
