"""How do the linked records become the pack table and the frames beside it?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.linking.entries import DAY, NEVER, Flags, Floats, Ints, moments_of, taken
from analysis.linking.filled import FilledRuns
from analysis.linking.matching import Links
from analysis.linking.pack_oxygen import TotalOxygen
from analysis.linking.sample_reading import Reading
from analysis.linking.samples import Samples
from analysis.vocabulary import MEASURES, slug

__all__ = ["age_days", "evidence_of", "operation_rows", "pack_rows", "reading_rows", "tasting_rows", "unlinked_of"]

_RUN_COLUMNS = ["run", "batch", "recipe", "style", "format", "line", "tank", "packed_at"]
_TASTED = ["run", "batch", "recipe", "format", "line", "tank", "packed_at"]
_PLACES = {"tank", "line", "format"}
_SIGN = {"<": -1, ">": 1}


def age_days(seconds: Ints, packed: Ints) -> Floats:
    """Return days since packing [d], missing where a moment is; within the day of packing at least 0."""
    known = (seconds != NEVER) & (packed != NEVER)
    age = (seconds - packed) / DAY
    same_day = seconds // DAY == packed // DAY
    return np.where(known, np.where(same_day, np.maximum(age, 0.0), age), np.nan)


def pack_rows(runs: FilledRuns, samples: Samples, oxygen: TotalOxygen, chill: Flags) -> pd.DataFrame:
    """Return a row for each sample, in the order of packing, then of opening."""
    run = samples.table["run"].to_numpy(np.int64)
    seconds = samples.table["seconds"].to_numpy(np.int64)
    packed = runs.table["packed"].to_numpy(np.int64)[run]
    order = np.lexsort((np.arange(len(run)), seconds, run, packed))
    table = runs.table.iloc[run[order]].reset_index(drop=True)
    rows = table[_RUN_COLUMNS].assign(
        sample=samples.table["sample"].iloc[order].array,
        measured_at=moments_of(seconds[order]),
        age_days=age_days(seconds, packed)[order],
    )
    measured = _measures(samples, oxygen, chill, order)
    practices = _with_samples(table[[p.name for p in runs.practices if p.name not in _PLACES]], runs, order)
    return pd.concat([rows, table[["size", "headspace", "blended"]], measured, practices], axis=1)


def _with_samples(practices: pd.DataFrame, runs: FilledRuns, order: Ints) -> pd.DataFrame:
    """Return the runs' practices with what was written beside a sample in place of what its run says."""
    own = {name: runs.of_samples[name].iloc[order].reset_index(drop=True) for name in runs.of_samples.columns}
    return practices.assign(**{name: value.where(value.notna(), practices[name]) for name, value in own.items()})


def _measures(samples: Samples, oxygen: TotalOxygen, chill: Flags, order: Ints) -> pd.DataFrame:
    readings = dict(samples.readings)
    if oxygen.reading is not None:
        readings["total_oxygen"] = oxygen.reading
    names = [*(name for name in MEASURES if name in readings), *sorted(n for n in readings if n not in MEASURES)]
    computed = {"total_oxygen": oxygen.computed, "chill_haze": chill}
    columns: dict[str, object] = {}
    for name in names:
        columns |= _columns(name, readings[name], order)
        if name in computed:
            columns[f"{name}_computed"] = computed[name][order]
    return pd.DataFrame(columns, index=range(len(order)))


def _columns(name: str, reading: Reading, order: Ints) -> dict[str, object]:
    return {
        name: reading.value[order],
        f"{name}_censored": reading.censored[order].astype(np.int8),
        f"{name}_meter": reading.meter.iloc[order].array,
        f"{name}_n": reading.n[order].astype(np.int16),
    }


def tasting_rows(rows: pd.DataFrame, links: Links, seconds: Ints, runs: FilledRuns) -> pd.DataFrame:
    """Return a row for each linked score."""
    kept = np.flatnonzero(links.linked)
    run = links.run[kept]
    table = runs.table.iloc[run].reset_index(drop=True)
    part = rows.iloc[kept].reset_index(drop=True)
    scored = table[_TASTED].assign(
        tasted_on=part["tasted_on"],
        age_days=age_days(seconds[kept], table["packed"].to_numpy(np.int64)),
        panellist=part["panellist"],
        attribute=_slugs(part["attribute"]),
        score=part["score"],
        scale=part["scale"],
        blended=table["blended"],
    )
    practices = [p.name for p in runs.practices if p.name not in _PLACES]
    return pd.concat([scored, table[practices]], axis=1)


def _slugs(texts: pd.Series) -> pd.Series:
    place, words = pd.factorize(texts, use_na_sentinel=True)
    return taken(pd.Series([slug(word) for word in words], dtype="str"), place.astype(np.int64))


def _told(links: Links, kept: Ints, batches: pd.DataFrame, runs: FilledRuns, name: str) -> pd.Series:
    """Return what each row's run says where it has one, else what its batch does."""
    both = pd.concat([batches[name], runs.table[name]], ignore_index=True)
    use, run = links.use[kept], links.run[kept]
    place = np.where(run >= 0, run + len(batches), use)
    return taken(both, place)


def _words(texts: pd.Categorical, kept: Ints) -> pd.Series:
    return taken(pd.Series(texts.categories, dtype="str"), texts.codes[kept].astype(np.int64))


def reading_rows(
    rows: pd.DataFrame, links: Links, batches: pd.DataFrame, runs: FilledRuns, tank: pd.Series
) -> pd.DataFrame:
    """Return every linked reading; a reading of a run without a stage is of a pack."""
    kept = np.flatnonzero(links.linked)
    part = rows.iloc[kept].reset_index(drop=True)
    run = links.run[kept]
    stage = part["stage"].where(part["stage"].notna() | pd.Series(run < 0), "pack")
    return pd.DataFrame(
        {
            "batch": _told(links, kept, batches, runs, "batch"),
            "run": taken(runs.table["run"], run),
            "recipe": _told(links, kept, batches, runs, "recipe"),
            "format": taken(runs.table["format"], run),
            "tank": tank.iloc[kept].reset_index(drop=True),
            "stage": stage,
            "sample": part["sample"],
            "measured_at": part["measured_at"],
            "quantity": part["quantity"],
            "value": part["value"],
            "censored": part["sign"].map(_SIGN).fillna(0).astype(np.int8),
            "unit": part["unit"],
            "meter": part["meter"],
            "temperature": part["temperature"],
            "evidence": _words(links.how, kept),
            "record": part["record"],
        }
    )


def operation_rows(rows: pd.DataFrame, links: Links, batches: pd.DataFrame, tank: pd.Series) -> pd.DataFrame:
    """Return every linked operation, those after packing too."""
    kept = np.flatnonzero(links.linked)
    part = rows.iloc[kept].reset_index(drop=True)
    head = pd.DataFrame(
        {
            "batch": taken(batches["batch"], links.use[kept]),
            "recipe": taken(batches["recipe"], links.use[kept]),
            "tank": tank.iloc[kept].reset_index(drop=True),
        }
    )
    columns = ["operation", "started_at", "ended_at", "minutes", "amount", "unit", "agent", "note"]
    return pd.concat([head, part[columns]], axis=1).assign(evidence=_words(links.how, kept), record=part["record"])


def evidence_of(parts: dict[str, tuple[pd.DataFrame, Links]], batches: pd.DataFrame, runs: FilledRuns) -> pd.DataFrame:
    """Return how each linked record was linked."""
    found = []
    for kind, (rows, links) in parts.items():
        kept = np.flatnonzero(links.linked)
        frame = {
            "kind": kind,
            "record": rows["record"].to_numpy()[kept],
            "batch": _told(links, kept, batches, runs, "batch"),
            "run": taken(runs.table["run"], links.run[kept]),
            "how": _words(links.how, kept),
        }
        found.append(pd.DataFrame(frame))
    return pd.concat(found, ignore_index=True)


def unlinked_of(parts: dict[str, tuple[pd.DataFrame, Links]], *others: pd.DataFrame) -> pd.DataFrame:
    """Return what was not linked or not known, by kind and reason, most frequent first within a kind."""
    counts = []
    for kind, (_, links) in parts.items():
        code = links.reason.codes
        count = np.bincount(code[code >= 0], minlength=len(links.reason.categories))
        reasons = pd.DataFrame({"kind": kind, "reason": links.reason.categories.astype("str"), "count": count})
        counts.append(reasons[count > 0])
    table = pd.concat([*counts, *others], ignore_index=True)
    table = table.astype({"kind": "str", "reason": "str", "count": "int64"})
    order = table.assign(most=-table["count"]).sort_values(["kind", "most", "reason"], kind="stable").index
    return table.loc[order].reset_index(drop=True)
