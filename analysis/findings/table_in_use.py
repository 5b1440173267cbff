"""Which pack table do charts and verdicts use, once the standing decisions about meters are applied?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from hashlib import blake2b

import numpy as np
import pandas as pd

from analysis.findings.margins import decided_margins, with_decided_margins
from analysis.findings.meter_correction import READ_WITH, MeterTreatment, Touched, treated
from analysis.findings.meter_decisions import MeterDecision, in_force, meter_decisions
from analysis.findings.meter_standing import off_in_words, period_in_words
from analysis.findings.meters import meters
from analysis.findings.wording import day
from analysis.ledger import Ledger, Snapshot, snapshot
from analysis.linking import PackTable, Remark, linked, pack_table

__all__ = ["Contents", "contents_in_use", "table_in_use", "treated_table"]

Contents = tuple[str, tuple[int, ...]]
"""What a table in use is made of: a name of the records, and the numbers of the decisions that may change it."""

_ABOUT_FINDINGS = ("signal", "review")
"""Subjects of decisions that answer what a finding told, and change no table."""

# What linking works out from a reading of the finished pack, and the column that says where it did.
_WORKED_OUT = {"dissolved_oxygen": "total_oxygen", "haze": "chill_haze"}


def table_in_use(ledger: Ledger, state: int | None = None) -> PackTable:
    """Return the pack table with every meter's readings, and the margins, as the standing decisions want them.

    Its ``remarks`` say what was done to which readings, and ``as_read`` is the table without it. Where no decision
    stands it is the pack table as linking made it.

    Parameters
    ----------
    ledger : Ledger
    state : int, optional
        An earlier state of the ledger: then with the decisions that stood in it.

    Raises
    ------
    ValueError
        If the ledger never was in that state.
    """
    as_read = pack_table(ledger, state)
    margins = decided_margins(ledger, as_read.state)
    as_read = replace(as_read, targets=with_decided_margins(as_read.targets, margins)) if margins else as_read
    standing = in_force(meter_decisions(ledger, standing=False), as_read.state)
    if not standing:
        return as_read
    records = snapshot(ledger, as_read.state)
    told = {one.what: one for one in standing}
    table, touched = treated_table(ledger, records, as_read, list(told))
    remarks = tuple(_remark(told[one.treatment], one, as_read) for one in touched)
    return replace(table, targets=as_read.targets, remarks=(*as_read.remarks, *remarks), as_read=as_read)


def contents_in_use(ledger: Ledger, state: int) -> Contents:
    """Return what the table in use is made of in a state: where it is the same, only the state's number differs."""
    made = [one for one in ledger.journal(standing=False) if one.subject not in _ABOUT_FINDINGS and one.state <= state]
    standing = [one.number for one in made if one.taken_back is None or one.taken_back.state > state]
    return snapshot(ledger, state).records, tuple(standing)


def treated_table(
    ledger: Ledger, records: Snapshot, as_read: PackTable, treatments: Sequence[MeterTreatment]
) -> tuple[PackTable, tuple[Touched, ...]]:
    """Return the pack table that the records give with treatments applied, and which readings each touched.

    The readings are linked anew, so that what is worked out from them follows: means of replicates, total oxygen, chill
    haze.
    """
    readings = records.frame("readings")
    frame, touched = treated(readings, treatments, meters(records, as_read).meters)
    if not any(len(one.records) for one in touched):
        return as_read, touched
    table = linked(ledger, records.replacing("readings", frame, _name_of(readings, frame)))
    aside = frame.loc[frame["value"].isna() & readings["value"].notna(), "record"]
    kept = table.readings[~table.readings["record"].isin(aside)].reset_index(drop=True)
    return replace(table, readings=kept), touched


def _name_of(readings: pd.DataFrame, frame: pd.DataFrame) -> str:
    """Return a name of what was changed, the same for the same change."""
    before, after = readings["value"].to_numpy(np.float64), frame["value"].to_numpy(np.float64)
    changed = ~((before == after) | (np.isnan(before) & np.isnan(after)))
    told = readings["record"].to_numpy(np.int64)[changed].tobytes() + after[changed].tobytes()
    return blake2b(told, digest_size=8).hexdigest()


def _remark(decision: MeterDecision, touched: Touched, as_read: PackTable) -> Remark:
    what, wrong = decision.what, off_in_words(touched)
    which = f"of meter {what.meter}{period_in_words(touched, ended=_came_back(touched, as_read))}"
    how = f", as the meter read {wrong}" if wrong else ""
    told = f"{what.treatment}{how} (decided by {decision.by} on {day(decision.at)}: {decision.because.rstrip('.')})"
    return Remark(which, told, _counts(touched, as_read))


def _came_back(touched: Touched, as_read: PackTable) -> bool:
    """Return whether the meter went on reading after the last reading that was touched."""
    read = READ_WITH.get(touched.treatment.quantity, (touched.treatment.quantity,))
    own = as_read.readings[(as_read.readings["meter"] == touched.treatment.meter)]
    own = own[own["quantity"].isin(read)]
    return bool((own["measured_at"] > touched.at.max()).any()) if len(own) else False


def _counts(touched: Touched, as_read: PackTable) -> dict[tuple[str, str], int]:
    """Return how many linked readings were touched, by measure and stage, with what is worked out from them."""
    own = as_read.readings[as_read.readings["record"].isin(touched.records)]
    counts = Counter(zip(own["quantity"].astype(str), own["stage"].astype(str), strict=True))
    for read, made in _WORKED_OUT.items():
        column = f"{made}_computed"
        if counts[read, "pack"] and column in as_read.rows:
            runs = set(own.loc[(own["quantity"] == read) & (own["stage"] == "pack"), "run"])
            computed = as_read.rows[column].astype(bool) & as_read.rows["run"].isin(runs)
            counts[made, "pack"] += int((computed & (as_read.rows[f"{made}_meter"] == touched.treatment.meter)).sum())
    return {key: number for key, number in counts.items() if number}
