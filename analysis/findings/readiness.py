"""When will this tank be clear enough to package?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from analysis.findings.filters import Filters
from analysis.findings.haze_kinds import haze_kinds
from analysis.findings.readiness_changes import Change, changes_in_words, changes_of
from analysis.findings.readiness_check import TankHistory, tank_history
from analysis.findings.readiness_result import Day, Readiness
from analysis.findings.readiness_words import answer_of, cautions_of
from analysis.findings.series_targets import target_limits
from analysis.findings.tank_readings import day_number, stirs
from analysis.findings.tanks_now import as_of, batch_named, batches_in_tank, tank_of
from analysis.findings.wording import listing
from analysis.haze import Forecast, Settling, beer_viscosity, forecast, stokes_velocity
from analysis.linking import PackTable

__all__ = ["Change", "Day", "Readiness", "ready"]

_HORIZON = 14
_YEAST, _HEAVIER, _COLD = 6.0, 70.0, 1.0
_QUESTION = "When will batch {batch} be clear enough to package?"


def ready(
    table: PackTable,
    batch: str,
    *,
    confidence: float = 0.9,
    at: datetime | None = None,
    history: TankHistory | None = None,
    changes: bool = True,
) -> Readiness:
    """Return when a tank meets its haze target.

    Parameters
    ----------
    table : PackTable
    batch : str
        The batch's key or number.
    confidence : float
        How sure it must be, and the confidence of the intervals.
    at : datetime, optional
        Now; where it is not given the latest moment on record, or when the batch was packed.
    history : TankHistory, optional
        How the tanks have settled, where it is known already for that moment and confidence.
    changes : bool
        Whether the practices' model is asked what more of a practice would change.

    Raises
    ------
    ValueError
        If ``confidence`` does not lie between 0.5 and 1.
    """
    if not 0.5 <= confidence < 1:
        raise ValueError(f"ready: confidence must lie between 0.5 and 1, got {confidence}")
    now = pd.Timestamp(at) if at is not None else as_of(table)
    tanks = batches_in_tank(table, now)
    key = batch_named(table, batch) if len(table.batches) else None
    if key is None or now is None:
        return _unanswered(table, batch, tanks, f"No batch {batch} is on record.", confidence)
    if key not in tanks and at is None:
        now = _packed_at(table, key, now)
    began = stirs(table.operations)
    own_stirs = began[(began["batch"] == key) & (began["stirred_at"] <= now)]["stirred_at"]
    if not len(own_stirs):
        why = f"Batch {key} has no rouse or finings on record: nothing says when it began to settle."
        return _unanswered(table, key, tanks, why, confidence)
    past = history if history is not None else tank_history(table, now, confidence)
    if past.fit is None:
        why = "Too few tanks were read for haze after a rouse or finings to say how they settle."
        return _unanswered(table, key, tanks, why, confidence)
    return _forecast(table, key, past, past.fit, own_stirs.max(), now, confidence, tanks, changes)


def _forecast(
    table: PackTable,
    key: str,
    past: TankHistory,
    fit: Settling,
    stirred: pd.Timestamp,
    now: pd.Timestamp,
    confidence: float,
    tanks: tuple[str, ...],
    changes: bool,
) -> Readiness:
    recipe, readings = _recipe(table, key), past.read.readings
    own = readings[(readings["batch"] == key) & (readings["stirred_at"] == stirred)]
    target = target_limits(table.targets, "haze", recipe or None, None)
    lower, upper = (None, None) if target is None else (target.lower, target.upper)
    band = None if target is None else (-math.inf if lower is None else lower, math.inf if upper is None else upper)
    moments = [now + pd.Timedelta(days=ahead) for ahead in range(_HORIZON + 1)]
    told = _course(past, fit, recipe, own, stirred, moments, confidence)
    days = _days(told, moments, band)
    ready_on, until = _when(days, confidence)
    asked = changes_of(table, told, [each.to_pydatetime() for each in moments], band, confidence) if changes else ()
    answer = answer_of(key, recipe, days, ready_on, until, lower, upper, confidence, key not in tanks)
    return Readiness(
        question=_QUESTION.format(batch=key),
        answer=" ".join(part for part in (answer, changes_in_words(asked)) if part),
        cautions=(*table.remarks_on("haze"), *cautions_of(table, key, own, fit, recipe, past)),
        ledger_state=table.state,
        filters=Filters(),
        batch=key,
        recipe=recipe,
        tank=tank_of(table, key),
        as_of=now.to_pydatetime(),
        stirred_at=stirred.to_pydatetime(),
        read=own[["measured_at", "haze", "hours"]].reset_index(drop=True),
        lower=lower,
        upper=upper,
        confidence=confidence,
        ready_on=ready_on,
        until=until,
        days=days,
        settling_hours=fit.hours(recipe),
        changes=asked,
        checked=past.checked,
        pack_over_tank=past.pack_over_tank,
        stokes=_lone_cell(),
        in_tank=tanks,
        kinds=haze_kinds(table, recipe, own),
    )


def _lone_cell() -> float:
    """Return how far a single yeast cell sinks in still, cold beer [mm/h]."""
    return 3.6e6 * float(stokes_velocity(_YEAST, _HEAVIER, beer_viscosity(_COLD)))


def _course(
    past: TankHistory,
    fit: Settling,
    recipe: str,
    own: pd.DataFrame,
    stirred: pd.Timestamp,
    moments: Sequence[pd.Timestamp],
    confidence: float,
) -> Forecast:
    hours = np.array([(moment - stirred).total_seconds() / 3600 for moment in moments])
    read, haze = own["hours"].to_numpy(dtype=float), own["haze"].to_numpy(dtype=float)
    stretch = 1.0 if past.checked is None else past.checked.stretch(len(read))
    day = float(day_number(pd.Series([stirred]))[0])
    return forecast(fit, recipe, read, haze, hours, level=confidence, day=day, stretch=stretch)


def _days(told: Forecast, moments: Sequence[pd.Timestamp], band: tuple[float, float] | None) -> tuple[Day, ...]:
    chance = np.full(len(moments), math.nan) if band is None else told.chance_within(*band)
    rows = zip(moments, told.expected, told.low, told.high, chance, strict=True)
    return tuple(Day(m.to_pydatetime(), float(e), float(lo), float(hi), float(c)) for m, e, lo, hi, c in rows)


def _when(days: Sequence[Day], confidence: float) -> tuple[datetime | None, datetime | None]:
    """Return the first day on which the target is met, and the last of that row where it ends within the forecast."""
    met = [d.chance >= confidence for d in days]
    if True not in met:
        return None, None
    first = met.index(True)
    ends = next((i for i in range(first, len(days)) if not met[i]), None)
    return days[first].at, None if ends is None else days[ends - 1].at


def _unanswered(table: PackTable, batch: str, tanks: tuple[str, ...], why: str, confidence: float) -> Readiness:
    here = f" In tank now: {listing(tanks, most=12)}." if tanks else ""
    return Readiness(
        question=_QUESTION.format(batch=batch), answer=f"{why}{here}", cautions=(), ledger_state=table.state,
        filters=Filters(), batch=batch, recipe="", tank="", as_of=None, stirred_at=None,
        read=pd.DataFrame(columns=["measured_at", "haze", "hours"]), lower=None, upper=None, confidence=confidence,
        ready_on=None, until=None, days=(), settling_hours=math.nan, changes=(), checked=None, pack_over_tank=None,
        stokes=_lone_cell(), in_tank=tanks, kinds=None,
    )  # fmt: skip


def _packed_at(table: PackTable, key: str, now: pd.Timestamp) -> pd.Timestamp:
    runs = set(table.blends.loc[table.blends["batch"] == key, "run"]) if len(table.blends) else set()
    packed = table.rows.loc[table.rows["run"].isin(runs) | (table.rows["batch"] == key), "packed_at"].min()
    return now if pd.isna(packed) else packed


def _recipe(table: PackTable, key: str) -> str:
    own = table.batches.loc[table.batches["batch"] == key, "recipe"].dropna()
    return str(own.iloc[0]) if len(own) else ""
