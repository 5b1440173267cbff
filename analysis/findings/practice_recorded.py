"""Was a practice written down often enough, and not only when something went wrong?"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.wording import amount
from analysis.vocabulary import PRACTICES, Practice

__all__ = ["seldom_recorded"]

# Every model needs complete rows: a practice noted for fewer batches would take the others away from every verdict.
LEAST_SHARE_RECORDED = 0.8
WENT_WRONG = 0.01
FEWEST_ON_A_SIDE = 3

Floats = npt.NDArray[np.float64]


def seldom_recorded(frame: pd.DataFrame, values: pd.Series, practice: Practice) -> str:
    """Return why a practice was not recorded well enough to be compared, or an empty text where it was.

    Parameters
    ----------
    frame : DataFrame
        ``y`` [the measure's kept unit], ``recipe`` and ``batch`` of the rows that have a reading.
    values : Series
        The practice in those rows.
    practice : Practice
        One of the vocabulary's that may not apply to a batch (the rest since a rouse) may be missing for good reason.
    """
    if practice.may_not_apply and practice.name in PRACTICES:
        return ""
    noted = values.notna().groupby(frame["batch"]).mean()
    batches, share = len(noted), float((noted > 0.5).mean())
    if share == 1.0:
        return ""
    p, ratio = _noted_against_not(frame, values.notna())
    if p <= WENT_WRONG and share < LEAST_SHARE_RECORDED:
        way = "higher" if ratio > 0 else "lower"
        return (
            f"seems to be written down only when something went wrong: the batches with it read "
            f"{amount(abs(ratio), '%', digits=2)} {way} than those without"
        )
    if share < LEAST_SHARE_RECORDED and not practice.may_not_apply:
        return f"recorded for {round(share * batches):,} of {batches:,} batches; at least 8 in 10 are needed"
    return ""


def _noted_against_not(frame: pd.DataFrame, noted: pd.Series) -> tuple[float, float]:
    """The p-value, and by how many percent batches with a note read higher, within recipes."""
    y = np.log(frame["y"]) if (frame["y"] > 0).all() else frame["y"]
    by_batch = (
        pd.DataFrame({"recipe": frame["recipe"], "batch": frame["batch"], "y": y, "noted": noted.astype(np.float64)})
        .groupby(["recipe", "batch"])
        .mean()
    )
    within = by_batch - by_batch.groupby("recipe").transform("mean")
    x, outcome = within["noted"].to_numpy(np.float64), within["y"].to_numpy(np.float64)
    sides = int((by_batch["noted"] > 0.5).sum())
    df = len(within) - by_batch.index.get_level_values("recipe").nunique() - 1
    if min(sides, len(within) - sides) < FEWEST_ON_A_SIDE or df < 1 or not (spread := float(x @ x)) > 0:
        return 1.0, 0.0
    slope = float(x @ outcome) / spread
    left = outcome - slope * x
    error = math.sqrt(float(left @ left) / df / spread)
    p = float(2.0 * stats.t.sf(abs(slope) / error, df)) if error > 0 else 1.0
    level = float(frame["y"].mean())
    logged = bool((frame["y"] > 0).all())
    return p, 100.0 * (math.expm1(slope) if logged else slope / abs(level) if level else slope)
