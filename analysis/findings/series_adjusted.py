"""How would each run stand, had its beer been treated as the baseline's was?

The practices' model says what one step of each practice does within a recipe. What a run's practices did, against the
mean of its series' baseline, is taken out of it, so that a signal is not merely "we fined less". Line, tank, format,
meter and season are not taken out: a fault of a line or a slow climb must stay to be seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import adjusted
from analysis.findings.baselines import FrozenPhase, series_phases
from analysis.findings.practice_rows import Candidate
from analysis.findings.practice_verdicts import Grounds, PracticesFinding
from analysis.findings.practices import practices
from analysis.findings.wording import count, percent_of_ratio
from analysis.linking import PackTable
from analysis.vocabulary import Measure, Scale

__all__ = ["TakenOut", "WhatWasDone", "made_alike", "what_was_done"]

Floats = npt.NDArray[np.float64]

_NOT_DONE = ("line", "tank", "format")
_PLAIN_T = 3.0


@dataclass(frozen=True)
class TakenOut:
    """One practice and what one step of it does within a recipe.

    ``effect`` is in percent where ``relative``, else in the measure's unit. ``pooled`` is what the same step seems to
    do where recipes are thrown together, None unless that has plainly the other sign.
    """

    practice: str
    spoken: str
    step_unit: str
    effect: float
    relative: bool
    pooled: float | None = None

    def as_document(self) -> dict[str, object]:
        """Return it as a JSON document has it."""
        return {
            "practice": self.practice,
            "step_unit": self.step_unit,
            "effect_percent" if self.relative else "effect": self.effect,
            "over_all_recipes": self.pooled,
        }


@dataclass(frozen=True, eq=False)
class WhatWasDone:
    """What the practices did to each run, by the model of the page of practices.

    ``effects`` has one entry a run that the model knows, on the measure's scale (a difference of logs where ``log``),
    less a constant that is the same for all runs. ``formula`` is the model's. ``why_not`` says why nothing can be taken
    out, None where it can.
    """

    effects: Mapping[str, float]
    log: bool
    taken_out: tuple[TakenOut, ...]
    formula: str
    why_not: str | None = None

    @property
    def turned(self) -> tuple[TakenOut, ...]:
        """The practices whose effect turns its sign where recipes are thrown together."""
        return tuple(each for each in self.taken_out if each.pooled is not None)

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        return {
            "formula": self.formula,
            "taken_out": [each.as_document() for each in self.taken_out],
            "why_not": self.why_not,
        }


def what_was_done(
    table: PackTable,
    measure: Measure,
    stage: str,
    model: Callable[[PackTable, str], PracticesFinding] = practices,
) -> WhatWasDone:
    """Return what the practices did to each finished run.

    Parameters
    ----------
    table : PackTable
    measure : Measure
    stage : str
        Practices are known as they stood when a pack was closed: at another stage nothing can be taken out.
    model : callable
        From a pack table and a measure's name to the finding of practices; a caller that keeps findings hands it in.
    """
    if stage != "pack":
        return _cannot("practices are known as they stood at packaging, so only finished packs can be charted so")
    found = model(table, measure.name)
    if found.grounds is None:
        return _cannot(found.answer.rstrip(".").lower())
    if found.log != (measure.scale == "log"):
        return _cannot("a reading of 0 keeps the practices’ model from the scale of this chart")
    return _from_grounds(found.grounds, found)


def _cannot(why: str) -> WhatWasDone:
    return WhatWasDone({}, False, (), "", why)


def _from_grounds(grounds: Grounds, found: PracticesFinding) -> WhatWasDone:
    fit, frame = grounds.workings, grounds.frame
    done = [
        each
        for each in grounds.design.candidates
        if each.practice.name not in _NOT_DONE and each.column in fit.names and each.column not in fit.dropped
    ]
    if not done:
        return _cannot("no practice varies within a recipe")
    names = {effect.practice: effect.spoken for effect in found.practices}
    by_run = frame.groupby("run")[[*(each.column for each in done), "response"]].mean()
    within = np.array([fit.coefficient(each.column) for each in done])
    errors = np.array([fit.standard_errors[fit.names.index(each.column)] for each in done])
    effects = by_run[[each.column for each in done]].to_numpy(np.float64) @ within
    taken_out = tuple(
        _taken_out(each, names, size, error, by_run, found.log)
        for each, size, error in zip(done, within.tolist(), errors.tolist(), strict=True)
    )
    ordered = tuple(sorted(taken_out, key=lambda each: -abs(each.effect)))
    return WhatWasDone(
        dict(zip(by_run.index.astype(str), effects.tolist(), strict=True)), found.log, ordered, found.formula
    )


def _taken_out(
    each: Candidate, names: Mapping[str, str], size: float, error: float, by_run: pd.DataFrame, log: bool
) -> TakenOut:
    spoken = next((said for name, said in names.items() if name.split(" + ")[0] == each.name), each.subject)
    together = _pooled(by_run[each.column].to_numpy(np.float64), by_run["response"].to_numpy(np.float64))
    turned = together is not None and together * size < 0 and abs(size) > 2 * error
    return TakenOut(
        practice=each.name,
        spoken=spoken,
        step_unit=each.step_unit,
        effect=percent_of_ratio(size) if log else size,
        relative=log,
        pooled=(percent_of_ratio(together) if log else together) if turned and together is not None else None,
    )


def _pooled(x: Floats, y: Floats) -> float | None:
    """Return the slope over all runs, recipes thrown together, where it is plainly not 0."""
    off, spread = x - x.mean(), y - y.mean()
    squares = float(off @ off)
    if squares == 0 or x.size < 4:
        return None
    slope = float(off @ spread) / squares
    left = spread - slope * off
    error = math.sqrt(float(left @ left) / (x.size - 2) / squares)
    return slope if abs(slope) > _PLAIN_T * error else None


def made_alike(
    runs: pd.DataFrame, done: WhatWasDone, scale: Scale, phases: Sequence[FrozenPhase]
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return one series' runs as they would stand with its baseline's practices, and what must be known beside it.

    Parameters
    ----------
    runs : DataFrame
        As in ``RunValues``, of one recipe and format, in order. Runs that the model does not know are left out.
    done : WhatWasDone
    scale : {"log", "linear"}
    phases : sequence of FrozenPhase
        The series' own.
    """
    effect = runs["run"].map(dict(done.effects)).to_numpy(np.float64)
    known = ~np.isnan(effect)
    own = runs[known].reset_index(drop=True)
    if not len(own):
        return own, _without(~known)
    marks = series_phases(phases, own).marks
    expected = np.exp(effect[known]) if scale == "log" else effect[known]
    baseline = marks.baseline if marks.baseline.any() else None
    left = adjusted(own["value"].to_numpy(np.float64), expected, scale=scale, baseline=baseline, rules=())
    return own.assign(value=left.chart.values), (*_without(~known), *_explained(left.share_explained))


def _without(unknown: npt.NDArray[np.bool_]) -> tuple[str, ...]:
    out = int(np.count_nonzero(unknown))
    if not out:
        return ()
    return (f"{count(out, 'run is', 'runs are')} left out: what was done to the beer is not on record.",)


def _explained(share: float) -> tuple[str, ...]:
    if not math.isfinite(share):
        return ()
    if share <= 0.005:
        return ("What was done explains none of the baseline’s spread in this series.",)
    return (f"What was done explains {100 * share:.0f} % of the baseline’s spread in this series.",)
