"""How much oxygen does the brewery take its beer to dissolve, and what does that make of totals from shaken oxygen?"""

from __future__ import annotations

import pandas as pd

from analysis.ledger import JournalEntry, Ledger
from analysis.linking.tables import Remark

__all__ = ["FACTOR_SETTING", "SETTINGS", "as_beer", "factor_entry", "with_beer_factor"]

SETTINGS, FACTOR_SETTING = "setting", "beer_factor"
"""The journal's subject, and which of the settings: an entry's content is ``{"setting": …, "value": …}``."""


def factor_entry(ledger: Ledger, state: int | None = None) -> JournalEntry | None:
    """Return the decision about the beer factor that stands, or that stood in an earlier state; None where none did."""
    entries = [
        entry
        for entry in ledger.journal(SETTINGS, standing=False)
        if entry.content.get("setting") == FACTOR_SETTING
        and (state is None or entry.state <= state)
        and (entry.taken_back is None or (state is not None and entry.taken_back.state > state))
    ]
    return entries[-1] if entries else None


def as_beer(rows: pd.DataFrame, entry: JournalEntry | None) -> tuple[pd.DataFrame, tuple[Remark, ...]]:
    """Return the packs as beer of the factor that was decided makes them, and what must be said beside them."""
    if entry is None:
        return rows, ()
    factor = float(str(entry.content["value"]))
    told = with_beer_factor(rows, factor)
    number = 0 if told is rows else int(rows["total_oxygen_computed"].sum())
    which = "of total oxygen, worked out from shaken packs,"
    done = (
        f"told by a beer factor of {factor:g} (a setting by {entry.by} on {entry.at.day} {entry.at:%B %Y}: "
        f"{entry.because.rstrip('.')})"
    )
    return told, (Remark(which, done, {("total_oxygen", "pack"): number}),) if number else ()


def with_beer_factor(rows: pd.DataFrame, factor: float) -> pd.DataFrame:
    """Return the packs with the totals that were computed from shaken oxygen as beer of that factor makes them.

    A meter shows what water would hold at the beer's partial pressure C. Beer of factor f holds f·C; the headspace's
    share follows the pressure and stays. So each total falls by (1 − f)·C.
    """
    if factor == 1.0 or "total_oxygen_computed" not in rows:
        return rows
    computed = rows["total_oxygen_computed"].to_numpy(dtype=bool)
    fallen = rows["total_oxygen"] - (1.0 - factor) * rows["dissolved_oxygen"]
    return rows.assign(total_oxygen=rows["total_oxygen"].mask(computed, fallen))
