"""How much of each agent was given for each hectolitre of the beer?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import Flags, Floats, Ints, seconds_of
from analysis.linking.lineage import Lineage
from analysis.linking.practices import has_log
from analysis.linking.volumes import Volumes
from analysis.linking.work import Done, PathWork, blended
from analysis.vocabulary import Practice, dose_practice, practice, slug

__all__ = ["Doses", "doses_of"]

_LITRES = 100.0
"""Litres in a hectolitre."""

_PER_HECTOLITRE = {"mL": "mL/hL", "g": "g/hL", "mL/hL": "mL/hL", "g/hL": "g/hL", "g/L": "g/hL"}
"""The unit of the dose that an amount in each kept unit makes."""

_WITH_AGENT = ("finings", "filter", "other")
"""Operations whose agent has a dose of its own; hops have a rate."""

_UNNAMED = "finings"


@dataclass(frozen=True)
class Doses:
    """The dose practices, each run's values a column, and what was not known: ``kind``, ``reason``, ``count``."""

    practices: tuple[Practice, ...]
    values: pd.DataFrame
    unknown: pd.DataFrame


def doses_of(lineage: Lineage, operations: pd.DataFrame, use: Ints, done: Done, volumes: Volumes, n_runs: int) -> Doses:
    """Return each agent's dose and the dry-hop rate of every run.

    An amount is divided by the volume, at that time, of the batch, or of its part in the vessel dosed while the batch
    stood in several; a rate counts as it stands, g/L as a hundred times g/hL. An agent given by volume to some batches
    and by weight to others has two doses, the rarer with its unit in its name; neither is turned into the other, so a
    batch given the one has no known dose of the other. Where a dose cannot be known the run's is missing, not 0.

    Parameters
    ----------
    lineage : Lineage
    operations : DataFrame
        The operations' records.
    use : ndarray, shape (n,)
        The batch of each.
    done : Done
        Their rows that count.
    volumes : Volumes
    n_runs : int
    """
    counted = np.zeros(len(operations), dtype=bool)
    counted[done.row] = True
    agent = _agents(operations)
    hops = (operations["operation"] == "dry_hop").to_numpy(bool)
    given = counted & (agent != "").to_numpy(bool)
    dose, unit, why = _doses_where(counted & (given | hops), operations, use, volumes)
    way = PathWork(len(lineage.paths))
    log = has_log(lineage, done)
    found: list[Practice] = []
    values: dict[str, Floats] = {}
    rate = np.where(unit == "g/hL", dose / _LITRES, np.nan)
    values["dry_hop_rate"] = _run_value(lineage, way.total(done.where(hops), rate), log, n_runs)
    for name in sorted(agent[given].unique()):
        mine = done.where(given & (agent == name).to_numpy(bool))
        for one in _dose_practices(name, unit[np.unique(mine.row)]):
            amount = np.where(unit == one.unit, dose, np.nan)
            values[one.name] = _run_value(lineage, way.total(mine, amount), log, n_runs)
            found.append(one)
    counts = why[why != ""].value_counts()
    unknown = pd.DataFrame({"kind": "operations", "reason": counts.index, "count": counts.to_numpy()})
    return Doses((practice("dry_hop_rate"), *found), pd.DataFrame(values), unknown)


def _run_value(lineage: Lineage, total: Floats, log: Flags, n_runs: int) -> Floats:
    return blended(lineage, np.where(log, total, np.nan), "mean", n_runs)


def _agents(operations: pd.DataFrame) -> pd.Series:
    """Return each operation's agent by its kept name, empty where it gives no dose."""
    place, words = pd.factorize(operations["agent"], use_na_sentinel=True)
    names = pd.Series([*(slug(word) for word in words), ""], dtype="str").iloc[place].reset_index(drop=True)
    kind = operations["operation"]
    gives = (kind == "finings") | (kind.isin(_WITH_AGENT) & operations["amount"].notna())
    names = names.mask((kind == "finings") & (names == ""), _UNNAMED)
    return names.where(gives, "")


def _doses_where(
    chosen: Flags, operations: pd.DataFrame, use: Ints, volumes: Volumes
) -> tuple[Floats, np.ndarray, pd.Series]:
    """Return every operation's dose and the dose's unit, and why those of the chosen that are not known are not."""
    rows = np.flatnonzero(chosen)
    part = operations[["operation", "vessel", "started_at", "amount", "unit"]].iloc[rows].reset_index(drop=True)
    dose, unit = np.full(len(operations), np.nan), np.full(len(operations), "", dtype="<U5")
    dose[rows], unit[rows], why = _each_dose(part, use[rows], volumes)
    return dose, unit, why


def _each_dose(operations: pd.DataFrame, use: Ints, volumes: Volumes) -> tuple[Floats, np.ndarray, pd.Series]:
    """Return each operation's dose, the dose's unit, and why it is not known."""
    written = operations["unit"].fillna("")
    amount = operations["amount"].to_numpy(np.float64)
    unit = written.map(_PER_HECTOLITRE).fillna("").to_numpy(str)
    absolute = written.isin(("mL", "g")).to_numpy(bool)
    volume = volumes.in_vessel(use, operations["vessel"], seconds_of(operations["started_at"]))
    dose = np.where(absolute, amount / volume, np.where(written == "g/L", amount * _LITRES, amount))
    dose = np.where(unit == "", np.nan, dose)
    job = operations["operation"].str.replace("_", " ").fillna("")
    why = pd.Series("", index=operations.index, dtype="str")
    why = why.mask(absolute & np.isnan(volume), job + " given by amount to a batch of no known volume: dose not known")
    why = why.mask(unit == "", job + " with an amount in no known unit: dose not known")
    why = why.mask(np.isnan(amount), job + " with no amount: dose not known")
    return dose, unit, why


def _dose_practices(agent: str, units: np.ndarray) -> list[Practice]:
    """Return the doses of one agent: the commoner unit has the plain name."""
    words, counts = np.unique(units[units != ""], return_counts=True)
    if len(words) == 0:
        return []
    order = sorted(zip(-counts, [word != "mL/hL" for word in words], words, strict=True))
    plain, *rare = [str(word) for _, _, word in order]
    return [dose_practice(agent, plain), *(dose_practice(f"{agent} {w.split('/')[0]}", w) for w in rare)]
