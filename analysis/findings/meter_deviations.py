"""What did each check of a meter say: by how much did it read too high or too low?

Against something that holds the quantity (air-saturated water, formazin) a meter is off by a share of it; against zero
it is off by an amount. The two are never put into one series.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.oxygen import oxygen_solubility
from analysis.records.air_saturated import air_saturated

__all__ = ["COLUMNS", "Deviations", "deviations"]

COLUMNS = ("meter", "quantity", "at", "deviation", "references")

_MICROGRAMS = 1_000.0
_NOT_SAID = "not said"


@dataclass(frozen=True)
class Deviations:
    """The checks of every meter, those of one day and kind taken together.

    ``span`` and ``zero`` have the columns ``COLUMNS``: the deviation is a difference of natural logs in ``span`` and
    [the quantity's kept unit] in ``zero``; ``references`` counts the readings behind it. ``levels`` has a row a single
    check against something above 0: ``meter``, ``quantity``, ``reference``, ``deviation``. ``computed`` counts the
    references worked out from temperature and pressure, ``left_out`` the checks that could not be used.
    """

    span: pd.DataFrame
    zero: pd.DataFrame
    levels: pd.DataFrame
    computed: int
    left_out: int


def deviations(checks: pd.DataFrame) -> Deviations:
    """Return what the checks on record say.

    Parameters
    ----------
    checks : DataFrame
        As the ledger keeps ``meter_checks``: ``meter``, ``checked_at``, ``quantity``, ``reference`` and ``observed``
        in the quantity's kept unit, ``extra`` with the further columns as JSON.

    Notes
    -----
    A check of dissolved oxygen in air-saturated water that gives no reference but the water's temperature and the air
    pressure has its reference computed after Benson and Krause 1984.
    """
    frame = checks.assign(quantity=checks["quantity"].fillna(_NOT_SAID))
    computed = frame["reference"].isna() & (frame["quantity"] == "dissolved_oxygen")
    frame.loc[computed, "reference"] = [_air_saturated(extra) for extra in frame.loc[computed, "extra"]]
    usable = frame["reference"].notna() & frame["observed"].notna() & frame["checked_at"].notna()
    usable &= (frame["reference"] == 0) | ((frame["reference"] > 0) & (frame["observed"] > 0))
    kept = frame[usable]
    above = kept[kept["reference"] > 0].copy()
    above["deviation"] = np.log(above["observed"] / above["reference"])
    at_zero = kept[kept["reference"] == 0].assign(deviation=lambda rows: rows["observed"])
    return Deviations(
        _by_day(above),
        _by_day(at_zero),
        above[["meter", "quantity", "reference", "deviation"]].reset_index(drop=True),
        int((computed & usable).sum()),
        int((~usable).sum()),
    )


def _by_day(rows: pd.DataFrame) -> pd.DataFrame:
    """Return one deviation a meter, quantity and day: what was read minutes apart is one look at the meter."""
    groups = rows.groupby([rows["meter"], rows["quantity"], rows["checked_at"].dt.normalize()], sort=True)
    told = groups.agg(at=("checked_at", "min"), deviation=("deviation", "mean"), references=("deviation", "size"))
    return told.reset_index(["meter", "quantity"])[list(COLUMNS)].reset_index(drop=True)


def _air_saturated(extra: object) -> float:
    """Return the oxygen of air-saturated water [µg/L] from a check's further cells; NaN where they do not say."""
    cells = dict(json.loads(extra)) if isinstance(extra, str) and extra else {}
    found = air_saturated({header: str(cell) for header, cell in cells.items()})
    if found is None:
        return float("nan")
    return float(oxygen_solubility(found.temperature, found.pressure)) * _MICROGRAMS
