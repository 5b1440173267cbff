"""How is the review kept in memory, so that an answer does not have every chart worked out again?

What is on the charts follows from the records and from the decisions that change them or their limits; an answer or a
closed review changes neither. So the matters, the meters and the practices' models are kept under the records' name and
those decisions, and only the journal is read anew.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from threading import Lock

from flask import current_app

from analysis.findings.baselines import frozen_phases
from analysis.findings.filters import Filters
from analysis.findings.meter_decisions import meter_decisions
from analysis.findings.meters import MetersFinding, meters
from analysis.findings.practice_verdicts import PracticesFinding
from analysis.findings.practices import practices
from analysis.findings.review import ReviewFinding, review
from analysis.findings.review_actions import EffectsKept
from analysis.findings.review_differences import Differences, differences
from analysis.findings.review_items import Item
from analysis.findings.review_matters import Matter, matters_on_record
from analysis.findings.table_in_use import contents_in_use
from analysis.ledger import snapshot
from analysis.linking import PackTable
from dashboard.parts.context import Context, context

__all__ = ["Memory", "done_differently", "held"]

_KEY = "DROPBRIGHT_REVIEW"


@dataclass
class Memory:
    """What was worked out for the records and decisions that ``name`` names."""

    name: object = None
    matters: tuple[Matter, ...] = ()
    meters: MetersFinding | None = None
    models: dict[str, PracticesFinding] = field(default_factory=dict)
    differences: dict[Matter, Differences] = field(default_factory=dict)
    effects: EffectsKept = field(default_factory=dict)
    lock: Lock = field(default_factory=Lock)


def held(filters: Filters, today: date | None = None) -> ReviewFinding:
    """Return the review as it stands for a selection."""
    here = context()
    table, memory = _current(here)
    return review(
        table,
        memory.matters,
        here.ledger.journal(),
        memory.meters,
        today=today or date.today(),
        filters=filters,
        effects=memory.effects,
    )


def done_differently(item: Item) -> Differences | None:
    """Return what was done differently in the runs of a matter; None where its records are gone."""
    if item.matter is None:
        return None
    table, memory = _current(context())
    original = next((m for m in memory.matters if m.chart is item.matter.chart and m.runs == item.matter.runs), None)
    matter = original or item.matter
    with memory.lock:
        if matter not in memory.differences:
            memory.differences[matter] = differences(matter, table, _model(memory, table, matter))
        return memory.differences[matter]


def _model(memory: Memory, table: PackTable, matter: Matter) -> PracticesFinding | None:
    if matter.key.stage != "pack":
        return None
    if matter.key.measure not in memory.models:
        memory.models[matter.key.measure] = practices(table, matter.key.measure)
    return memory.models[matter.key.measure]


def _current(here: Context) -> tuple[PackTable, Memory]:
    """Return the pack table and what was worked out for it, worked out anew where something changed."""
    memory = current_app.config.setdefault(_KEY, Memory())
    assert isinstance(memory, Memory)
    table = here.packs()
    with memory.lock:
        name = contents_in_use(here.ledger, table.state)
        if memory.name != name:
            memory.matters = matters_on_record(table, frozen_phases(here.ledger))
            memory.meters = meters(snapshot(here.ledger, table.state), table, meter_decisions(here.ledger))
            memory.models, memory.differences, memory.effects, memory.name = {}, {}, {}, name
    return table, memory
