"""What is known of each run: its batches, its tank, and the practices that shaped its beer?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.brewery_columns import brewery_columns
from analysis.linking.cellar import Cellar
from analysis.linking.doses import doses_of
from analysis.linking.entries import seconds_of, taken
from analysis.linking.lineage import EQUAL, ONLY, VOLUME
from analysis.linking.moves import moves_along
from analysis.linking.one_tank import in_packed_tank
from analysis.linking.practices import cellar_practices
from analysis.linking.runs import only_value
from analysis.linking.samples import Samples
from analysis.linking.work import Done, done_by_packing
from analysis.vocabulary import PRACTICES, Practice

__all__ = ["FilledRuns", "filled_runs"]

_OF_RUN = ["run", "packed_at", "packed", "format", "line", "size", "headspace", "fill_temperature"]


@dataclass(frozen=True)
class FilledRuns:
    """The runs, a row each in the order of the table of runs.

    ``table`` has ``run``, ``batch``, ``recipe``, ``style``, ``format``, ``line``, ``tank``, ``packed_at``, ``packed``
    [s], ``size``, ``headspace`` [mL], ``blended`` and every practice. ``of_samples`` has what the brewery wrote beside
    each sample, by the practice's name. ``blends`` and ``not_offered`` are as in ``PackTable``; ``unlinked`` counts
    what was not known.
    """

    table: pd.DataFrame
    practices: tuple[Practice, ...]
    of_samples: pd.DataFrame
    blends: pd.DataFrame
    unlinked: pd.DataFrame
    not_offered: pd.DataFrame


def filled_runs(
    cellar: Cellar, tanks: pd.Series, written: pd.Series, readings: pd.DataFrame, samples: Samples
) -> FilledRuns:
    """Return the runs with their practices: the vocabulary's, then the doses, then the brewery's own.

    Parameters
    ----------
    cellar : Cellar
    tanks : Series, shape (n_runs,)
        The vessel that each run was packed from.
    written : Series, shape (n_runs,)
        The same where it is written, and not only gathered from where its batch stood.
    readings : DataFrame
        The records of readings.
    samples : Samples
    """
    lineage, n = cellar.lineage, len(cellar.runs.table)
    done = _done(cellar, written)
    moves = moves_along(lineage, cellar.transfers, written, cellar.occupancy)
    work = cellar_practices(lineage, cellar.operations, done, moves, n)
    doses = doses_of(lineage, cellar.operations, cellar.links.use, done, cellar.volumes, n)
    blends = _blends(cellar)
    table = cellar.runs.table[_OF_RUN].assign(
        batch=_batch_names(cellar, blends), tank=tanks, blended=_in_several(blends, n)
    )
    for name in ("recipe", "style"):
        table[name] = _of_batches(cellar, name)
    own = brewery_columns(cellar, done, readings, samples, table["recipe"], frozenset(p.name for p in doses.practices))
    practices = (*PRACTICES.values(), *(p for p in doses.practices if p.name not in PRACTICES), *own.practices)
    return FilledRuns(
        pd.concat([table, work, doses.values, own.of_runs], axis=1),
        practices,
        own.of_samples,
        blends,
        pd.concat([doses.unknown, own.unlinked], ignore_index=True),
        own.not_offered,
    )


def _done(cellar: Cellar, tank: pd.Series) -> Done:
    """Return the operations that count for each way into a run."""
    use, seconds = cellar.links.use, seconds_of(cellar.operations["started_at"])
    done = done_by_packing(cellar.lineage, use, seconds)
    vessel = cellar.operations["vessel"]
    return in_packed_tank(done, cellar.lineage, tank, use, vessel, seconds, cellar.occupancy)


def _of_batches(cellar: Cellar, name: str) -> pd.Series:
    """Return what the runs' batches say: as packed, else as brewed; "mixed" where they differ."""
    paths = cellar.lineage.paths
    last = cellar.batches[name].iloc[paths["last"]].reset_index(drop=True)
    origin = cellar.batches[name].iloc[paths["origin"]].reset_index(drop=True)
    return only_value(paths["run"].to_numpy(np.int64), last.where(last.notna(), origin), len(cellar.runs.table))


def _batch_names(cellar: Cellar, blends: pd.DataFrame) -> pd.Series:
    """Return each run's batch; where it has several, their keys joined.

    A batch that others were blended into, and that is not wholly made of them, stands with them: ``2417 + 2418``.
    """
    members = cellar.runs.members
    named = pd.DataFrame({"run": members["run"], "batch": taken(cellar.batches["batch"], members["use"].to_numpy())})
    brewed = blends[["run_number", "batch"]].set_axis(["run", "batch"], axis=1)
    kept_own = brewed["run"].isin(brewed.merge(named)["run"])
    every = pd.concat([named, brewed[kept_own]]).drop_duplicates().sort_values(["run", "batch"])
    single = ~every["run"].duplicated(keep=False)
    only = every[single].set_index("run")["batch"]
    joined = every[~single].groupby("run")["batch"].agg(" + ".join)
    names: pd.Series = pd.concat([only, joined]).reindex(range(len(cellar.runs.table)))
    return names.astype("str")


def _in_several(blends: pd.DataFrame, n_runs: int) -> np.ndarray:
    return np.bincount(blends["run_number"], minlength=n_runs) > 1


def _blends(cellar: Cellar) -> pd.DataFrame:
    """Return the batches in each run as they were brewed, with their shares."""
    paths = cellar.lineage.paths
    shares = paths.groupby(["run", "origin"], as_index=False).agg(share=("share", "sum"), equal=("equal", "max"))
    several = shares["run"].duplicated(keep=False)
    how = np.where(~several, ONLY, np.where(shares["equal"].groupby(shares["run"]).transform("any"), EQUAL, VOLUME))
    return pd.DataFrame(
        {
            "run": taken(cellar.runs.table["run"], shares["run"].to_numpy(np.int64)),
            "batch": taken(cellar.batches["batch"], shares["origin"].to_numpy(np.int64)),
            "share": shares["share"],
            "how": how,
            "run_number": shares["run"],
        }
    )
