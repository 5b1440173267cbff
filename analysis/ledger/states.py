"""Which state of which ledger is this, and when did each kind of record last change before it?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import blake2b

from sqlalchemy import func, select

from analysis.ledger.database import Database
from analysis.ledger.tables import CHANGES, LEDGER, STATES

__all__ = ["StateName", "name_of_state"]


@dataclass(frozen=True)
class StateName:
    """A state of a ledger. ``name`` tells it from every state of every other ledger, and of a copy of this one that
    went its own way. ``changed`` names for each kind the change that gave it the records it has in this state."""

    state: int
    name: str
    changed: Mapping[str, str]

    @property
    def records(self) -> str:
        """A name of the records that stand, which states share between which no record changed."""
        told = ",".join(f"{kind}:{change}" for kind, change in sorted(self.changed.items()))
        return blake2b(told.encode(), digest_size=16).hexdigest()

    def last_change(self, kind: str) -> str | None:
        """Return the name of the change that gave a kind the records it has in this state, None if there was none."""
        return self.changed.get(kind)


def name_of_state(database: Database, state: int | None = None) -> StateName:
    """Return the name of a state, by default of the present one.

    Raises
    ------
    ValueError
        If the ledger never was in that state.
    """
    with database.reading() as connection:
        ledger = connection.execute(select(LEDGER.c.name, LEDGER.c.state)).one()
        wanted = ledger.state if state is None else state
        if not 0 <= wanted <= ledger.state:
            raise ValueError(f"snapshot: state must lie between 0 and {ledger.state}, got {wanted}")
        mark = connection.execute(select(STATES.c.mark).where(STATES.c.state == wanted)).scalar()
        last = (
            select(CHANGES.c.kind, func.max(CHANGES.c.state).label("state"))
            .where(CHANGES.c.state <= wanted)
            .group_by(CHANGES.c.kind)
            .subquery()
        )
        query = select(last.c.kind, STATES.c.state, STATES.c.mark).join(STATES, STATES.c.state == last.c.state)
        changed = {row.kind: f"{row.state}-{row.mark}" for row in connection.execute(query)}
    return StateName(wanted, f"{ledger.name}-{wanted}-{mark or 'new'}", changed)
