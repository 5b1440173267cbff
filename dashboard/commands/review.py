"""What moved since the last review, and what is being done about it?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import click

from analysis.findings.baselines import frozen_phases
from analysis.findings.filters import Filters
from analysis.findings.meter_decisions import meter_decisions
from analysis.findings.meters import meters
from analysis.findings.practice_verdicts import PracticesFinding
from analysis.findings.practices import practices
from analysis.findings.review import ReviewFinding, review
from analysis.findings.review_differences import Differences, differences
from analysis.findings.review_matters import matters_on_record
from analysis.ledger import Ledger, snapshot
from analysis.linking import PackTable
from dashboard.commands.options import (
    complain,
    filter_options,
    json_option,
    ledger_option,
    print_document,
    print_table,
    table_asked,
)

__all__ = ["command"]


@click.command("review")
@click.option("--shares", is_flag=True, help="Also what was done differently, and its share of each move.")
@filter_options
@json_option
@ledger_option
def command(ledger: Ledger, shares: bool, filters: Filters, as_json: bool) -> None:
    """Print the matters of the weekly review, worst first, with their answers and the actions that stand."""
    table = table_asked(ledger, filters)
    finding = review(
        table,
        matters_on_record(table, frozen_phases(ledger)),
        ledger.journal(),
        meters(snapshot(ledger, table.state), table, meter_decisions(ledger)),
        today=date.today(),
        filters=filters,
    )
    told = _done_differently(finding, table) if shares else {}
    if as_json:
        print_document(_with_shares(finding.as_document(), told))
    else:
        _tell(finding, told)
    raise SystemExit(0 if finding.until is not None else 1)


def _done_differently(finding: ReviewFinding, table: PackTable) -> Mapping[str, Differences]:
    """Return what was done differently, by the matter's code; the practices' model of a measure is fitted once."""
    models: dict[str, PracticesFinding] = {}
    told = {}
    for item in finding.items:
        if item.matter is None:
            continue
        measure = item.key.measure
        if item.key.stage == "pack" and measure not in models:
            models[measure] = practices(table, measure)
        told[item.code] = differences(item.matter, table, models.get(measure) if item.key.stage == "pack" else None)
    return told


def _with_shares(document: dict[str, object], told: Mapping[str, Differences]) -> dict[str, object]:
    matters = document["matters"]
    assert isinstance(matters, list)
    for matter in matters:
        if matter["matter"] in told:
            matter["done_differently"] = told[matter["matter"]].as_document()
    return document


def _tell(finding: ReviewFinding, told: Mapping[str, Differences]) -> None:
    print_table(*finding.in_words())
    for item in finding.items:
        if item.code in told:
            print_table([item.key.title], [[words] for words in told[item.code].in_sentences])
    if finding.actions:
        headers = ["action", "matter", "stands", "worked?"]
        rows = [
            [action.what, action.item.key.title, action.standing, action.effect.sentence if action.effect else ""]
            for action in finding.actions
        ]
        print_table(headers, rows)
    for caution in finding.cautions:
        complain(caution)
    complain(finding.answer)
