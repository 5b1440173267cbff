"""What was the oxygen at closing of packs that were opened late, and of which can it no longer be told?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from analysis.estimate import Estimate
from analysis.findings.wording import amount, count
from analysis.oxygen import consumption_rate, oxygen_at_closing
from analysis.oxygen.propagation import NORMAL

__all__ = ["LatePack", "LatePacks", "late_packs"]

_FRESH_DAYS = 1.0
_FEWEST_RUNS = 4
_SPREAD = 0.12
_PUBLISHED = consumption_rate(26.0, 12.0, 10.0)
_PUBLISHED_ERROR = 0.02 / NORMAL
_BELOW = "it was read below the meter's limit"


@dataclass(frozen=True)
class LatePack:
    """A run whose packs were opened late: what was read, and what that says of closing [µg/L].

    ``reading`` is their mean, or the limit where ``is_below``; ``at_closing`` is None where it can no longer be told,
    and ``why_not`` says why; ``fresh`` is what the run's fresh packs read, None where none was.
    """

    run: str
    recipe: str
    age_days: float
    packs: int
    reading: float
    is_below: bool
    at_closing: Estimate | None
    why_not: str
    fresh: float | None


@dataclass(frozen=True)
class LatePacks:
    """Every run with packs that were opened a day or more after closing.

    ``rate`` is the share of its oxygen that beer consumes a day [1/d], the brewery's own over ``rate_runs`` runs read
    fresh and late, or a published one where ``rate_runs`` is 0.
    """

    rate: Estimate
    rate_runs: int
    packs: tuple[LatePack, ...]

    @property
    def told(self) -> int:
        """Of how many runs the oxygen at closing can be told."""
        return sum(one.at_closing is not None for one in self.packs)

    @property
    def sentence(self) -> str:
        """What they say in a sentence or two."""
        refused = len(self.packs) - self.told
        runs = f"Packs of {count(len(self.packs), 'run')} were opened a day or more after closing"
        if not refused:
            said = f"{runs}: what they held at closing stands beside."
        elif not self.told:
            said = f"{runs}, too late to say what they held at closing: their low oxygen is no sign of low oxygen then."
        else:
            said = f"{runs}; of {self.told} it can be told what they held at closing, of {refused} no longer."
        share = f"{amount(100 * self.rate.value, digits=2)} % of its oxygen a day"
        if self.rate_runs:
            return f"{said} Beer consumes {share} by your own {count(self.rate_runs, 'run')} read fresh and late."
        return f"{said} Beer is taken to consume {share}, from one published fall; its ± is a working figure."

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        return {
            "rate": {"value": self.rate.value, "low": self.rate.low, "high": self.rate.high, "unit": "1/d"},
            "rate_runs": self.rate_runs,
            "runs": [
                {
                    "run": one.run, "recipe": one.recipe, "age_days": one.age_days, "packs": one.packs,
                    "reading": one.reading, "below_limit": one.is_below,
                    "at_closing": None if one.at_closing is None else one.at_closing.value,
                    "low": None if one.at_closing is None else one.at_closing.low,
                    "high": None if one.at_closing is None else one.at_closing.high,
                    "why_not": one.why_not or None, "fresh": one.fresh,
                }
                for one in self.packs
            ],
        }  # fmt: skip


def late_packs(rows: pd.DataFrame) -> LatePacks | None:
    """Return what the packs that were opened late say of closing; None where there are none.

    Parameters
    ----------
    rows : DataFrame
        The pack table's rows.

    Notes
    -----
    Nothing is taken to come in through the closure: where one lets oxygen in, what is told is an upper bound.
    """
    if not {"total_oxygen", "age_days"} <= set(rows.columns):
        return None
    read = rows[rows["total_oxygen"].notna() & (rows["total_oxygen_censored"] <= 0)]
    by_age = read["age_days"] >= _FRESH_DAYS
    late, fresh = _by_run(read[by_age]), _by_run(read[read["age_days"] < _FRESH_DAYS])
    if not len(late):
        return None
    beside = late.join(fresh[["reading", "below"]].add_suffix("_fresh"))
    rate, runs = _rate(beside)
    spread = _pack_spread(read[~by_age])
    return LatePacks(rate, runs, tuple(_pack(str(run), own, rate, spread) for run, own in beside.iterrows()))


def _by_run(read: pd.DataFrame) -> pd.DataFrame:
    """Return each run's mean, age, number of packs, and whether any was below the limit."""
    told = read.assign(below=read["total_oxygen_censored"] < 0).groupby("run")
    return told.agg(
        recipe=("recipe", "first"), age=("age_days", "mean"), packs=("total_oxygen", "size"),
        reading=("total_oxygen", "mean"), below=("below", "any"),
    )  # fmt: skip


def _rate(beside: pd.DataFrame) -> tuple[Estimate, int]:
    """Return the share consumed a day and of how many of the brewery's runs; a published one where they are too few."""
    exact = ~beside["below"] & beside["below_fresh"].notna() & ~beside["below_fresh"].fillna(True).astype(bool)
    both = beside[exact & (beside["reading"] > 0)]
    found = (np.log(both["reading_fresh"] / both["reading"]) / both["age"]).to_numpy(dtype=float)
    if found.size >= _FEWEST_RUNS and found.mean() > 0:
        error = float(found.std(ddof=1)) / math.sqrt(found.size)
        reach = float(stdtrit(found.size - 1, 0.975)) * error
        middle = float(found.mean())
        return Estimate(middle, middle - reach, middle + reach, "1/d", reach / NORMAL), int(found.size)
    reach = NORMAL * _PUBLISHED_ERROR
    return Estimate(_PUBLISHED, _PUBLISHED - reach, _PUBLISHED + reach, "1/d", _PUBLISHED_ERROR), 0


def _pack_spread(fresh: pd.DataFrame) -> float:
    """Return how far packs of one run lie apart, as a share; a working 12 % where too few were read."""
    own = fresh[(fresh["total_oxygen"] > 0) & (fresh["total_oxygen_censored"] == 0)]
    if own["run"].nunique() < _FEWEST_RUNS or len(own) <= own["run"].nunique() + _FEWEST_RUNS:
        return _SPREAD
    logs = pd.Series(np.log(own["total_oxygen"].to_numpy(dtype=float)))
    away = logs - logs.groupby(own["run"].to_numpy()).transform("mean")
    return float(np.sqrt((away**2).sum() / (len(own) - own["run"].nunique())))


def _pack(run: str, own: pd.Series, rate: Estimate, spread: float) -> LatePack:
    reading, packs = float(own["reading"]), int(own["packs"])
    at_closing, why_not = None, _BELOW
    if not own["below"]:
        found = oxygen_at_closing(
            reading, float(own["age"]), rate.value, reading_error=spread * reading / math.sqrt(packs),
            consumption_error=rate.standard_error,
        )  # fmt: skip
        at_closing, why_not = found.oxygen, found.why_not
    fresh = float(own["reading_fresh"])
    return LatePack(
        run, str(own["recipe"]), float(own["age"]), packs, reading, bool(own["below"]), at_closing, why_not,
        None if math.isnan(fresh) else fresh,
    )  # fmt: skip
