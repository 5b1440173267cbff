"""Which repeated readings stand on record, and can the meters see the difference that the brewery calls important?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.findings.margins import margin_for, margins_on_record
from analysis.findings.meter_study import Study, crossed
from analysis.findings.wording import amount, count, listing
from analysis.verdicts import MarginAtLevel
from analysis.vocabulary import Measure
from analysis.vocabulary import measure as measure_of

__all__ = ["MeterRepeats", "RepeatStudy", "repeat_studies"]

_LIMIT = 1.96 * math.sqrt(2)
_CELL = ["run", "batch", "sample", "vessel", "quantity"]
_FEWEST_PARTS = 3


@dataclass(frozen=True)
class MeterRepeats:
    """One meter's own repeats.

    ``repeatability`` is their standard deviation on the study's scale. ``limit`` is what two of its readings differ by
    in one of twenty pairs with no difference in the beer [the measure's kept unit]; ``sees_margin`` whether that is
    below the margin, and ``readings_needed`` how many readings a mean must be made of for that.
    """

    meter: str
    repeatability: float
    limit: float
    sees_margin: bool
    readings_needed: int


@dataclass(frozen=True)
class RepeatStudy:
    """A crossed study of a quantity: the same packs several times on each meter.

    ``study`` is on the natural log where ``log`` is true. ``margin`` is the strictest margin of the packs'
    recipes and ``level`` the value of that recipe's packs, both in the kept unit, and ``margin_on_scale`` that margin
    on the study's scale; ``margin_is_default`` where nobody has set one.
    """

    measure: Measure
    log: bool
    study: Study
    level: float
    margin: float
    margin_on_scale: float
    margin_is_default: bool
    recipes: int
    meters: tuple[MeterRepeats, ...]

    @property
    def share_of_margin(self) -> float:
        """The limit between any two single readings over the margin [1]."""
        return self.study.reproducibility_limit / self.margin_on_scale

    def limit(self, spread: float) -> float:
        """Return what two single readings differ by in one of twenty pairs, from their standard deviation on the
        study's scale [the measure's kept unit]."""
        return _kept(_LIMIT * spread, self.level, self.log)

    def of_margin(self, spread: float) -> float:
        """Return that difference as a share of the margin [1]."""
        return _LIMIT * spread / self.margin_on_scale

    @property
    def answer(self) -> str:
        """Whether the meters see the margin, in a sentence or two."""
        unit = self.measure.unit
        blind = [m for m in self.meters if not m.sees_margin]
        of = f" of {count(self.recipes, 'recipe')}" if self.recipes else ""
        told = (
            f"Repeats and meters make {100 * self.study.share_of_variance:.1f} % of the variance of single readings of "
            f"{self.measure.label.lower()} over {count(self.study.sums.parts, 'pack')}{of}."
        )
        if not blind:
            return f"{told} Every meter sees the difference of {amount(self.margin, unit)} that you call important."
        said = [f"{m.meter} takes the mean of {m.readings_needed}" for m in blind]
        return (
            f"{told} To see the difference of {amount(self.margin, unit)} that you call important, one reading is not "
            f"enough: {listing(said)}."
        )

    def as_document(self) -> dict[str, object]:
        """Return the study as the JSON document has it."""
        study = self.study
        return {
            "quantity": self.measure.name, "scale": "log" if self.log else "linear", "answer": self.answer,
            "parts": study.sums.parts, "meters": [m.meter for m in self.meters], "repeats": study.sums.repeats,
            "variance": {"part": study.part, "meter": study.meter, "part_meter": study.part_meter,
                         "repeat": study.repeat},
            "share_of_variance": study.share_of_variance, "share_of_spread": study.share_of_spread,
            "repeatability": _spread(study.repeatability, study, self),
            "reproducibility": _spread(study.reproducibility, study, self),
            "categories": study.categories, "meters_differ_p": study.meters_differ,
            "level": self.level, "unit": self.measure.unit, "margin": self.margin,
            "margin_is_default": self.margin_is_default, "recipes": self.recipes,
            "share_of_margin": self.share_of_margin,
            "by_meter": [
                {"meter": m.meter, "repeatability_limit": m.limit, "sees_margin": m.sees_margin,
                 "readings_needed": m.readings_needed}
                for m in self.meters
            ],
        }  # fmt: skip


def _spread(spread: float, study: Study, told: RepeatStudy) -> dict[str, float | None]:
    """Return a standard deviation as the JSON document has it: as a limit, of the variation and of the margin."""
    total = study.total
    return {
        "limit": told.limit(spread),
        "share_of_spread": spread / total if total > 0 else None,
        "share_of_margin": told.of_margin(spread),
    }


def repeat_studies(readings: pd.DataFrame, recipes: pd.Series, targets: pd.DataFrame) -> tuple[RepeatStudy, ...]:
    """Return the crossed studies that stand among the readings.

    Parameters
    ----------
    readings : DataFrame
        As the ledger keeps them; those with a ``replicate`` are a study.
    recipes : Series
        The recipe of each run, by run.
    targets : DataFrame
        The targets on record.
    """
    repeated = readings[readings["replicate"].notna() & readings["value"].notna() & readings["meter"].notna()]
    repeated = repeated.assign(recipe=repeated["run"].map(recipes))
    found = [_study(str(quantity), own, targets) for quantity, own in repeated.groupby("quantity", sort=True)]
    return tuple(one for one in found if one is not None)


def _study(quantity: str, own: pd.DataFrame, targets: pd.DataFrame) -> RepeatStudy | None:
    """Return a quantity's study from the packs that every meter read as often; None where they are too few."""
    measure = measure_of(quantity)
    log = measure.scale == "log" and bool((own["value"] > 0).all())
    own = own.assign(part=own[_CELL].fillna("").agg("|".join, axis=1))
    repeats = pd.crosstab(own["part"], own["meter"])
    if len(repeats) < _FEWEST_PARTS or repeats.shape[1] < 2:
        return None
    number = int(repeats.to_numpy().max())
    whole = repeats.index[(repeats == number).all(axis=1)]
    if number < 2 or len(whole) < _FEWEST_PARTS:
        return None
    own = own[own["part"].isin(whole)].sort_values(["part", "meter", "replicate"])
    values = own["value"].to_numpy(dtype=float)
    charted = (np.log(values) if log else values).reshape(len(whole), repeats.shape[1], number)
    margin = _margin(measure, own, targets, log)
    return RepeatStudy(
        measure, log, crossed(charted), margin.level, margin.absolute, margin.above,
        margin.margin.is_default, own["recipe"].nunique(),
        tuple(_of_meter(str(m), charted[:, i, :], margin, log) for i, m in enumerate(repeats.columns)),
    )  # fmt: skip


def _of_meter(meter: str, charted: np.ndarray, margin: MarginAtLevel, log: bool) -> MeterRepeats:
    spread = math.sqrt(float(charted.var(axis=1, ddof=1).mean()))
    limit = _kept(_LIMIT * spread, margin.level, log)
    needed = max(1, math.ceil((_LIMIT * spread / margin.above) ** 2))
    return MeterRepeats(meter, spread, limit, needed == 1, needed)


def _margin(measure: Measure, own: pd.DataFrame, targets: pd.DataFrame, log: bool) -> MarginAtLevel:
    """Return the strictest margin of the recipes in the study."""
    levels = {str(r): float(v) for r, v in own.groupby("recipe")["value"].mean().items()}
    levels = levels or {"": float(own["value"].mean())}
    return margin_for(margins_on_record(targets, measure.name), measure.name, levels, log=log)


def _kept(difference: float, level: float, log: bool) -> float:
    return level * math.expm1(difference) if log else difference
