"""Did an action work: has the level come back since, against the runs before it?

The run is the unit, on a log scale where the measure is skewed. The runs of the matter before the action are held
against all runs of the same chart since, neighbouring runs' likeness allowed for; where only signals made the matter,
the run that raised the first of them is left out, because it was picked for being extreme. Where other recipes (or, for
a line, other lines) were packed over the same time, the action must also show against them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.review_matters import Matter
from analysis.findings.wording import change as change_words
from analysis.findings.wording import count, day, percent, percent_of_ratio
from analysis.models import CannotFitError
from analysis.models.series import compared, interrupted

__all__ = ["Effect", "Worked", "effect_of"]

FEWEST = 4  # runs on a side, as the series' model asks
MOST_MORE = 60
_HALF = 0.5

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Worked(StrEnum):
    """What may be said of an action."""

    WORKED = "worked"
    DID_NOT = "did not work"
    CANNOT_TELL_YET = "cannot tell yet"


@dataclass(frozen=True)
class Effect:
    """How the level changed with an action.

    ``change`` is in the measure's unit (or in percent where ``unit`` is "%": on a log scale) with its 95 % interval
    ``low`` to ``high``, NaN where there are too few runs. ``against_others`` is the same against what was not changed,
    as (change, low, high), None where there is nothing of the kind. ``more_runs`` is how many more would tell, None
    where none are needed or no number would.
    """

    verdict: Worked
    sentence: str
    change: float
    low: float
    high: float
    unit: str
    before: int
    after: int
    against_others: tuple[float, float, float] | None = None
    more_runs: int | None = None

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document has it."""
        numbers = {"change": self.change, "low": self.low, "high": self.high}
        others = self.against_others
        return {
            "verdict": str(self.verdict),
            "sentence": self.sentence,
            **{name: value if math.isfinite(value) else None for name, value in numbers.items()},
            "unit": self.unit,
            "runs_before": self.before,
            "runs_after": self.after,
            "against_others": None if others is None else dict(zip(("change", "low", "high"), others, strict=True)),
            "more_runs": self.more_runs,
        }


@dataclass(frozen=True, eq=False)
class _Runs:
    """The runs that are compared, in order: ``y`` on the measure's scale, each recipe and format about its own usual
    level; ``order`` counts all runs of the table; ``action`` is the order of the first run since the action."""

    y: Floats
    order: Ints
    action: int

    @property
    def before(self) -> int:
        return int((self.order < self.action).sum())

    @property
    def after(self) -> int:
        return int((self.order >= self.action).sum())


def effect_of(matter: Matter, on: date, all_runs: pd.DataFrame) -> Effect:
    """Return whether an action worked.

    Parameters
    ----------
    matter : Matter
    on : date
        When the action was done; the runs of that day count as packed after it.
    all_runs : DataFrame
        Every run of the measure at that stage, as ``RunValues.runs``: what was not changed is taken from there.
    """
    log = matter.size.log
    counted = all_runs.reset_index(drop=True)
    values = counted["value"].to_numpy(np.float64)
    y = np.log(values) if log else values
    labels = counted["run"].where(counted["run"].notna(), counted["batch"]).astype("str")
    since = counted["at"].to_numpy() >= np.datetime64(pd.Timestamp(on))
    action = int(np.argmax(since)) if since.any() else len(counted)
    own = _own(matter, y, labels, action)
    early = _came_back_before(matter, on)
    if early:
        return _told(Worked.CANNOT_TELL_YET, early, own, log, matter)
    if own.before < FEWEST:
        return _few_before(matter, own, log)
    move = matter.size.on_scale
    if own.after < FEWEST:
        more = max(_needed(own, move) - own.after, FEWEST - own.after)
        return _told(Worked.CANNOT_TELL_YET, _not_yet(own, more), own, log, matter, more=more)
    try:
        fit = interrupted(own.y, own.order, own.action, trend=False)
    except CannotFitError as error:
        return _told(Worked.CANNOT_TELL_YET, f"It cannot be told yet: {error}.", own, log, matter)
    others = _others(matter, y, counted, labels, own)
    return _judged(matter, own, (fit.step.value, fit.step.low, fit.step.high), others)


def _own(matter: Matter, y: Floats, labels: pd.Series, action: int) -> _Runs:
    """Return the matter's runs before the action and the chart's runs since."""
    place = {label: number for number, label in enumerate(labels)}
    order = np.array([place[label] for label in matter.chart["label"]], dtype=np.int64)
    inside = np.arange(len(order))
    stretch = matter.stretch
    kept = (inside >= stretch.first) & (inside <= stretch.last) & (order < action)
    if stretch.move is None and stretch.signals:
        kept &= inside != min(signal.at for signal in stretch.signals)
    kept |= order >= action
    groups = matter.chart["group"].to_numpy(np.int64)
    usual = _usual(matter, y[order], groups)
    kept &= np.isfinite(usual)
    return _Runs((y[order] - usual)[kept], order[kept], action)


def _usual(matter: Matter, y: Floats, groups: Ints) -> Floats:
    """Return each run's usual level: its recipe and format's mean over the runs that the matter is held against."""
    against = matter.size.against
    sums = np.bincount(groups[against], y[against], minlength=groups.max() + 1)
    n = np.bincount(groups[against], minlength=groups.max() + 1)
    return np.where(n > 0, sums / np.maximum(n, 1), np.nan)[groups]


def _others(
    matter: Matter, y: Floats, counted: pd.DataFrame, labels: pd.Series, own: _Runs
) -> tuple[float, float, float] | None:
    """Return the change against runs of the same time that were not changed; None where there are too few."""
    chart = set(matter.chart["label"])
    other = ~labels.isin(chart).to_numpy(np.bool_)
    if matter.key.line is not None:
        other &= (
            counted["line"].notna().to_numpy(np.bool_) & (counted["line"].astype("str") != matter.key.line).to_numpy()
        )
    elif matter.key.format is not None:
        other &= (counted["format"].astype("str") == matter.key.format).to_numpy(np.bool_)
    other &= np.arange(len(counted)) >= int(own.order.min())
    group = pd.factorize(counted["recipe"].astype("str") + "\x1f" + counted["format"].astype("str"))[0]
    order = np.flatnonzero(other)
    both = {g for g in np.unique(group[order]) if _both_sides(order[group[order] == g], own.action)}
    order = order[np.isin(group[order], list(both))] if both else order[:0]
    if not len(order):
        return None
    centred = y[order] - pd.Series(y[order]).groupby(group[order]).transform("mean").to_numpy(np.float64)
    try:
        fit = compared(own.y, own.order, centred, order, own.action)
    except CannotFitError:
        return None
    return fit.step.value, fit.step.low, fit.step.high


def _both_sides(order: Ints, action: int) -> bool:
    return bool((order < action).any() and (order >= action).any())


def _came_back_before(matter: Matter, on: date) -> str:
    ended = matter.stretch.ended_by
    if ended is None or pd.Timestamp(on) <= ended.latest:
        return ""
    return f"The level had come back about {day(ended.at)}, before the action: what the action did cannot be told."


def _few_before(matter: Matter, own: _Runs, log: bool) -> Effect:
    """Return what can be said where hardly a run lies between the beginning of the matter and the action."""
    side = matter.stretch.side
    later = [
        signal
        for signal in matter.series.signals
        if signal.side in (side, 0) and signal.at > matter.stretch.last and signal.start > matter.stretch.last
    ]
    runs = count(own.after, "run")
    few = f"Only {count(own.before, 'run')} of it {'was' if own.before == 1 else 'were'} packed before the action"
    if own.before == 0:
        few = "No run of it but the one that stood out was packed before the action"
    if later:
        return _told(Worked.CANNOT_TELL_YET, f"{few}, and there are signals on that side since.", own, log, matter)
    since = f"none of the {runs} since gave a signal on that side" if own.after else "no run was packed since"
    sentence = f"{few}, too few to hold a level against: {since}. More runs will only show whether it stays away."
    return _told(Worked.CANNOT_TELL_YET, sentence, own, log, matter)


def _needed(own: _Runs, move: float) -> int:
    """Return how many runs since the action it takes for an interval of half the move to either side; a large number
    where the runs before it are too few for that."""
    first = own.y[own.order < own.action]
    spread = float(np.std(first, ddof=1)) if len(first) > 1 else math.inf
    reach = float(stats.t.ppf(0.975, max(len(first) - 1, 1)))
    share = (_HALF * abs(move) / (reach * spread)) ** 2 - 1 / len(first) if 0 < spread < math.inf else 0.0
    return math.ceil(1 / share) if share > 0 else 10 * MOST_MORE


def _not_yet(own: _Runs, more: int) -> str:
    packed = (
        "No run was packed since the action" if own.after == 0 else f"Only {count(own.after, 'run')} since the action"
    )
    return f"{packed}: {_more_words(more)}."


def _more_words(more: int) -> str:
    if more > MOST_MORE:
        return "the runs before it are too few or too uneven for any number of further ones to tell soon"
    return f"about {count(more, 'more run')} will tell"


def _judged(
    matter: Matter, own: _Runs, step: tuple[float, float, float], others: tuple[float, float, float] | None
) -> Effect:
    move = matter.size.on_scale
    log = matter.size.log
    better = _toward(step, move)
    words = _size_words(step, log, matter)
    beside = "" if others is None else f" Against {_not_changed(matter)}: {_size_words(others, log, matter)}."
    if better[1] > 0 and others is not None and _toward(others, move)[1] <= 0:
        sentence = f"The level changed by {words}, but {_not_changed(matter)} moved as well.{beside}"
        more = _more(own, move)
        verdict = Worked.CANNOT_TELL_YET
        return _told(verdict, f"{sentence} {_more_sentence(more)}", own, log, matter, step, others, more)
    if better[1] > 0:
        whole = better[2] >= abs(move)
        how = "as far as can be told, all the way" if whole else "but not all the way"
        return _told(
            Worked.WORKED,
            f"It worked: since then the level came back, {how}: {words}.{beside}",
            own,
            log,
            matter,
            step,
            others,
        )
    if better[2] < _HALF * abs(move):
        return _told(
            Worked.DID_NOT,
            f"It did not work: the level has not come back by even half ({words}).{beside}",
            own,
            log,
            matter,
            step,
            others,
        )
    more = _more(own, move)
    sentence = f"It cannot be told yet: {words}.{beside} {_more_sentence(more)}"
    return _told(Worked.CANNOT_TELL_YET, sentence, own, log, matter, step, others, more)


def _not_changed(matter: Matter) -> str:
    return "the other recipes" if matter.key.line is None else "the other lines"


def _more(own: _Runs, move: float) -> int:
    return max(_needed(own, move) - own.after, 1)


def _more_sentence(more: int) -> str:
    words = _more_words(more)
    return f"{words[:1].upper()}{words[1:]}."


def _toward(step: tuple[float, float, float], move: float) -> tuple[float, float, float]:
    """Return a step counted toward the usual level, with its interval."""
    if move > 0:
        return -step[0], -step[2], -step[1]
    return step


def _in_unit(step: tuple[float, float, float], log: bool) -> tuple[float, float, float]:
    return tuple(percent_of_ratio(part) for part in step) if log else step  # type: ignore[return-value]


def _size_words(step: tuple[float, float, float], log: bool, matter: Matter) -> str:
    size, low, high = _in_unit(step, log)
    if log:
        return f"{percent(size)} (95 % interval {percent(low)} to {percent(high)})"
    unit = matter.measure.unit
    return f"{change_words(size, unit)} (95 % interval {change_words(low)} to {change_words(high, unit)})"


def _told(
    verdict: Worked,
    sentence: str,
    own: _Runs,
    log: bool,
    matter: Matter,
    step: tuple[float, float, float] = (math.nan, math.nan, math.nan),
    others: tuple[float, float, float] | None = None,
    more: int | None = None,
) -> Effect:
    unit = "%" if log else matter.measure.unit
    against = None if others is None else _in_unit(others, log)
    soon = more if more is not None and more <= MOST_MORE else None
    return Effect(verdict, sentence, *_in_unit(step, log), unit, own.before, own.after, against, soon)
