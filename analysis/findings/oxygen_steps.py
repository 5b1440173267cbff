"""Which oxygen readings stand before and after each step on a batch's way to the closed pack?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
import pandas as pd

from analysis.linking import PackTable

__all__ = ["LEVELS", "STEPS", "OxygenSteps", "oxygen_steps"]

STEPS: Mapping[str, str] = MappingProxyType(
    {
        "rouse": "over a rouse",
        "racking": "from fermenter to bright tank",
        "to_filler": "from tank to filler",
        "closing": "from filler to closed pack",
    }
)
"""The steps in the order of the beer's way, with their words."""

LEVELS: Mapping[str, str] = MappingProxyType(
    {
        "fermenter": "in the fermenter",
        "bright_tank": "in the bright tank",
        "filler": "at the filler",
        "pack": "in the pack",
    }
)

_ROUSE_HOURS = 4.0
_FRESH_DAYS = 1.0
_READ = ["batch", "run", "recipe", "tank", "format", "stage", "measured_at", "value", "censored", "meter"]
_COLUMNS = ("step", "batch", "run", "recipe", "tank", "line", "format", "low", "upper", "meters", "minutes")


@dataclass(frozen=True, eq=False)
class OxygenSteps:
    """The rises and the levels of oxygen [µg/L].

    ``rises`` has a row a step of a batch (and run, from the filler on): ``step``, ``batch``, ``run``, ``recipe``,
    ``tank``, ``line``, ``format``, ``low`` and ``upper`` (the rise lies between them; ``upper`` NaN where it is exact),
    ``meters`` (1 where one meter read both ends, else 2) and ``minutes`` [min], how long a rouse lasted. ``levels`` has
    a row a batch or run and stage: ``stage``, ``batch``, ``run``, ``recipe``, ``tank``, ``format``, ``value``,
    ``censored`` (−1 "<").
    """

    rises: pd.DataFrame
    levels: pd.DataFrame


def oxygen_steps(table: PackTable) -> OxygenSteps:
    """Return the rises and levels that the readings on record show.

    The pack's oxygen is the mean total package oxygen of a run's packs opened within a day of closing: later it has
    gone into the beer. A rouse's rise is taken from the last reading before to the first after it, both within four
    hours of it.
    """
    read = _in_tanks(table)
    first = read[read["stage"] == "fermenter"].groupby("batch").head(1)
    last = {stage: read[read["stage"] == stage].groupby("batch").tail(1) for stage in ("fermenter", "bright_tank")}
    filler, pack = _filler(table, read), _packs(table)
    before = _latest(last)
    rises = [
        _rouses(table, read),
        _between("racking", last["fermenter"], last["bright_tank"], ["batch"]),
        _between("to_filler", before, filler, ["batch"]),
        _between("closing", filler, pack, ["batch", "run"]),
    ]
    levels = [first.assign(stage="fermenter"), last["bright_tank"], filler, pack]
    kept = ["stage", "batch", "run", "recipe", "tank", "format", "value", "censored"]
    found = [part for part in rises if len(part)]
    return OxygenSteps(
        pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=list(_COLUMNS)),
        pd.concat([level.reindex(columns=kept) for level in levels if len(level)], ignore_index=True)
        if any(len(level) for level in levels)
        else pd.DataFrame(columns=kept),
    )


def _in_tanks(table: PackTable) -> pd.DataFrame:
    """Return the dissolved oxygen before the pack, in the order of time; a ">" says nothing of a rise and is left."""
    read = table.readings
    if not len(read):
        return pd.DataFrame(columns=_READ)
    own = read[(read["quantity"] == "dissolved_oxygen") & read["stage"].isin(["fermenter", "bright_tank", "filler"])]
    own = own[own["batch"].notna() & own["measured_at"].notna() & (own["censored"] <= 0)]
    return own.sort_values("measured_at", kind="stable").reindex(columns=_READ)


def _latest(last: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return each batch's last reading before the filler, in the bright tank where it has one."""
    return pd.concat([last["bright_tank"], last["fermenter"]]).drop_duplicates("batch")


def _filler(table: PackTable, read: pd.DataFrame) -> pd.DataFrame:
    own = read[(read["stage"] == "filler") & read["run"].notna()]
    told = own.groupby(["batch", "run"], as_index=False).agg(
        {"recipe": "first", "value": "mean", "censored": "min", "meter": "first", "measured_at": "first"}
    )
    return _with_run(table, told.assign(stage="filler"))


def _packs(table: PackTable) -> pd.DataFrame:
    rows = table.rows
    if not len(rows) or "total_oxygen" not in rows:
        return pd.DataFrame(columns=_READ)
    fresh = rows[rows["total_oxygen"].notna() & (rows["age_days"].fillna(0) < _FRESH_DAYS)]
    told = fresh.groupby(["batch", "run"], as_index=False).agg(
        recipe=("recipe", "first"),
        value=("total_oxygen", "mean"),
        censored=("total_oxygen_censored", "min"),
        meter=("total_oxygen_meter", "first"),
    )
    return _with_run(table, told.assign(stage="pack"))


def _with_run(table: PackTable, told: pd.DataFrame) -> pd.DataFrame:
    runs = table.rows.drop_duplicates("run").reindex(columns=["run", "tank", "line", "format"])
    return told.merge(runs, on="run", how="left")


def _rouses(table: PackTable, read: pd.DataFrame) -> pd.DataFrame:
    done = table.operations
    own = read[read["stage"] == "fermenter"]
    if not len(done) or not len(own):
        return pd.DataFrame(columns=list(_COLUMNS))
    rouses = done[(done["operation"] == "rouse") & done["started_at"].notna()]
    minutes = pd.to_timedelta(rouses["minutes"].fillna(0), unit="min")
    rouses = rouses[["batch", "started_at"]].assign(ends=rouses["ended_at"].fillna(rouses["started_at"] + minutes))
    own = own.assign(measured_at=own["measured_at"].astype("datetime64[us]"))
    before, after = _nearest(rouses, own, "started_at", "backward"), _nearest(rouses, own, "ends", "forward")
    lasted = (after["ends"] - after["started_at"]).dt.total_seconds() / 60
    after = after.assign(minutes=lasted.where(lasted > 0))
    key = ["batch", "started_at"]
    return _between("rouse", before[before["value"].notna()], after[after["value"].notna()], key)


def _nearest(
    rouses: pd.DataFrame, own: pd.DataFrame, at: str, direction: Literal["backward", "forward"]
) -> pd.DataFrame:
    """Return each rouse with the reading nearest before or after it, missing where none is within the hours."""
    begins = rouses.assign(**{at: rouses[at].astype("datetime64[us]")}).sort_values(at)
    within = pd.Timedelta(hours=_ROUSE_HOURS)
    return pd.merge_asof(
        begins, own, left_on=at, right_on="measured_at", by="batch", direction=direction, tolerance=within
    )


def _between(step: str, before: pd.DataFrame, after: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """Return the rises of a step: exact, or between two ends where either reading was a "<"."""
    if not len(before) or not len(after):
        return pd.DataFrame(columns=list(_COLUMNS))
    both = after.merge(before[[*key, "value", "censored", "meter"]], on=key, suffixes=("", "_before"))
    exact = (both["censored"] == 0) & (both["censored_before"] == 0)
    least = np.where(both["censored"] < 0, 0.0, both["value"]) - both["value_before"]
    most = both["value"] - np.where(both["censored_before"] < 0, 0.0, both["value_before"])
    rises = both.assign(
        step=step,
        low=np.where(exact, both["value"] - both["value_before"], least),
        upper=np.where(exact, np.nan, most),
        meters=np.where(both["meter"] == both["meter_before"], 1, 2),
    )
    return rises.reindex(columns=list(_COLUMNS))
