"""What do the brewery's own further columns say of each run and of each sample?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.linking.cellar import Cellar
from analysis.linking.entries import Ints
from analysis.linking.further import Further, Grouping, along_ways, further_of, named_apart, practices_of
from analysis.linking.recipes import RECIPE_HEADERS
from analysis.linking.samples import Samples
from analysis.linking.tanks import TANK_HEADERS
from analysis.linking.work import Done, done_by_packing
from analysis.vocabulary import MEASURES, PRACTICES, Practice

__all__ = ["BreweryColumns", "brewery_columns"]

_TAKEN = frozenset(
    {"run", "batch", "recipe", "style", "packed_at", "packed", "sample", "measured_at", "age_days", "size", "headspace"}
    | {"blended", "tasted_on", "panellist", "attribute", "score", "scale", "total_oxygen_computed"}
    | {*MEASURES, *PRACTICES}
)


@dataclass(frozen=True)
class BreweryColumns:
    """The practices of further columns: each run's values, and each sample's where it was written beside readings.

    ``not_offered`` has ``name``, ``kind``, ``reason``; ``unlinked`` has ``kind``, ``reason``, ``count``.
    """

    practices: tuple[Practice, ...]
    of_runs: pd.DataFrame
    of_samples: pd.DataFrame
    not_offered: pd.DataFrame
    unlinked: pd.DataFrame


def brewery_columns(
    cellar: Cellar, done: Done, readings: pd.DataFrame, samples: Samples, recipe: pd.Series, doses: frozenset[str]
) -> BreweryColumns:
    """Return what the further columns of every kind say.

    A column that stands beside packaging runs and beside readings is one practice, and a sample's own value counts
    before its run's; any other two columns of one name are told apart by their kind.

    Parameters
    ----------
    cellar : Cellar
    done : Done
        The operations that count for each way into a run.
    readings : DataFrame
        The records of readings.
    samples : Samples
    recipe : Series, shape (n_runs,)
        The recipe of each run.
    doses : frozenset of str
        Names that the doses have taken.
    """
    n_runs = len(cellar.runs.table)
    packed = _of_runs(cellar, n_runs)
    beside = _of_readings(readings, samples, n_runs)
    both = _both(packed, beside[0])
    parts = named_apart((packed, _without(beside[0], both), *_along(cellar, done, n_runs)), _TAKEN | doses)
    practices = tuple(practice for part in parts for practice in practices_of(part, recipe))
    of_runs = pd.concat([part.columns for part in parts], axis=1)
    renamed = dict(
        zip((c.name for c in _without(beside[0], both).cells), (c.name for c in parts[1].cells), strict=True)
    )
    renamed |= {old.name: new.name for old, new in zip(packed.cells, parts[0].cells, strict=True) if old.name in both}
    of_samples = beside[1].columns.rename(columns=renamed)
    refused = [(cell.name, part.kind, cell.reason) for part in parts for cell in part.not_offered]
    return BreweryColumns(
        practices,
        of_runs,
        of_samples,
        pd.DataFrame(refused, columns=["name", "kind", "reason"], dtype="str"),
        _left_out(parts),
    )


def _of_runs(cellar: Cellar, n_runs: int) -> Further:
    run = cellar.runs.row_run
    rows = np.flatnonzero(run >= 0)
    further = further_of("pack_runs", cellar.pack_rows, Grouping(rows, run[rows], n_runs))
    return _without(further, TANK_HEADERS | RECIPE_HEADERS)


def _of_readings(readings: pd.DataFrame, samples: Samples, n_runs: int) -> tuple[Further, Further]:
    """Return the further columns beside the readings of packs, of each run and of each sample."""
    rows = np.flatnonzero(samples.of_reading >= 0)
    sample = samples.of_reading[rows]
    run = samples.table["run"].to_numpy(np.int64)[sample]
    of_run = further_of("readings", readings, Grouping(rows, run, n_runs))
    of_sample = further_of("readings", readings, Grouping(rows, sample, len(samples.table)))
    return of_run, of_sample


def _both(packed: Further, beside: Further) -> frozenset[str]:
    types = {cell.name: cell.type for cell in packed.cells}
    return frozenset(cell.name for cell in beside.cells if types.get(cell.name) == cell.type)


def _without(further: Further, names: frozenset[str]) -> Further:
    cells = tuple(cell for cell in further.cells if cell.name not in names)
    return replace(further, cells=cells, columns=further.columns[[cell.name for cell in cells]])


def _along(cellar: Cellar, done: Done, n_runs: int) -> tuple[Further, ...]:
    """Return the further columns of operations, batches and transfers, along the ways into each run."""
    lineage, n_ways = cellar.lineage, len(cellar.lineage.paths)
    brewed = _as_brewed(cellar)
    target = cellar.transfers["target"].to_numpy(np.int64)
    moved = done_by_packing(lineage, target, np.maximum(cellar.transfers["moved"].to_numpy(np.int64), 0))
    told: tuple[tuple[str, pd.DataFrame, Ints, Ints], ...] = (
        ("operations", cellar.operations, done.row, done.path),
        ("batches", brewed, np.arange(n_ways), np.arange(n_ways)),
        ("transfers", cellar.transfers, moved.row, moved.path),
    )
    return tuple(
        along_ways(further_of(kind, rows, Grouping(row, way, n_ways)), lineage, n_runs) for kind, rows, row, way in told
    )


def _as_brewed(cellar: Cellar) -> pd.DataFrame:
    """Return what the batch list says of the beer of each way: of the batch as brewed, else of the one packed."""
    paths = cellar.lineage.paths
    columns = ["extra", "file", "sheet"]
    origin = cellar.batches[columns].iloc[paths["origin"]].reset_index(drop=True)
    last = cellar.batches[columns].iloc[paths["last"]].reset_index(drop=True)
    return origin.where(origin["extra"].notna(), last)


def _left_out(parts: tuple[Further, ...]) -> pd.DataFrame:
    counts = [
        (
            part.kind,
            f"further column {cell.header}: cells that are not numbers as the others are left out",
            cell.left_out,
        )
        for part in parts
        for cell in part.cells
        if cell.left_out
    ]
    return pd.DataFrame(counts, columns=["kind", "reason", "count"])
