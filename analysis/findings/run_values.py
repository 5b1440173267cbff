"""What is one run's value of a measure?

The run is the unit: six cans of a run are one point, their mean on the measure's scale. Cans below a meter's limit
enter by censored maximum likelihood, with the spread that cans of a run have among themselves; a run of which every can
is below it is itself known only to lie below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import censored_means
from analysis.findings.practice_rows import LATEST_OXYGEN_READING_DAYS, OXYGEN
from analysis.findings.wording import count
from analysis.linking import PackTable
from analysis.vocabulary import STAGES, Measure, measure

__all__ = ["RunValues", "run_values", "single_readings"]

_DESCRIBED = ("run", "batch", "recipe", "format", "line", "tank")


@dataclass(frozen=True, eq=False)
class RunValues:
    """One row a run, in the order of their moments.

    ``runs`` has ``run``, ``batch``, ``recipe``, ``format``, ``line``, ``tank`` (text, missing where not known), ``at``,
    ``value`` [the measure's kept unit], ``censored`` (-1 known only to lie below, 0, 1 above), ``packs`` (how many
    readings it is the mean of), ``meter`` (the meters, joined by +) and ``row``: the row of the pack table's frame that
    has the run's practices, -1 where it has none. ``cautions`` say which readings were left out.
    """

    runs: pd.DataFrame
    cautions: tuple[str, ...]


def run_values(table: PackTable, name: str, stage: str = "pack") -> RunValues:
    """Return each run's value of a measure.

    Parameters
    ----------
    table : PackTable
    name : str
        A measure, or a tasting attribute.
    stage : str
        Where it was read. Before the pack a run has no number yet: there a point is a batch.

    Raises
    ------
    ValueError
        If ``stage`` is not one of the vocabulary's.
    """
    if stage not in STAGES:
        raise ValueError(f"run_values: stage must be one of {', '.join(STAGES)}, got {stage!r}")
    asked = measure(name)
    frame = single_readings(table, asked, stage)
    frame, cautions = _usable(frame, asked)
    if not len(frame):
        return RunValues(frame.assign(packs=np.int64(0))[[*_DESCRIBED, "at", *_MEASURED]], cautions)
    return RunValues(_by_run(frame, asked), cautions)


_MEASURED = ("value", "censored", "packs", "meter", "row")


def single_readings(table: PackTable, asked: Measure, stage: str) -> pd.DataFrame:
    """Return one row a reading with the columns of ``RunValues``, ``key`` (the run or batch) and ``age`` [d].

    Parameters
    ----------
    table : PackTable
    asked : Measure
    stage : str
    """
    if asked.is_tasting:
        return _tasted(table.tastings, asked)
    if stage == "pack":
        return _packed(table.rows, asked)
    return _earlier(table.readings, asked, stage)


def _packed(rows: pd.DataFrame, asked: Measure) -> pd.DataFrame:
    name = asked.name
    nothing = pd.Series(np.nan, index=rows.index)
    frame = rows.reindex(columns=[*_DESCRIBED]).assign(
        key=rows["run"],
        at=rows["packed_at"],
        value=rows.get(name, nothing),
        censored=rows.get(f"{name}_censored", nothing),
        meter=rows.get(f"{name}_meter", pd.Series(pd.NA, index=rows.index, dtype="str")),
        age=rows["age_days"],
        row=np.arange(len(rows)),
    )
    return frame[frame["value"].notna()]


def _tasted(tastings: pd.DataFrame, asked: Measure) -> pd.DataFrame:
    scores = tastings[tastings["attribute"] == asked.name]
    return scores.reindex(columns=[*_DESCRIBED]).assign(
        key=scores["run"],
        at=scores["packed_at"],
        value=scores["score"],
        censored=0.0,
        meter=pd.Series(pd.NA, index=scores.index, dtype="str"),
        age=np.nan,
        row=-1,
    )


def _earlier(readings: pd.DataFrame, asked: Measure, stage: str) -> pd.DataFrame:
    """Return the readings of a stage before the pack: their unit is the run where it is known, else the batch."""
    read = readings[(readings["stage"] == stage) & (readings["quantity"] == asked.name)]
    first = read.groupby("batch", sort=False)["measured_at"].transform("min")
    return read.reindex(columns=[*_DESCRIBED]).assign(
        key=read["run"].where(read["run"].notna(), read["batch"]),
        at=first,
        value=read["value"],
        censored=read["censored"],
        meter=read["meter"],
        age=np.nan,
        row=-1,
    )


def _usable(frame: pd.DataFrame, asked: Measure) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the readings that can be charted, and a sentence about each sort that cannot."""
    cautions: list[str] = []

    def without(rows: pd.Series, why: str) -> None:
        nonlocal frame
        left_out = int(rows.sum())
        if left_out:
            cautions.append(f"{count(left_out, 'reading')} {'was' if left_out == 1 else 'were'} left out: {why}.")
            frame = frame[~rows]

    without(frame["at"].isna() | frame["key"].isna(), "their run has no date")
    if asked.name in OXYGEN:
        late = frame["age"].astype(np.float64) > LATEST_OXYGEN_READING_DAYS
        days = f"{LATEST_OXYGEN_READING_DAYS:g} days"
        without(late, f"taken more than {days} after packing, when oxygen has been used up")
    if asked.scale == "log":
        without(frame["value"].astype(np.float64) <= 0, "a reading of 0 cannot stand on a log scale")
    return frame, tuple(cautions)


def _by_run(frame: pd.DataFrame, asked: Measure) -> pd.DataFrame:
    codes, keys = pd.factorize(frame["key"])
    values = frame["value"].to_numpy(np.float64)
    charted = np.log(values) if asked.scale == "log" else values
    sign = frame["censored"].fillna(0).to_numpy(np.float64).astype(np.int8)
    fit = censored_means(charted, sign, codes)
    first = np.full(len(keys), len(codes), dtype=np.int64)
    np.minimum.at(first, codes, np.arange(len(codes)))
    runs = frame[[*_DESCRIBED, "at", "row"]].iloc[first].reset_index(drop=True)
    runs["value"] = np.exp(fit.means) if asked.scale == "log" else fit.means
    runs["censored"] = fit.bound
    runs["packs"] = np.bincount(codes)
    runs["meter"] = _joined(frame["meter"], codes, len(keys))
    columns = [*_DESCRIBED, "at", *_MEASURED]
    return runs[columns].sort_values(["at", "run", "batch"], kind="stable").reset_index(drop=True)


def _joined(meters: pd.Series, codes: npt.NDArray[np.int64], n: int) -> list[str]:
    """Return the meters of each run, each named once, in the order of the alphabet."""
    pairs = pd.DataFrame({"code": codes, "meter": meters.to_numpy()}).dropna().drop_duplicates()
    names: list[str] = [""] * n
    for code, meter in sorted(zip(pairs["code"].tolist(), pairs["meter"].tolist(), strict=True)):
        names[code] = f"{names[code]} + {meter}" if names[code] else str(meter)
    return names
