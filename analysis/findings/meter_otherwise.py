"""What would the verdicts be with a moved meter's readings as they were read, set right, and set aside?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.findings.filters import Filters
from analysis.findings.meter_bias import MeterBias
from analysis.findings.meter_correction import MeterTreatment, Treatment, moved_meters
from analysis.findings.practices import practices
from analysis.findings.table_in_use import treated_table
from analysis.ledger import Ledger, snapshot
from analysis.linking import PackTable

__all__ = ["NOT_ASSESSED", "Otherwise", "verdicts_of", "verdicts_otherwise"]

NOT_ASSESSED = "not assessed"


@dataclass(frozen=True)
class Otherwise:
    """A practice's verdict on a measure with the readings as read, with them set right, and with them set aside.

    "not assessed" where a table bears no verdict on it. ``readings`` counts the packs' values that it is about.
    """

    measure: str
    practice: str
    as_read: str
    set_right: str
    set_aside: str
    readings: int

    @property
    def differs(self) -> bool:
        """Whether either way another verdict comes out."""
        return not self.as_read == self.set_right == self.set_aside


def verdicts_otherwise(
    ledger: Ledger, table: PackTable, meters: Iterable[MeterBias], filters: Filters | None = None
) -> tuple[Otherwise, ...]:
    """Return the verdicts on every measure that a moved meter read, the three ways.

    Parameters
    ----------
    ledger : Ledger
    table : PackTable
        The table in use, with decisions applied or not.
    meters : iterable of MeterBias
        As the finding on meters has them.
    filters : Filters, optional
        As for ``practices``.
    """
    as_read = table.as_read or table
    read = set(as_read.readings["meter"].dropna()) if len(as_read.readings) else set()
    moved = [m for m in moved_meters(meters) if m.meter in read]
    if not moved:
        return ()
    records = snapshot(ledger, table.state)
    ways = {
        way: treated_table(ledger, records, as_read, [MeterTreatment(m.meter, m.measure.name, way) for m in moved])[0]
        for way in Treatment
    }
    found = []
    for measure in as_read.measures:
        number = _moved(as_read, ways[Treatment.SET_RIGHT], measure)
        if number:
            right, aside = (verdicts_of(ways[way], measure, filters) for way in Treatment)
            found += [
                Otherwise(
                    measure, practice, verdict, right.get(practice, NOT_ASSESSED), aside.get(practice, NOT_ASSESSED),
                    number,
                )
                for practice, verdict in verdicts_of(as_read, measure, filters).items()
            ]  # fmt: skip
    return tuple(found)


def verdicts_of(table: PackTable, measure: str, filters: Filters | None) -> dict[str, str]:
    """Return the verdict on each practice, by its name."""
    return {effect.practice: str(effect.verdict) for effect in practices(table, measure, filters).practices}


def _moved(as_read: PackTable, right: PackTable, measure: str) -> int:
    """Return how many packs' values of a measure are others once set right."""
    if as_read is right or measure not in right.rows:
        return 0
    key = ["run", "sample", "measured_at"]
    both = as_read.rows[[*key, measure]].merge(right.rows[[*key, measure]], on=key, suffixes=("", "_right"))
    return int((both[measure].notna() & both[measure].ne(both[f"{measure}_right"])).sum())
