"""What does linking hand over?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.vocabulary import MEASURES, Practice

__all__ = ["PackTable", "Remark"]


@dataclass(frozen=True)
class Remark:
    """What must be said wherever some of a table's readings are used, because they are not as they were read.

    ``readings`` counts them by measure and stage; ``which`` says which they are and ``done`` what was done to them.
    """

    which: str
    done: str
    readings: Mapping[tuple[str, str], int]

    def on(self, *measures: str, stage: str | None = None) -> str | None:
        """Return the remark in a sentence for measures at a stage, any by default; None where it touches none."""
        number = sum(
            read
            for (measure, at), read in self.readings.items()
            if measure in (measures or (measure,)) and stage in (None, at)
        )
        if not number:
            return None
        reading = "reading" if number == 1 else "readings"
        return f"{number:,} {reading} {self.which} {'is' if number == 1 else 'are'} {self.done}."


@dataclass(frozen=True, eq=False)
class PackTable:
    """Every finished pack with what was done to its beer, as it stood in one state of the ledger.

    Attributes
    ----------
    state : int
        The state of the ledger.
    rows : DataFrame
        A row for each finished-pack sample, in the order of packing: ``run``, ``batch``, ``recipe``, ``style``,
        ``format``, ``line``, ``tank``, ``packed_at``, ``sample``, ``measured_at``, ``age_days`` [d], ``size`` and
        ``headspace`` [mL], ``blended`` (bool: of several batches); for each measure m that occurs ``m`` (in its kept
        unit, the limit where censored), ``m_censored`` (-1 "<", 0, 1 ">"), ``m_meter`` and ``m_n`` (readings in it);
        ``total_oxygen_computed`` (bool: from shaken oxygen and the pack's geometry); then every practice, a number or
        1/0 as a float, a category as text.
    tastings : DataFrame
        A row for each score: ``run``, ``batch``, ``recipe``, ``format``, ``line``, ``tank``, ``packed_at``,
        ``tasted_on``, ``age_days``, ``panellist``, ``attribute``, ``score``, ``scale``, ``blended``, every practice.
    readings : DataFrame
        Every linked reading of any stage: ``batch``, ``run``, ``recipe``, ``format``, ``tank``, ``stage``, ``sample``,
        ``measured_at``, ``quantity``, ``value``, ``censored``, ``unit``, ``meter``, ``temperature``, ``evidence``,
        ``record``.
    operations : DataFrame
        Every linked operation: ``batch``, ``recipe``, ``tank``, ``operation``, ``started_at``, ``ended_at``,
        ``minutes``, ``amount``, ``unit``, ``agent``, ``note``, ``evidence``, ``record``.
    batches : DataFrame
        Every batch: ``batch`` (its unique key), ``number``, ``recipe``, ``style``, ``brewed_on``, ``volume`` [hL],
        ``vessel``, ``original_gravity``, ``final_gravity`` [°P], ``listed`` (bool: on the batch list).
    practices : tuple of Practice
        The practices, in the order of their columns.
    unlinked : DataFrame
        What was not linked or not known: ``kind``, ``reason``, ``count``.
    evidence : DataFrame
        How each linked record was linked: ``kind``, ``record``, ``batch``, ``run``, ``how``.
    blends : DataFrame
        Which batches, as brewed, are in each run: ``run``, ``batch``, ``share``, ``how``; a run's shares add to 1.
    targets : DataFrame
        The targets on record, with ``record`` and ``intake``; from a ledger also ``by`` and ``at``, who put them on
        record and when.
    not_offered : DataFrame
        Further columns that are kept with their rows and are not practices: ``name``, ``kind``, ``reason``.
    remarks : tuple of Remark
        What was done to readings on somebody's decision.
    as_read : PackTable, optional
        The table with every reading as it was read, where a decision made this one another.
    """

    state: int
    rows: pd.DataFrame
    tastings: pd.DataFrame
    readings: pd.DataFrame
    operations: pd.DataFrame
    batches: pd.DataFrame
    practices: tuple[Practice, ...]
    unlinked: pd.DataFrame
    evidence: pd.DataFrame
    blends: pd.DataFrame
    targets: pd.DataFrame
    not_offered: pd.DataFrame
    remarks: tuple[Remark, ...] = ()
    as_read: PackTable | None = None

    def remarks_on(self, *measures: str, stage: str | None = None) -> tuple[str, ...]:
        """Return what must be said beside what is told of measures at a stage, or of anything."""
        return tuple(said for remark in self.remarks if (said := remark.on(*measures, stage=stage)) is not None)

    @property
    def measures(self) -> tuple[str, ...]:
        """The measures that were read in a finished pack, in the vocabulary's order, others after them."""
        read = [name.removesuffix("_censored") for name in self.rows.columns if name.endswith("_censored")]
        return (*(name for name in MEASURES if name in read), *(name for name in read if name not in MEASURES))
