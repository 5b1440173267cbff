"""What was done to the beer in each finished pack, what was read there, and what could not be linked?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.ledger.snapshot import Snapshot
from analysis.linking.cellar import Cellar, cellar_of
from analysis.linking.chill_haze import with_chill_haze
from analysis.linking.delivery import (
    evidence_of,
    operation_rows,
    pack_rows,
    reading_rows,
    tasting_rows,
    unlinked_of,
)
from analysis.linking.entries import Flags, entries, seconds_of, taken
from analysis.linking.filled import FilledRuns, filled_runs
from analysis.linking.matching import Links, match_readings, match_runs
from analysis.linking.once import once_each
from analysis.linking.pack_oxygen import total_oxygen_of
from analysis.linking.recipes import one_spelling, spellings
from analysis.linking.samples import samples_of
from analysis.linking.tables import PackTable
from analysis.linking.tanks import tanks_of, written_tanks
from analysis.linking.whereabouts import Whereabouts, whereabouts_of
from analysis.records.kinds import kind

__all__ = ["link"]

_BATCH_COLUMNS = [
    "batch",
    "number",
    "recipe",
    "style",
    "brewed_on",
    "volume",
    "vessel",
    "original_gravity",
    "final_gravity",
    "listed",
]


def link(records: Snapshot) -> PackTable:
    """Return the pack table of the records as they stand.

    Parameters
    ----------
    records : Snapshot
        The records; they are not changed.
    """
    cellar = cellar_of(records)
    where = whereabouts_of(cellar.batches, cellar.transfers, cellar.operations, cellar.links.use)
    of_runs = {"run": cellar.runs.pool}
    readings, read_again = once_each(entries(records, "readings"), "readings", {"batch": cellar.finder.pool, **of_runs})
    tastings, tasted_again = once_each(entries(records, "tastings"), "tastings", of_runs)
    tests, tested_again = once_each(entries(records, "taste_tests"), "taste_tests", of_runs)
    again = (read_again, tasted_again, tested_again)
    tasted = seconds_of(tastings["tasted_on"])
    parts = {
        "operations": (cellar.operations, cellar.links),
        "readings": (readings, match_readings(readings, cellar.finder, cellar.occupancy, cellar.runs)),
        "tastings": (tastings, match_runs(tastings, tasted, cellar.runs)),
        "taste_tests": (tests, match_runs(tests, seconds_of(tests["tasted_on"]), cellar.runs)),
    }
    read = parts["readings"][1]
    samples, chill = with_chill_haze(samples_of(readings, read.run))
    written = written_tanks(cellar.runs, cellar.pack_rows, readings, read.run)
    tanks = tanks_of(cellar.runs, written, cellar.occupancy, where)
    runs = filled_runs(cellar, tanks, written, readings, samples)
    of_run = runs.table.iloc[samples.table["run"]]
    geometry = of_run["size"].to_numpy(np.float64), of_run["headspace"].to_numpy(np.float64)
    oxygen = total_oxygen_of(samples, *geometry, _unshaken(runs))
    return PackTable(
        state=records.state,
        rows=pack_rows(runs, samples, oxygen, chill),
        tastings=tasting_rows(tastings, parts["tastings"][1], tasted, runs),
        readings=reading_rows(readings, read, cellar.batches, runs, _reading_tanks(readings, read, where, runs)),
        operations=operation_rows(cellar.operations, cellar.links, cellar.batches, _operation_tanks(cellar, where)),
        batches=cellar.batches[_BATCH_COLUMNS],
        practices=runs.practices,
        unlinked=unlinked_of(parts, cellar.unlinked, runs.unlinked, oxygen.unknown, _in_conflict(records), *again),
        evidence=evidence_of(parts, cellar.batches, runs),
        blends=runs.blends[["run", "batch", "share", "how"]],
        targets=_targets(records, cellar.batches["recipe"]),
        not_offered=runs.not_offered,
    )


def _targets(records: Snapshot, recipes: pd.Series) -> pd.DataFrame:
    """Return the targets, their recipes spelled as the batches' are."""
    targets = entries(records, "targets")[[*kind("targets").names, "record", "intake"]]
    return targets.assign(recipe=one_spelling(targets["recipe"], spellings(recipes)))


def _in_conflict(records: Snapshot) -> pd.DataFrame:
    """Return how many rows of each kind wait for somebody to settle a conflict."""
    counts = [(name, "contradicts another row about the same thing: not used until that is settled", len(frame))
              for name, frame in records.conflicts.items()]  # fmt: skip
    return pd.DataFrame(counts, columns=["kind", "reason", "count"])


def _unshaken(runs: FilledRuns) -> Flags:
    """Return whether the brewery's own column beside the readings says that a pack was not shaken."""
    told = runs.of_samples[[name for name in runs.of_samples.columns if "shaken" in name.split("_")]]
    return (told.select_dtypes("number") == 0).any(axis=1).to_numpy(dtype=bool)


def _operation_tanks(cellar: Cellar, where: Whereabouts) -> pd.Series:
    """Return the vessel of each operation: as written, else where its batch then was."""
    known = where.at(cellar.links.use, seconds_of(cellar.operations["started_at"]))
    written = cellar.operations["vessel"]
    return written.where(written.notna(), known)


def _reading_tanks(readings: pd.DataFrame, links: Links, where: Whereabouts, runs: FilledRuns) -> pd.Series:
    """Return the vessel of each reading: as written, else its run's, else where its batch then was."""
    tank = taken(runs.table["tank"], links.run)
    written, unknown = readings["vessel"].notna().to_numpy(bool), tank.isna().to_numpy(bool)
    if written.any():
        tank = readings["vessel"].where(written, tank)
    rest = np.flatnonzero(unknown & ~written & (links.use >= 0))
    stood = where.at(links.use[rest], seconds_of(readings["measured_at"].iloc[rest]))
    place = np.arange(len(tank))
    place[rest] = len(tank) + np.arange(len(rest))
    return taken(pd.concat([tank, stood], ignore_index=True), place) if len(rest) else tank
