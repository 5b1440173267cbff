"""In which spelling is a recipe's name kept?

"Pale 1" and "PALE 1" are one beer. A name is kept as the first intake spelled it, most often where it had two ways, so
that a second spelling contradicts nothing; a file that comes later is read in the spelling that is on record.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
from sqlalchemy import Connection, func, select

from analysis.ledger.database import Database
from analysis.ledger.tables import KIND_TABLES
from analysis.records.kinds import KINDS
from analysis.records.taken import Intake

__all__ = ["spelled_as_known"]

_NAME = "recipe"
_KINDS = tuple(name for name, kind in KINDS.items() if _NAME in kind.names)


def spelled_as_known(database: Database, intake: Intake) -> Intake:
    """Return an intake with each recipe named as on record, or else as the intake spells it most often."""
    offered = {kind: intake.records[kind] for kind in _KINDS if len(intake.records.get(kind, ()))}
    if not offered:
        return intake
    with database.reading() as connection:
        known = _on_record(connection)
    written = pd.concat([frame[_NAME].dropna() for frame in offered.values()])
    for name in written.value_counts(sort=False).sort_values(ascending=False, kind="stable").index:
        known.setdefault(str(name).casefold(), str(name))
    respelled = {}
    for kind, frame in offered.items():
        words = {name: known[str(name).casefold()] for name in frame[_NAME].dropna().unique()}
        if any(name != word for name, word in words.items()):
            respelled[kind] = frame.assign(recipe=frame[_NAME].map(words).astype(frame[_NAME].dtype))
    return replace(intake, records={**intake.records, **respelled}) if respelled else intake


def _on_record(connection: Connection) -> dict[str, str]:
    """Return the spelling of each recipe that came first, by its name in small letters."""
    known: dict[str, str] = {}
    for kind in _KINDS:
        rows = KIND_TABLES[kind].records.c
        query = select(rows[_NAME]).where(rows[_NAME].is_not(None)).group_by(rows[_NAME])
        for name in connection.execute(query.order_by(func.min(rows.record))).scalars():
            known.setdefault(str(name).casefold(), str(name))
    return known
