"""What had been done to the beer, as it stood when the pack was closed?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis import vocabulary
from analysis.linking.entries import DAY, NEVER, Flags, Floats, Ints, seconds_of
from analysis.linking.lineage import Lineage
from analysis.linking.work import Done, PathWork, blended

__all__ = ["cellar_practices", "ended_at", "has_log", "minutes_of"]

_HOUR = 3_600


def ended_at(operations: pd.DataFrame) -> Ints:
    """Return when each operation ended [s]: as written, else its start and its minutes, else its start."""
    start, end = seconds_of(operations["started_at"]), seconds_of(operations["ended_at"])
    length = operations["minutes"].fillna(0).to_numpy(np.float64)
    guess = start + np.where(start == NEVER, 0, 60 * length).astype(np.int64)
    return np.where(end != NEVER, end, guess)


def minutes_of(operations: pd.DataFrame) -> Floats:
    """Return how long each operation took [min]: as written, else from its start and end; missing where neither is."""
    start, end = seconds_of(operations["started_at"]), seconds_of(operations["ended_at"])
    between = np.where((start != NEVER) & (end != NEVER) & (end >= start), (end - start) / 60, np.nan)
    written = operations["minutes"].to_numpy(np.float64)
    return np.where(np.isnan(written), between, written)


def has_log(lineage: Lineage, done: Done) -> Flags:
    """Return whether any cellar operation is on record along each way."""
    return np.bincount(done.path, minlength=len(lineage.paths)) > 0


def cellar_practices(
    lineage: Lineage, operations: pd.DataFrame, done: Done, moves: Floats, n_runs: int
) -> pd.DataFrame:
    """Return each run's cellar practices, a row a run.

    A way without any operation on record has no cellar log: all is missing. With a log, what was not recorded was not
    done: 0; a time since something that was not done is missing, and in a blend that of the beer to which it was done.
    What was done on the day of packing counts where either moment has no clock time, and else if it began by then. The
    hours cold and the days on hops count from the first chill and the first hops. Transfers are counted in the transfer
    records or in the cellar log, whichever has more.

    Parameters
    ----------
    lineage : Lineage
    operations : DataFrame
        The operations' records.
    done : Done
        Their rows that count, as from ``done_by_packing``.
    moves : ndarray, shape (n_paths,)
        How many transfers are on record along each way.
    n_runs : int
    """
    way = PathWork(len(lineage.paths))
    packed = lineage.paths["packed"].to_numpy(np.float64)
    begin = seconds_of(operations["started_at"]).astype(np.float64)
    end = ended_at(operations).astype(np.float64)
    of = {name: done.where((operations["operation"] == name).to_numpy(bool)) for name in vocabulary.OPERATIONS}

    def since(name: str, unit: int) -> Floats:
        return np.maximum(packed - way.last(of[name], end), 0.0) / unit

    def upto_packing(name: str, unit: int) -> Floats:
        return np.maximum(packed - way.first(of[name], begin), 0.0) / unit

    values = {
        "rouse_minutes": way.total(of["rouse"], minutes_of(operations)),
        "rouse_count": way.count(of["rouse"]),
        "hours_since_rouse": since("rouse", _HOUR),
        "finings_count": way.count(of["finings"]),
        "hours_since_finings": since("finings", _HOUR),
        "cone_dumps": way.count(of["dump"]),
        "days_since_dump": since("dump", DAY),
        "dry_hop_days": upto_packing("dry_hop", DAY),
        "cold_hours": upto_packing("chill", _HOUR),
    }
    log = has_log(lineage, done)
    values = {name: np.where(log, value, np.nan) for name, value in values.items()}
    values["transfers"] = np.where(log | (moves > 0), np.maximum(moves, way.count(of["transfer"])), np.nan)
    return pd.DataFrame({name: blended(lineage, value, _blend(name), n_runs) for name, value in values.items()})


def _blend(name: str) -> str:
    since = "_since_" in name
    return "mean where done" if since else vocabulary.practice(name).blend
