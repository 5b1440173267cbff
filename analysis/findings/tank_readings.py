"""Which haze readings belong to which settling: how long after the last rouse or dose was each made?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.linking import PackTable

__all__ = ["STIRS", "TankHaze", "day_number", "stirs", "tank_haze"]

STIRS = ("rouse", "finings")
"""What starts a settling anew."""

_TANKS = ("fermenter", "bright_tank")
_FIRST_DAY = pd.Timestamp("2000-01-01")


@dataclass(frozen=True, eq=False)
class TankHaze:
    """The haze readings of tanks.

    ``readings`` has the columns ``settling`` (batch and the moment of its last rouse or dose), ``batch``, ``recipe``,
    ``tank``, ``measured_at``, ``haze`` [EBC], ``stirred_at``, ``hours`` [h since then] and ``temperature`` [°C], NaN
    where it is not written. ``not_placed`` counts those
    of batches without a rouse or dose before them, ``not_exact`` those with a "<" or ">" or not above 0.
    """

    readings: pd.DataFrame
    not_placed: int
    not_exact: int


def tank_haze(table: PackTable) -> TankHaze:
    """Return the haze readings of tanks, each with its settling, in the order of time."""
    read = table.readings
    if not len(read):
        return TankHaze(_nothing(), 0, 0)
    own = read[(read["quantity"] == "haze") & read["stage"].isin(_TANKS) & read["batch"].notna()]
    own = own[own["measured_at"].notna()]
    exact = own[(own["censored"] == 0) & (own["value"] > 0)].rename(columns={"value": "haze"})
    placed = pd.merge_asof(
        exact.sort_values("measured_at"),
        stirs(table.operations),
        left_on="measured_at",
        right_on="stirred_at",
        by="batch",
    )
    known = placed[placed["stirred_at"].notna()].copy()
    known["hours"] = (known["measured_at"] - known["stirred_at"]).dt.total_seconds() / 3600
    known["settling"] = known["batch"] + " from " + known["stirred_at"].dt.strftime("%Y-%m-%d %H:%M")
    columns = ["settling", "batch", "recipe", "tank", "measured_at", "haze", "stirred_at", "hours", "temperature"]
    return TankHaze(
        known.reindex(columns=columns).reset_index(drop=True), len(placed) - len(known), len(own) - len(exact)
    )


def day_number(moments: pd.Series) -> NDArray[np.float64]:
    """Return moments as days since the first of 2000, shape (n,)."""
    return np.asarray((moments - _FIRST_DAY).dt.total_seconds() / 86_400, dtype=np.float64)


def stirs(operations: pd.DataFrame) -> pd.DataFrame:
    """Return when each batch was roused or fined: ``batch`` and ``stirred_at``, the end of it, in the order of time."""
    if not len(operations):
        return pd.DataFrame({"batch": pd.Series(dtype="str"), "stirred_at": pd.Series(dtype="datetime64[us]")})
    own = operations[operations["operation"].isin(STIRS) & operations["started_at"].notna()]
    minutes = pd.to_timedelta(own["minutes"].fillna(0), unit="min")
    ends = own["ended_at"].fillna(own["started_at"] + minutes)
    told = pd.DataFrame({"batch": own["batch"], "stirred_at": ends.astype("datetime64[us]")})
    return told.dropna().drop_duplicates().sort_values("stirred_at").reset_index(drop=True)


def _nothing() -> pd.DataFrame:
    text, number, moment = (
        pd.Series(dtype="str"),
        pd.Series(dtype=np.float64),
        pd.Series(dtype="datetime64[us]"),
    )
    return pd.DataFrame(
        {
            "settling": text,
            "batch": text,
            "recipe": text,
            "tank": text,
            "measured_at": moment,
            "haze": number,
            "stirred_at": moment,
            "hours": number,
            "temperature": number,
        }
    )
