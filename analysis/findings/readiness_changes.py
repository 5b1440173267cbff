"""What does the practices' model say that another dump, dose or day would change for a tank?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

import numpy as np

from analysis.findings.practices import practices
from analysis.findings.wording import listing, percent
from analysis.haze import Forecast
from analysis.linking import PackTable

__all__ = ["Change", "changes_in_words", "changes_of", "first_met"]

_ASKED = ("cone_dumps", "cold_hours", "rouse_minutes", "finings_count")
_LEAVES_IT_ALONE = ("cone_dumps", "cold_hours")
_TELLS = ("lowers", "raises")
_SAID: Mapping[str, str] = MappingProxyType(
    {
        "cone_dumps": "another cone dump",
        "cold_hours": "another day cold",
        "finings_count": "another dose of finings",
    }
)
_SEED = 73
_NORMAL = 1.959963984540054


@dataclass(frozen=True)
class Change:
    """What the practices' model says one more step of a practice goes with in the finished pack, in percent.

    ``ready_on`` is the first day on which this tank would be in its target if that held for it; None where it would
    not, where there is no target or no effect is told, or where the step stirs the tank (``stirs``) and so begins its
    settling anew.
    """

    practice: str
    label: str
    step_unit: str
    percent: float
    low: float
    high: float
    verdict: str
    stirs: bool
    ready_on: datetime | None = None


def changes_of(
    table: PackTable,
    told: Forecast,
    moments: Sequence[datetime],
    band: tuple[float, float] | None,
    confidence: float,
) -> tuple[Change, ...]:
    """Return what the model says of one more step of each practice that a cellar can still do.

    Parameters
    ----------
    table : PackTable
    told : Forecast
        The tank's, at ``moments``.
    moments : sequence of datetime
    band : pair of float, optional
        The target [EBC]; None where there is none.
    confidence : float
        How sure it must be that the target is met.
    """
    finding = practices(table, "haze")
    if finding.level is None:
        return ()
    found = []
    for effect in finding.practices:
        name = effect.practice.split(" + ")[0]
        if name not in _ASKED and "_dose" not in effect.practice:
            continue
        share = 100 / finding.level
        low, high = share * effect.effect.low, share * effect.effect.high
        stirs = name not in _LEAVES_IT_ALONE
        ready_on = None
        if band is not None and not stirs and str(effect.verdict) in _TELLS:
            ready_on = first_met(moments, _chance(told, effect.percent, low, high, band), confidence)
        found.append(
            Change(
                effect.practice, effect.label, effect.step_unit, effect.percent, low, high, str(effect.verdict), stirs,
                ready_on,
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda change: _order(change.practice)))


def _order(practice: str) -> int:
    """Return where a practice stands: dumps first, then doses, the day, and rousing last."""
    return next((place for place, word in enumerate(("cone_dumps", "_dose", "finings", "cold")) if word in practice), 9)


def _chance(told: Forecast, middle: float, low: float, high: float, band: tuple[float, float]) -> Sequence[float]:
    """Return the chance of being in the band at each moment if the step did to this tank what it goes with."""
    log = [np.log1p(max(each, -99.0) / 100) for each in (middle, low, high)]
    rng = np.random.default_rng(_SEED)
    drawn = rng.normal(log[0], (log[2] - log[1]) / (2 * _NORMAL), len(told.draws))
    draws = told.draws * np.exp(drawn)[:, None]
    return list(((draws >= band[0]) & (draws <= band[1])).mean(axis=0))


def first_met(moments: Sequence[datetime], chance: Sequence[float], confidence: float) -> datetime | None:
    """Return the first moment whose chance reaches the confidence, None where none does."""
    return next((at for at, each in zip(moments, chance, strict=True) if each >= confidence), None)


def changes_in_words(changes: Sequence[Change]) -> str:
    """Return what the model says of another dump, dose or day in a sentence; rousing more is left to the table."""
    changes = [c for c in changes if c.practice != "rouse_minutes"]
    told = [(_step(c), percent(c.percent)) for c in changes if c.verdict in _TELLS]
    same = [_step(c) for c in changes if c.verdict == "no practical difference"]
    is_open = [_step(c) for c in changes if c.verdict == "cannot tell yet"]
    parts = []
    if told:
        (first, much), *rest = told
        others = [f"{step} with {share}" for step, share in rest]
        parts.append(listing([f"{first} goes with {much} of haze in the pack", *others], most=12))
    if same:
        parts.append(f"{listing(same)} {'makes' if len(same) == 1 else 'make'} no practical difference")
    if is_open:
        parts.append(f"of {listing(is_open)} it cannot tell yet")
    if not parts:
        return ""
    return f"By the practices' model {'; '.join(parts)}."


def _step(change: Change) -> str:
    """Return one step more of a practice as a brewer says it."""
    if change.practice in _SAID:
        return _SAID[change.practice]
    return f"{change.step_unit} more {change.label.replace(' dose', '').lower()}"
