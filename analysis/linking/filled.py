"""What is known of each run: its batches, its tank, and the practices that shaped its beer?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.cellar import Cellar
from analysis.linking.doses import doses_of
from analysis.linking.entries import end_of_moment, seconds_of
from analysis.linking.lineage import EQUAL, ONLY, VOLUME
from analysis.linking.practices import cellar_practices
from analysis.linking.runs import only_value
from analysis.linking.whereabouts import Whereabouts
from analysis.linking.work import done_by_packing
from analysis.vocabulary import PRACTICES, Practice

__all__ = ["FilledRuns", "filled_runs"]


@dataclass(frozen=True)
class FilledRuns:
    """The runs, a row each in the order of the table of runs.

    ``table`` has ``run``, ``batch``, ``recipe``, ``style``, ``format``, ``line``, ``tank``, ``packed_at``, ``packed``
    [s], ``size``, ``headspace`` [mL], ``blended`` and every practice; ``blends`` is as in ``PackTable``.
    """

    table: pd.DataFrame
    practices: tuple[Practice, ...]
    blends: pd.DataFrame
    unlinked: pd.DataFrame
    not_offered: pd.DataFrame


def filled_runs(cellar: Cellar, where: Whereabouts) -> FilledRuns:
    """Return the runs with their practices."""
    runs, lineage, n = cellar.runs.table, cellar.lineage, len(cellar.runs.table)
    done = done_by_packing(lineage, cellar.links.use, seconds_of(cellar.operations["started_at"]))
    work = cellar_practices(lineage, cellar.operations, done, cellar.transfers, n)
    doses = doses_of(lineage, cellar.operations, cellar.links.use, done, cellar.volumes, n)
    blends = _blends(cellar)
    of_run = lineage.paths["run"].to_numpy(np.int64)
    last = cellar.batches.iloc[lineage.paths["last"]].reset_index(drop=True)
    origin = cellar.batches.iloc[lineage.paths["origin"]].reset_index(drop=True)
    table = runs[["run", "packed_at", "packed", "format", "line", "size", "headspace", "fill_temperature"]].copy()
    table["batch"] = _batch_names(cellar)
    for name in ("recipe", "style"):
        table[name] = only_value(of_run, last[name].where(last[name].notna(), origin[name]), n)
    table["tank"] = _tanks(cellar, where)
    table["blended"] = (
        blends["run_number"]
        .duplicated(keep=False)
        .groupby(blends["run_number"])
        .any()
        .reindex(range(n), fill_value=False)
    )
    table = pd.concat([table, work, doses.values], axis=1)
    practices = (*PRACTICES.values(), *(p for p in doses.practices if p.name not in PRACTICES))
    nothing = pd.DataFrame({"name": [], "kind": [], "reason": []}, dtype="str")
    return FilledRuns(table, practices, blends, doses.unknown, nothing)


def _batch_names(cellar: Cellar) -> pd.Series:
    members = cellar.runs.members
    batch = cellar.batches["batch"].iloc[members["use"]].to_numpy()
    frame = pd.DataFrame({"run": members["run"], "batch": batch}).sort_values(["run", "batch"])
    single = ~frame["run"].duplicated(keep=False)
    only = frame[single].set_index("run")["batch"]
    joined = frame[~single].groupby("run")["batch"].agg(" + ".join)
    names_of_runs: pd.Series = pd.concat([only, joined]).reindex(range(len(cellar.runs.table)))
    return names_of_runs.astype("str")


def _tanks(cellar: Cellar, where: Whereabouts) -> pd.Series:
    """Return the vessel that each run was packed from: the last that its batches are known to have stood in."""
    members = cellar.runs.members
    packed = end_of_moment(members["packed"].to_numpy(np.int64))
    last = where.at(members["use"].to_numpy(np.int64), packed)
    return only_value(members["run"].to_numpy(np.int64), last, len(cellar.runs.table))


def _blends(cellar: Cellar) -> pd.DataFrame:
    """Return the batches in each run as they were brewed, with their shares."""
    paths = cellar.lineage.paths
    shares = paths.groupby(["run", "origin"], as_index=False).agg(share=("share", "sum"), equal=("equal", "max"))
    several = shares["run"].duplicated(keep=False)
    how = np.where(~several, ONLY, np.where(shares["equal"].groupby(shares["run"]).transform("any"), EQUAL, VOLUME))
    return pd.DataFrame(
        {
            "run": cellar.runs.table["run"].iloc[shares["run"]].to_numpy(),
            "batch": cellar.batches["batch"].iloc[shares["origin"]].to_numpy(),
            "share": shares["share"],
            "how": how,
            "run_number": shares["run"],
        }
    )
