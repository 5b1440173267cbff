"""How is the pack table of a state that was linked before found again?"""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from functools import cached_property, partial

import pandas as pd
import pyarrow as pa

from analysis.ledger.ledger import Ledger
from analysis.ledger.snapshot import Snapshot, ledger_cache, snapshot
from analysis.linking.beer_solubility import as_beer, factor_entry
from analysis.linking.packs import link
from analysis.linking.tables import PackTable
from analysis.vocabulary import Practice

__all__ = ["linked", "pack_table"]

_LAYOUT = "4"
"""Raised whenever linking gives other answers or other columns, so that a table kept before is not used."""

_FRAMES = tuple(f.name for f in fields(PackTable) if f.name not in ("state", "practices", "remarks", "as_read"))
_PRACTICES = b"practices"


def pack_table(ledger: Ledger, state: int | None = None) -> PackTable:
    """Return the pack table of the ledger as it stands, linked anew only where its records were never linked before.

    Parameters
    ----------
    ledger : Ledger
    state : int, optional
        An earlier state of the ledger.

    Raises
    ------
    ValueError
        If the ledger never was in that state.
    """
    return linked(ledger, snapshot(ledger, state))


def linked(ledger: Ledger, records: Snapshot) -> PackTable:
    """Return the pack table of records of a ledger, linked anew only where these records were never linked before.

    Parameters
    ----------
    ledger : Ledger
    records : Snapshot
        The ledger's, with other frames in place of some kind's or not.
    """
    linking = _Linking(records)
    cache = ledger_cache(records)
    kept = {
        name: cache.table(f"packs{_LAYOUT}-{name}", records.records, partial(linking.table, name)) for name in _FRAMES
    }
    frames = {name: table.to_pandas() for name, table in kept.items()}
    frames["targets"] = _with_who_and_when(frames["targets"], ledger)
    frames["rows"], remarks = as_beer(frames["rows"], factor_entry(ledger, records.state))
    return PackTable(state=records.state, practices=_practices_in(kept["rows"]), remarks=remarks, **frames)


def _with_who_and_when(targets: pd.DataFrame, ledger: Ledger) -> pd.DataFrame:
    """Return the targets with who put each on record and when."""
    history = ledger.history() if len(targets) else ()
    taken = {entry.intake: entry for entry in history}
    by = pd.Series([taken[number].by for number in targets["intake"]], index=targets.index, dtype="str")
    at = pd.Series([taken[number].at for number in targets["intake"]], index=targets.index, dtype="datetime64[us]")
    return targets.assign(by=by, at=at)


class _Linking:
    """One linking of the records, done when the first of its tables is asked for."""

    def __init__(self, records: Snapshot) -> None:
        self._records = records

    @cached_property
    def _packs(self) -> PackTable:
        return link(self._records)

    def table(self, name: str) -> pa.Table:
        frame: pd.DataFrame = getattr(self._packs, name)
        table = pa.Table.from_pandas(frame, preserve_index=False)
        if name != "rows":
            return table
        practices = json.dumps([asdict(practice) for practice in self._packs.practices])
        return table.replace_schema_metadata({**(table.schema.metadata or {}), _PRACTICES: practices.encode()})


def _practices_in(table: pa.Table) -> tuple[Practice, ...]:
    return tuple(Practice(**document) for document in json.loads(table.schema.metadata[_PRACTICES]))
