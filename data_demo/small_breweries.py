"""What would the packs of many invented breweries look like, each with stated effects and nothing else?

The invented brewery of the demo is one; to know how often a verdict is wrong, many are needed. Each of these is a pack
table's rows drawn straight from a few numbers, with no spreadsheet between. Nothing here is a real brewery.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.linking import PackTable
from analysis.vocabulary import Practice, further_practice

__all__ = ["SmallBrewery", "pack_table_of", "simulate_packs"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SmallBrewery:
    """A brewery whose packs' total oxygen [µg/L] depends on its practices as ``effects`` say.

    ``effects`` are those of one step of each practice on the log scale; ``kinds`` their types, a number of standard
    deviation one, or a yes/no. ``level`` is the median of the first recipe, each further recipe ``recipe_step`` higher
    on the log scale, and the practices' means differ between recipes too. ``batch``, ``run``, ``tank`` and ``pack`` are
    standard deviations on the log scale; ``memory`` is the correlation of one batch's own part with the next one's.
    ``together`` is the correlation of the first two practices, ``persistence`` that of a practice with its value in the
    next batch. ``margin`` [µg/L] is the smallest difference that matters, for all recipes.
    """

    batches: int = 60
    packs: int = 4
    effects: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    kinds: tuple[str, ...] = ()
    recipes: int = 3
    level: float = 60.0
    recipe_step: float = 0.1
    batch: float = 0.15
    run: float = 0.0
    tank: float = 0.04
    pack: float = 0.12
    memory: float = 0.0
    together: float = 0.0
    persistence: float = 0.0
    margin: float | None = 6.0
    days_between: float = 4.0

    @property
    def practices(self) -> tuple[Practice, ...]:
        """The practices, named ``practice_0`` on."""
        kinds = self.kinds or ("number",) * len(self.effects)
        return tuple(further_practice(f"practice {i}", kind, "batches") for i, kind in enumerate(kinds))  # type: ignore[arg-type]

    @property
    def highest_level(self) -> float:
        """The median of the recipe that reads highest [µg/L]."""
        return self.level * float(np.exp(self.recipe_step * (self.recipes - 1)))

    def changed(self, **changes: object) -> SmallBrewery:
        """Return the brewery with some numbers changed."""
        return replace(self, **changes)  # type: ignore[arg-type]


def simulate_packs(brewery: SmallBrewery, rng: np.random.Generator) -> pd.DataFrame:
    """Draw a brewery's packs, a row each, as the pack table has them."""
    count, names = brewery.batches, [p.name for p in brewery.practices]
    recipe = rng.integers(0, brewery.recipes, count)
    done = _practices(brewery, recipe, rng)
    tank = rng.integers(0, 8, count)
    own = _remembered(count, brewery.memory, rng) * brewery.batch
    level = np.log(brewery.level) + brewery.recipe_step * recipe
    batch_level = level + done @ np.array(brewery.effects) + own + (brewery.tank * rng.normal(size=8))[tank]
    runs = 2 if brewery.run > 0 else 1
    run_level = np.repeat(batch_level, runs) + brewery.run * rng.normal(size=count * runs)
    of_run = np.repeat(np.arange(count * runs), brewery.packs)
    of_batch = of_run // runs
    packed = pd.Timestamp("2025-01-06") + pd.to_timedelta(np.arange(count) * brewery.days_between, unit="D")
    readings = np.exp(run_level[of_run] + brewery.pack * rng.normal(size=len(of_run)))
    fixed = {"format": "can", "line": "1", "age_days": 1.0, "blended": False, "total_oxygen_meter": "OX1"}
    return pd.DataFrame(
        {
            "run": np.array([f"R{i:04d}" for i in range(count * runs)])[of_run],
            "batch": np.array([f"{2001 + i}" for i in range(count)])[of_batch],
            "recipe": np.array([f"A{10 + i}" for i in range(brewery.recipes)])[recipe[of_batch]],
            "tank": np.array([f"T{i + 1}" for i in range(8)])[tank[of_batch]],
            "packed_at": packed[of_batch],
            "measured_at": packed[of_batch] + pd.Timedelta(days=1),
            "sample": np.tile(np.arange(1, brewery.packs + 1), count * runs).astype(str),
            "total_oxygen": readings,
            "total_oxygen_censored": np.int8(0),
            **fixed,
            **{name: done[of_batch, i] for i, name in enumerate(names)},
        }
    )


def pack_table_of(rows: pd.DataFrame, brewery: SmallBrewery) -> PackTable:
    """Return a brewery's rows as a pack table, with its margin among the targets."""
    nothing = pd.DataFrame()
    targets = {"recipe": [None], "format": [None], "quantity": ["total_oxygen"], "margin": [brewery.margin]}
    return PackTable(
        state=1, rows=rows, tastings=nothing, readings=nothing, operations=nothing, batches=nothing,
        practices=brewery.practices, unlinked=pd.DataFrame(columns=["kind", "reason", "count"]), evidence=nothing,
        blends=nothing, targets=pd.DataFrame(targets) if brewery.margin else nothing, not_offered=nothing,
    )  # fmt: skip


def _practices(brewery: SmallBrewery, recipe: npt.NDArray[np.int64], rng: np.random.Generator) -> Floats:
    count = len(brewery.effects)
    drawn = np.column_stack([_remembered(brewery.batches, brewery.persistence, rng) for _ in range(count)])
    if brewery.together and count > 1:
        drawn[:, 1] = brewery.together * drawn[:, 0] + np.sqrt(1 - brewery.together**2) * drawn[:, 1]
    values = drawn + 0.5 * recipe[:, None]
    for i, practice in enumerate(brewery.practices):
        if practice.type == "yes_no":
            values[:, i] = drawn[:, i] > 0.2
    return values


def _remembered(count: int, memory: float, rng: np.random.Generator) -> Floats:
    """Return a standard normal series whose neighbours are correlated by ``memory``."""
    shocks = rng.normal(size=count)
    if not memory:
        return shocks
    series = np.empty(count)
    series[0] = shocks[0]
    for i in range(1, count):
        series[i] = memory * series[i - 1] + np.sqrt(1 - memory**2) * shocks[i]
    return series
