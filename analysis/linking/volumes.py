"""How much beer was a batch at a given moment?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import NEVER, Flags, Floats, Ints, end_of_moment
from analysis.linking.numbers import UseIndex
from analysis.linking.occupancy import Occupancy

__all__ = ["Volumes", "volumes_of"]


@dataclass(frozen=True)
class Volumes:
    """Each batch's volume from each change on: an index over the changes and the volume after each [hL].

    ``parts`` is the volume that transfers brought to each stay of ``occupancy`` [hL], missing where one had none.
    """

    index: UseIndex
    after: Floats
    occupancy: Occupancy
    parts: Floats

    def at(self, use: Ints, seconds: Ints) -> Floats:
        """Return the volume of each batch at each moment [hL], missing where it is not known."""
        change, _ = self.index.find(use, use >= 0, np.where(seconds == NEVER, np.iinfo(np.int32).max, seconds))
        volume = np.where(change >= 0, self.after[np.maximum(change, 0)] if len(self.after) else np.nan, np.nan)
        return np.where(volume > 0, volume, np.nan)

    def in_vessel(self, use: Ints, vessel: pd.Series, seconds: Ints) -> Floats:
        """Return the volume of each batch, or of its part in that vessel while it stood in several [hL]."""
        whole = self.at(use, seconds)
        code, _ = self.occupancy.pool.codes(vessel)
        stay = self.occupancy.of_batch(use, code)
        part = np.append(self.parts, np.nan)[stay]
        return np.where(self.occupancy.in_several(use, seconds) & (part > 0), part, whole)


def volumes_of(batches: pd.DataFrame, transfers: pd.DataFrame, own: Flags, occupancy: Occupancy) -> Volumes:
    """Return the volumes of all batches.

    A batch begins with its volume on the batch list; a batch made wholly of others begins with it or, where the list
    has none, with nothing. A move of the batch itself sets its volume to what arrived, moves out of one vessel added;
    beer that leaves for another batch is taken off, beer that comes in added. Where such a move has no volume, the
    volume is not known until a move sets it again. A move without a date changes nothing.

    Parameters
    ----------
    batches : DataFrame
        ``volume`` [hL], ``listed``; a row a batch.
    transfers : DataFrame
        ``source``, ``target`` (batches), ``from_vessel``, ``moved`` [s], ``volume`` [hL].
    own : ndarray, shape (n_batches,)
        Whether the batch has beer of its own, brewed and not only received.
    occupancy : Occupancy
    """
    listed_volume = batches["volume"].to_numpy(np.float64)
    filled = ~own & np.isnan(listed_volume)
    start = pd.DataFrame({"use": np.arange(len(batches)), "at": 0, "volume": np.where(filled, 0.0, listed_volume)})
    # What a batch made of others receives is in its listed volume already.
    receives = own | filled
    moves = _moves(transfers, receives)
    events = pd.concat([start.assign(sets=True), *moves], ignore_index=True)
    order = np.lexsort((~events["sets"].to_numpy(bool), events["at"], events["use"]))
    events = events.iloc[order].reset_index(drop=True)
    after = _running(events)
    use, at = events["use"].to_numpy(np.int64), events["at"].to_numpy(np.int64)
    index = UseIndex.of(use, at, np.full(len(use), np.iinfo(np.int64).max), len(batches))
    return Volumes(index, after, occupancy, _parts(transfers, occupancy))


def _parts(transfers: pd.DataFrame, occupancy: Occupancy) -> Floats:
    code, _ = occupancy.pool.codes(transfers["to_vessel"])
    stay = occupancy.of_batch(transfers["target"].to_numpy(np.int64), code)
    brought, volume = stay >= 0, transfers["volume"].to_numpy(np.float64)
    return np.bincount(stay[brought], weights=volume[brought], minlength=len(occupancy.stays)).astype(np.float64)


def _moves(transfers: pd.DataFrame, receives: Flags) -> list[pd.DataFrame]:
    dated = transfers[transfers["moved"] != NEVER]
    itself = dated["source"] == dated["target"]
    inside = dated[itself & (dated["target"] >= 0) & dated["volume"].notna()]
    # Moves out of one vessel are parts of one move, however many tanks the batch went to.
    out_of = inside["from_vessel"].where(inside["from_vessel"].notna(), inside["moved"].astype("str"))
    sets = inside.groupby([inside["target"], out_of], as_index=False).agg(
        target=("target", "first"), moved=("moved", "max"), volume=("volume", "sum")
    )
    between = dated[~itself]
    leaving = between[between["source"] >= 0]
    coming = between[(between["target"] >= 0) & receives[np.maximum(between["target"], 0)]]
    last = end_of_moment(leaving["moved"].to_numpy(np.int64))
    return [
        pd.DataFrame({"use": sets["target"], "at": sets["moved"], "volume": sets["volume"], "sets": True}),
        pd.DataFrame({"use": leaving["source"], "at": last, "volume": -leaving["volume"], "sets": False}),
        pd.DataFrame({"use": coming["target"], "at": coming["moved"], "volume": coming["volume"], "sets": False}),
    ]


def _running(events: pd.DataFrame) -> Floats:
    """Return the volume after each event: the last one set and what came and went since."""
    stretch = events["sets"].cumsum()
    known = events["volume"].notna()
    total = events["volume"].fillna(0.0).groupby(stretch).cumsum()
    gaps = (~known).groupby(stretch).cumsum()
    return total.where(gaps == 0).to_numpy(np.float64)
