"""Which runs were packed, from what, on which line, and how was each run's beer?"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from data_demo.as_packed import Source, blended, practices_of, sources_of
from data_demo.cellar import Job, Plan
from data_demo.draws import at_work, stream
from data_demo.schedule import FERMENTERS, Batch
from data_demo.truth import CENTRES, CLIMB, EFFECTS, FORMATS, NOW, OXYGEN_SHIFT, SPREADS, FormatTruth, Recipe, effect

__all__ = ["Run", "climb_of", "runs"]

_CAN_1, _CAN_2, _BOTTLE, _KEG = FORMATS
_FIRST_RUN = 1001


@dataclass(frozen=True)
class Run:
    """A packaging run: how it was packed and the true medians of its packs.

    ``haze`` [EBC] and ``oxygen`` [µg/L] are medians over the run's packs when closed. ``practices`` stand as the
    linking should find them.
    """

    run: str
    batch: Batch
    sources: tuple[Source, ...]
    packed_at: datetime
    form: FormatTruth
    headspace: float
    fill_temperature: float
    haze: float
    oxygen: float
    practices: dict[str, float] = field(repr=False)

    @property
    def key(self) -> str:
        """The batch, or the batches of a blend in the order of their numbers."""
        return " + ".join(sorted(source.key for source in self.sources))

    @property
    def recipe(self) -> Recipe:
        """The recipe that was packed."""
        return self.batch.recipe


def runs(batches: tuple[Batch, ...], planned: dict[str, Plan], jobs: tuple[Job, ...]) -> tuple[Run, ...]:
    """Return the runs that were packed before the books end, in the order of packing."""
    rng, levels = stream("runs"), _Levels(batches)
    by_key = {batch.key: batch for batch in batches}
    starts = sorted(_starts(rng, batches), key=lambda s: s[1])
    found = []
    for number, (batch, packed_at, form) in enumerate(starts, start=_FIRST_RUN):
        sources = sources_of(batch, batches)
        parts = [(s.share, practices_of(by_key[s.key], planned[s.key], jobs, packed_at)) for s in sources]
        practices = parts[0][1] if len(parts) == 1 else blended(parts)
        headspace = round(float(rng.normal(form.headspace, 0.06 * form.headspace)), 1) if form.headspace else 0.0
        fill = round(float(rng.normal(3.0, 1.0)), 1)
        shift = levels.shift(form, packed_at)
        haze = levels.of("haze", batch, sources, practices, rng) * np.exp(climb_of(batch.recipe.code, packed_at))
        oxygen = levels.of("total_oxygen", batch, sources, practices, rng) * np.exp(form.log_oxygen + shift)
        found.append(Run(f"R{number}", batch, sources, packed_at, form, headspace, fill, haze, oxygen, practices))
    return tuple(found)


def _starts(rng: np.random.Generator, batches: tuple[Batch, ...]) -> list[tuple[Batch, datetime, FormatTruth]]:
    """Return each batch's runs: cans for the most part, on either line; some bottles, some kegs, some split in two."""
    starts = []
    for batch in batches:
        formats = (_CAN_1, _CAN_2, _BOTTLE, _KEG)
        form = formats[rng.choice(4, p=(0.56, 0.20, 0.17, 0.07))]
        split, later = rng.random() < 0.25, timedelta(hours=rng.uniform(2, 5))
        if batch.into:
            continue
        starts.append((batch, batch.pack_at, form))
        if split and form is not _KEG:
            starts.append((batch, at_work(batch.pack_at + later, 8, 18), _KEG))
    return [start for start in starts if start[1] + timedelta(hours=6) < NOW]


def climb_of(code: str, moment: datetime) -> float:
    """Return how far a recipe's haze has climbed above its level by then (log scale)."""
    if code != CLIMB.recipe:
        return 0.0
    gone = (moment.date() - CLIMB.begins) / (CLIMB.ends - CLIMB.begins)
    return CLIMB.log_effect * min(1.0, max(0.0, gone))


class _Levels:
    """The batches' and tanks' own deviations, drawn once for the whole brewery."""

    def __init__(self, batches: tuple[Batch, ...]) -> None:
        rng = stream("deviations")
        self.batch = {m: {b.key: rng.normal(0, s.batch) for b in batches} for m, s in SPREADS.items()}
        self.tank = {m: {v: rng.normal(0, s.tank) for v in FERMENTERS} for m, s in SPREADS.items()}
        self.fermenter = {b.key: b.fermenter for b in batches}

    def of(
        self, measure: str, batch: Batch, sources: tuple[Source, ...], practices: dict[str, float],
        rng: np.random.Generator,
    ) -> float:  # fmt: skip
        """Return the median of a run's packs, apart from format, climb and shift."""
        level = np.log(batch.recipe.haze if measure == "haze" else batch.recipe.oxygen)
        level += sum(s.share * (self.batch[measure][s.key] + self._tank(measure, s.key)) for s in sources)
        level += _practice_effects(measure, batch.recipe, practices) + rng.normal(0, SPREADS[measure].run)
        return float(np.exp(level))

    def _tank(self, measure: str, key: str) -> float:
        return float(self.tank[measure][self.fermenter[key]])

    def shift(self, form: FormatTruth, packed_at: datetime) -> float:
        """Return the fault's effect on a run's total oxygen (log scale)."""
        during = OXYGEN_SHIFT.begins <= packed_at.date() < OXYGEN_SHIFT.repaired
        return OXYGEN_SHIFT.log_effect if during and form.line == OXYGEN_SHIFT.line else 0.0


def _practice_effects(measure: str, recipe: Recipe, practices: dict[str, float]) -> float:
    """Return what the practices add, measured from where the recipe usually stands (log scale)."""
    usual = CENTRES | {"rouse_minutes": recipe.rouse, "dry_hop_rate": recipe.dry_hop}
    found = 0.0
    for each in EFFECTS:
        value = practices[each.practice]
        given = recipe.fined or not each.practice.endswith("_dose")
        if each.measure == measure and given and not np.isnan(value):
            found += effect(each.practice, measure) * (value - usual[each.practice])
    return found
