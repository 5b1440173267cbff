"""What would a brewery's packs look like if one of the usual traps of records were set in them?

Each function draws the packs of a small invented brewery and returns its pack table. What is true is said beside each:
most often that no practice does anything, whatever a plain analysis finds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.linking import PackTable
from analysis.vocabulary import PRACTICES
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

__all__ = [
    "MEMORY",
    "answers_bad_batches",
    "below_a_limit",
    "by_batch",
    "changed_after_bad_batches",
    "changed_once",
    "changed_once_in_one_recipe",
    "coarsely_written",
    "looked_at_again",
    "noted_when_wrong",
    "one_batch_apart",
    "recipes_against_each_other",
    "through_time_cold",
    "with_limits",
    "worst_three",
    "written_as_few_values",
]

# The correlation of a batch with the next one, as a drifting cellar has it.
MEMORY = 0.6
# Shares of a practice's effect on total oxygen that runs through the time that a tank stays cold.
PER_DAY_COLD = 0.25
FOLLOWS = 0.9


def by_batch(rows: pd.DataFrame) -> pd.DataFrame:
    """Return each batch's mean of the log of total oxygen (``y``), its first practice (``x``) and its recipe."""
    return rows.groupby("batch", sort=False).agg(
        y=("total_oxygen", lambda values: np.log(values).mean()), x=("practice_0", "first"), recipe=("recipe", "first")
    )


def changed_once(brewery: SmallBrewery, rng: np.random.Generator) -> PackTable:
    """The first practice changes for good halfway; it does nothing."""
    rows = simulate_packs(brewery, rng)
    after = _place(rows) >= brewery.batches // 2
    return pack_table_of(rows.assign(practice_0=after.astype(np.float64)), brewery)


def changed_once_in_one_recipe(brewery: SmallBrewery, rng: np.random.Generator) -> PackTable:
    """The first practice changes for good halfway in the first recipe only; it does nothing."""
    rows = simulate_packs(brewery, rng)
    after = (_place(rows) >= brewery.batches // 2) & (rows["recipe"] == "A10")
    return pack_table_of(rows.assign(practice_0=after.astype(np.float64)), brewery)


def changed_after_bad_batches(brewery: SmallBrewery, rng: np.random.Generator) -> PackTable:
    """The first practice changes for good after the worst three batches in a row; it does nothing."""
    rows = simulate_packs(brewery, rng)
    worst = worst_three(rows)
    return pack_table_of(rows.assign(practice_0=(_place(rows) > worst).astype(np.float64)), brewery)


def worst_three(rows: pd.DataFrame) -> int:
    """Return the place of the last of the three batches in a row that read worst, not too near either end."""
    return int(by_batch(rows)["y"].rolling(3).mean().iloc[5:30].argmax()) + 5


def recipes_against_each_other(brewery: SmallBrewery, rng: np.random.Generator, lowers: float = 0.1) -> PackTable:
    """The first practice lowers oxygen within each recipe; recipes that get more of it read higher all the same."""
    rows = simulate_packs(brewery.changed(effects=(0.0,) * len(brewery.effects)), rng)
    recipe = rows["recipe"].str[1:].astype(int) - 10
    done = rows["practice_0"] + 2.5 * recipe
    moved = np.exp(0.45 * recipe - lowers * (done - 2.5 * recipe))
    return pack_table_of(rows.assign(practice_0=done, total_oxygen=rows["total_oxygen"] * moved), brewery)


def through_time_cold(brewery: SmallBrewery, rng: np.random.Generator, direct: float = 0.0) -> PackTable:
    """The first practice lengthens the time cold, which raises oxygen; ``direct`` is what it does by itself."""
    rows = simulate_packs(brewery, rng)
    done = by_batch(rows)["x"]
    days = FOLLOWS * done + np.sqrt(1 - FOLLOWS**2) * rng.normal(size=len(done))
    moved = np.exp(rows["batch"].map(PER_DAY_COLD * days + direct * done))
    made = rows.assign(
        cold_hours=rows["batch"].map(96 + 24 * days).astype(np.float64), total_oxygen=rows["total_oxygen"] * moved
    )
    table = pack_table_of(made, brewery)
    return replace(table, practices=(*table.practices, PRACTICES["cold_hours"]))


def coarsely_written(brewery: SmallBrewery, rng: np.random.Generator, grid: float = 2.0) -> PackTable:
    """Every practice does what the brewery's effects say, but is written down to the nearest ``grid``."""
    rows = simulate_packs(brewery, rng)
    return pack_table_of(
        rows.assign(**{p.name: grid * np.round(rows[p.name] / grid) for p in brewery.practices}), brewery
    )


def written_as_few_values(
    brewery: SmallBrewery, rng: np.random.Generator, values: Sequence[float] = (-1.7, 0.1, 2.3, 3.6)
) -> PackTable:
    """Every practice does what the brewery's effects say, but is written down as the nearest of a few ``values``."""
    rows, kept = simulate_packs(brewery, rng), np.array(values)
    nearest = {p.name: kept[np.abs(rows[[p.name]].to_numpy() - kept).argmin(axis=1)] for p in brewery.practices}
    return pack_table_of(rows.assign(**nearest), brewery)


def noted_when_wrong(brewery: SmallBrewery, rng: np.random.Generator, share: float = 0.4) -> PackTable:
    """The last practice is written down only for the batches that read worst; none does anything."""
    rows = simulate_packs(brewery, rng)
    y = by_batch(rows)["y"]
    name = brewery.practices[-1].name
    return pack_table_of(rows.assign(**{name: rows[name].where(rows["batch"].map(y > y.quantile(1 - share)))}), brewery)


def one_batch_apart(brewery: SmallBrewery, rng: np.random.Generator) -> PackTable:
    """The practice does nothing; one batch had twelve deviations of it and reads three times as high."""
    rows = simulate_packs(brewery, rng)
    one = _place(rows) == brewery.batches // 2
    return pack_table_of(
        rows.assign(
            practice_0=rows["practice_0"].where(~one, 12.0),
            total_oxygen=rows["total_oxygen"] * np.where(one, 3.0, 1.0),
        ),
        brewery,
    )


def answers_bad_batches(brewery: SmallBrewery, rng: np.random.Generator, heed: float = 0.5) -> PackTable:
    """The first practice, a yes or no, is done rather where the batch before read high; it does nothing.

    ``heed`` is the correlation of the wish to do it with how the batch before read.
    """
    rows = simulate_packs(brewery, rng)
    y = by_batch(rows)["y"]
    seen = ((y - y.mean()) / y.std()).shift(1).fillna(0.0)
    done = heed * seen + np.sqrt(1 - heed**2) * rng.normal(size=len(y)) > 0
    return pack_table_of(rows.assign(practice_0=rows["batch"].map(done.astype(np.float64))), brewery)


def looked_at_again(brewery: SmallBrewery, rng: np.random.Generator, looks: Sequence[int]) -> Iterator[PackTable]:
    """The same brewery as its batches come in: a pack table each time that so many of them are packed."""
    rows = simulate_packs(brewery, rng)
    place = _place(rows)
    for batches in looks:
        yield pack_table_of(rows[place < batches].reset_index(drop=True), brewery)


def with_limits(brewery: SmallBrewery, rng: np.random.Generator, limit: float) -> PackTable:
    """A meter that ends at ``limit`` [µg/L]: whatever reads lower stands as "<limit"."""
    return below_a_limit(pack_table_of(simulate_packs(brewery, rng), brewery), limit)


def below_a_limit(table: PackTable, limit: float) -> PackTable:
    """Return a pack table as a meter that ends at ``limit`` [µg/L] would have made it."""
    rows, below = table.rows, table.rows["total_oxygen"] < limit
    read = rows.assign(
        total_oxygen=rows["total_oxygen"].where(~below, limit),
        total_oxygen_censored=np.where(below, -1, 0).astype(np.int8),
    )
    return replace(table, rows=read)


def _place(rows: pd.DataFrame) -> pd.Series:
    """Each row's batch, counted from 0 in the order of brewing."""
    return rows["batch"].astype(int) - 2001
