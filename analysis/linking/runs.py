"""Which packaging runs are there, and which batches was each filled from?"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import DAY, Ints, moments_of, seconds_of
from analysis.linking.numbers import Pool, unique_keys

__all__ = ["MIXED", "Runs", "named_batches", "only_value", "runs_of"]

MIXED = "mixed"
"""The category of something that has several."""

_ALWAYS_SPLIT = re.compile(r"\s*[+&;]\s*")
_SPLIT_IF_KNOWN = re.compile(r"\s*[/,]\s*|\s+and\s+", re.IGNORECASE)


def named_batches(rows: pd.DataFrame, known: Pool) -> pd.DataFrame:
    """Return a row for each batch that each run's row names: its ``row`` and the batch number's ``text``.

    ``2417+2418`` names two batches; ``24/17`` names two only where both numbers are on record and the whole is not.
    """
    place, texts = pd.factorize(rows["batch"], use_na_sentinel=True)
    parts = [_parts(text, known) for text in texts]
    width = np.array([*map(len, parts), 1])
    row = np.repeat(np.arange(len(rows)), width[place])
    text = pd.Series(texts, dtype="str").map(dict(zip(texts, parts, strict=True))).reindex(place).explode()
    return pd.DataFrame({"row": row, "text": text.astype("str").array})


def _parts(text: str, known: Pool) -> list[str]:
    if text in known:
        return [text]
    parts = [part for part in _ALWAYS_SPLIT.split(text) if part]
    finer = [piece for part in parts for piece in _SPLIT_IF_KNOWN.split(part) if piece]
    return finer if all(piece in known for piece in finer) else parts or [text]


@dataclass(frozen=True)
class Runs:
    """Every packaging run, a row each, numbered from 0, and the batches in it.

    ``table`` has ``run`` (the unique key), ``code``, ``packed_at``, ``packed`` [s], ``format``, ``size``, ``headspace``
    [mL], ``line``, ``fill_temperature`` [°C]. ``members`` has ``run``, ``use`` (a batch), ``batch_code`` (of its
    number), ``packed`` [s] and ``record``.
    ``row_run`` is the run of each row of the packaging records.
    """

    table: pd.DataFrame
    members: pd.DataFrame
    row_run: Ints
    pool: Pool


def runs_of(rows: pd.DataFrame, named: pd.DataFrame, use: Ints, batch_codes: Ints) -> Runs:
    """Return the runs.

    Rows of one number are one run where they name the same batch and were packed within a week, or name another batch,
    were packed on the same day and agree in format, size and line (a blended run).

    Parameters
    ----------
    rows : DataFrame
        The packaging records.
    named : DataFrame
        As from ``named_batches``.
    use : ndarray, shape (len(named),)
        The batch that each row of ``named`` means, -1 where none.
    batch_codes : ndarray, shape (n_batches,)
        The code of each batch's number.
    """
    pool = Pool.of_runs(rows["run"])
    code, _ = pool.codes(rows["run"])
    packed = seconds_of(rows["packed_at"])
    first = pd.Series(use).groupby(named["row"].to_numpy()).min().reindex(range(len(rows)), fill_value=-1).to_numpy()
    row_run = _run_of_rows(rows, code, packed, first)
    table = _gathered(rows.assign(code=code, packed=packed), row_run)
    members = pd.DataFrame({"run": row_run[named["row"]], "use": use, "packed": packed[named["row"]]})
    members["record"] = rows["record"].to_numpy()[named["row"]]
    members = members[(members["use"] >= 0) & (members["run"] >= 0)].drop_duplicates(["run", "use"])
    members["batch_code"] = batch_codes[members["use"]]
    return Runs(table, members.reset_index(drop=True), row_run, pool)


def _run_of_rows(rows: pd.DataFrame, code: Ints, packed: Ints, batch: Ints) -> Ints:
    alike = [pd.factorize(rows[c].fillna(""))[0] for c in ("format", "line")] + [pd.factorize(rows["size"])[0]]
    frame = pd.DataFrame({"code": code, "batch": batch, "packed": packed, "row": np.arange(len(rows))})
    frame["alike"] = pd.factorize(pd.MultiIndex.from_arrays(alike))[0] if len(rows) else []
    frame = frame[frame["code"] >= 0].sort_values(["code", "batch", "packed"], kind="stable")
    near = (frame["packed"].diff() <= 7 * DAY) & (frame["code"].diff() == 0) & (frame["batch"].diff() == 0)
    frame["stretch"] = (~near).cumsum()
    starts = frame.groupby("stretch").first()
    together = starts.assign(day=starts["packed"] // DAY).groupby(["code", "day", "alike"]).ngroup()
    run = np.full(len(rows), -1, dtype=np.int64)
    run[frame["row"]] = together.reindex(frame["stretch"]).to_numpy()
    return run


def _gathered(rows: pd.DataFrame, run: Ints) -> pd.DataFrame:
    rows = rows[run >= 0].assign(key=run[run >= 0])
    grouped = rows.sort_values(["key", "packed", "record"], kind="stable").groupby("key")
    table = grouped[["run", "code", "packed"]].first()
    for name in ("format", "line"):
        table[name] = only_value(rows["key"].to_numpy(np.int64), rows[name], len(table))
    for name in ("size", "headspace", "fill_temperature"):
        table[name] = grouped[name].mean()
    table["packed_at"] = moments_of(table["packed"].to_numpy(np.int64)).to_numpy()
    numbers = pd.Series([text.strip() for text in table["run"]], index=table.index, dtype="str")
    batch = grouped["batch"].first().fillna("").to_numpy()
    table["run"] = unique_keys(numbers, table["packed_at"], [f"of {b}" for b in batch])
    return table.reset_index(drop=True)


def only_value(group: Ints, values: pd.Series, n_groups: int) -> pd.Series:
    """Return each group's only value, ``"mixed"`` where it has several, missing where it has none."""
    code, texts = pd.factorize(values, use_na_sentinel=True)
    said = (code >= 0) & (group >= 0)
    low = np.full(n_groups, len(texts), dtype=np.int64)
    high = np.full(n_groups, -1, dtype=np.int64)
    np.minimum.at(low, group[said], code[said])
    np.maximum.at(high, group[said], code[said])
    choice = np.where(high < 0, -1, np.where(low == high, high, len(texts)))
    words = pd.Series([*texts, MIXED, None], dtype="str")
    return words.iloc[np.where(choice < 0, len(texts) + 1, choice)].reset_index(drop=True)
