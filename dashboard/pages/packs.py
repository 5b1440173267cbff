"""What was done to the beer in each finished pack?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import dash
import pandas as pd
from dash import Dash, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.packs import PacksFinding, runs_named
from analysis.findings.packs import packs as find_packs
from analysis.findings.wording import amount, count, day
from analysis.ledger import snapshot
from analysis.linking import PackTable
from analysis.vocabulary import Practice, measure
from dashboard.figures.time_line import time_line
from dashboard.parts import exports
from dashboard.parts.addresses import filters_from_kept, query
from dashboard.parts.context import context
from dashboard.parts.history import Event, RunHistory, events_frame, run_history
from dashboard.parts.ids import FILTERS
from dashboard.parts.tables import Cell, Column, data_table, empty, short_day

__all__ = ["TAKE_AWAY", "PackPage", "layout", "register", "show", "view"]

ANSWER = "packs-answer"
TABLE = "packs-table"
PAGE = "packs-page"
EARLIER = "packs-earlier"
LATER = "packs-later"
PLACE = "packs-place"
LEFT = "packs-unlinked"

ROWS = 40
_SIGNS = {-1: "<", 1: ">"}


@dataclass(frozen=True)
class PackPage:
    """One page of the pack table: the finding, its rows from ``start`` on, and the whole page's parts."""

    finding: PacksFinding
    start: int
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def place(self) -> str:
        """Which rows stand on the page, in words."""
        total = len(self.finding.rows)
        return f"Packs {self.start + 1:,} to {min(self.start + ROWS, total):,} of {total:,}" if total else ""


def view(table: PackTable, filters: Filters, start: int) -> PackPage:
    """Return the page of the pack table that begins at row ``start`` of the selection, newest packs first."""
    finding = find_packs(table, filters)
    total = len(finding.rows)
    begin = max(0, min(start, (total - 1) // ROWS * ROWS)) if total else 0
    newest = finding.rows.sort_values(["packed_at", "run", "sample"], ascending=[False, True, True])
    practices = tuple(p for p in table.practices if p.name in finding.practices and p.name not in _FIRST_COLUMNS)
    rows = tuple(_row(row, finding, practices, filters) for _, row in newest.iloc[begin : begin + ROWS].iterrows())
    return PackPage(finding, begin, _columns(finding, practices), rows)


_FIRST_COLUMNS = ("format",)


def _columns(finding: PacksFinding, practices: tuple[Practice, ...]) -> tuple[Column, ...]:
    return (
        *(Column(label) for label in ("Run", "Batch", "Recipe", "Format", "Packed", "Sample")),
        *(Column(measure(m).label, measure(m).unit, "figures") for m in finding.measures),
        *(Column(p.label, "" if p.type == "count" else p.unit, _kind(p)) for p in practices),
    )


def _kind(practice: Practice) -> Literal["words", "figures"]:
    return "words" if practice.type in ("category", "yes_no") else "figures"


def _row(row: pd.Series, finding: PacksFinding, practices: tuple[Practice, ...], filters: Filters) -> tuple[Cell, ...]:
    run = str(row["run"])
    return (
        dcc.Link(run, href=f"/packs{query(filters, run=run)}", title=f"The history of run {run}"),
        *(_word(row[name]) for name in ("batch", "recipe", "format")),
        short_day(row["packed_at"]),
        _word(row["sample"]),
        *(_reading(row[m], row.get(f"{m}_censored", 0)) for m in finding.measures),
        *(_practice(row[p.name], p) for p in practices),
    )


def _word(value: object) -> str:
    return "" if pd.isna(value) else str(value)


def _reading(value: float, censored: float) -> str:
    sign = 0 if pd.isna(censored) else int(censored)
    return "" if pd.isna(value) else f"{_SIGNS.get(sign, '')}{amount(float(value))}"


def _practice(value: object, practice: Practice) -> str:
    if value is None or pd.isna(value):
        return ""
    if practice.type == "category":
        return str(value)
    if practice.type == "count" and float(value).is_integer():
        return f"{int(value):,}"
    if practice.type == "yes_no" and float(value) in (0.0, 1.0):
        return "yes" if value else "no"
    return amount(float(value))


def history_view(history: RunHistory, filters: Filters) -> Component:
    """Return a run's history: a sentence, a figure, and the same events as a list."""
    return html.Div(
        className="page",
        children=[
            html.P(dcc.Link("All packs", href=f"/packs{query(filters)}"), className="back"),
            html.H1(f"Run {history.run}", tabIndex=-1),
            html.P(history.sentence, className="answer"),
            html.Figure(
                [
                    time_line(history),
                    html.Figcaption("Each mark is a line of the list below; a pointer on it says which."),
                ]
            ),
            html.H2("From brew to tasting"),
            html.Ol([_event(event, len(history.batches) > 1) for event in history.events], className="events"),
            exports.links("history", "this history", Filters(), run=history.run),
        ],
    )


def _event(event: Event, blended: bool) -> Component:
    place = ", ".join(part for part in (event.where, f"batch {event.batch}" if blended and event.batch else "") if part)
    return html.Li(
        [
            html.Time(f"{day(event.at)}{_clock(event)}", dateTime=event.at.isoformat(timespec="minutes")),
            html.Span(className=f"line-mark line-{event.lane}", **{"aria-hidden": "true"}),
            html.Span(
                [
                    html.Strong(event.what),
                    f" {event.detail}" if event.detail else "",
                    html.Span(f" {place}", className="soft") if place else "",
                ]
            ),
        ]
    )


def _clock(event: Event) -> str:
    return f", {event.at:%H:%M}" if (event.at.hour, event.at.minute) != (0, 0) else ""


def history_of(run: str) -> RunHistory | None:
    """Return a run's history as the ledger has it, None where the run is not on record."""
    return run_history(context().packs(), run, snapshot(context().ledger).frame("transfers"))


def _which(run: str, runs: pd.DataFrame) -> Component:
    """Return the runs that had one number, to choose from: an address may be older than the number's later uses."""
    told = [
        html.Li(
            [dcc.Link(f"Run {name}", href=f"/packs{query(Filters(), run=name)}"), f", batch {batch}, {day(packed)}"]
        )
        for name, batch, packed in runs.itertuples(index=False)
    ]
    return html.Div(
        className="page",
        children=[
            html.P(dcc.Link("All packs", href="/packs"), className="back"),
            html.H1(f"Run {run}", tabIndex=-1),
            html.P(f"{count(len(runs), 'run')} had this number. Which one is meant?", className="answer"),
            html.Ul(told),
        ],
    )


def layout(run: str | None = None, **_address: object) -> Component:
    """Return the pack table, or one run's history where the address names a run."""
    if isinstance(run, str):
        runs = runs_named(context().packs(), run)
        if len(runs) > 1:
            return _which(run, runs)
        history = history_of(str(runs["run"].iloc[0])) if len(runs) else None
        if history is not None:
            return history_view(history, Filters())
    return html.Div(
        className="page",
        children=[
            html.H1("Packs", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            html.P("A run's number opens its history, from brew to tasting.", className="soft"),
            html.Div(id=TABLE),
            html.Div(
                className="pager",
                children=[
                    html.Button("Newer", id=EARLIER, type="button", className="quiet-button"),
                    html.P(id=PLACE, role="status"),
                    html.Button("Older", id=LATER, type="button", className="quiet-button"),
                ],
            ),
            html.Div(id=LEFT),
            dcc.Store(id=PAGE, data=0),
        ],
    )


def show(kept: object, _newer: int | None, _older: int | None, start: object):
    """Fill the page for the kept selection; its arrows move by a page of rows."""
    move = {EARLIER: -ROWS, LATER: ROWS}.get(ctx.triggered_id or "")
    begin = (start if isinstance(start, int) else 0) + move if move is not None else 0
    page = view(context().packs(), filters_from_kept(kept), begin)
    last = page.start + ROWS >= len(page.finding.rows)
    return (
        page.finding.answer,
        table_part(page),
        unlinked_part(page.finding),
        page.place,
        page.start,
        page.start == 0,
        last,
    )


def table_part(page: PackPage) -> Component:
    """Return the table, or what to do where it is empty."""
    if not page.rows and page.finding.filters == Filters():
        return empty(
            "Nothing read in a pack is on record" if page.finding.ledger_state else "Nothing is packed yet",
            ["Take your spreadsheets in on the page ", dcc.Link("Intake", href="/"), "."],
        )
    if not page.rows:
        return empty("No pack fits this selection", ["Select fewer things above, or a longer time."])
    return html.Div(
        [
            *[html.P(caution, className="caution") for caution in page.finding.cautions],
            data_table(
                "Finished packs with their readings and what was done to their beer",
                page.columns,
                page.rows,
                class_name="packs",
            ),
            exports.links("packs", "the whole table", page.finding.filters),
        ]
    )


def unlinked_part(finding: PacksFinding) -> Component | None:
    """Return what could not be linked, and why."""
    if not len(finding.unlinked):
        return None
    rows = [
        (str(r.kind).replace("_", " "), str(r.reason), f"{int(r.count_):,}")
        for r in finding.unlinked.rename(columns={"count": "count_"}).itertuples()
    ]
    total = int(finding.unlinked["count"].sum())
    return html.Details(
        [
            html.Summary(f"{count(total, 'record')} could not be linked to a pack, and why"),
            data_table(
                "Records that could not be linked",
                (Column("Record"), Column("Why not", kind="prose"), Column("How many", kind="figures")),
                rows,
            ),
            exports.links("unlinked", "this table", Filters()),
        ],
        className="more",
    )


def take_away(filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return the selection's whole pack table as a file."""
    return find_packs(context().packs(), filters).export(form)


def take_unlinked(_filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return what could not be linked as a file."""
    return find_packs(context().packs()).export_unlinked(form)


def take_history(_filters: Filters, asked: Mapping[str, str], form: Form) -> bytes:
    """Return a run's history as a file."""
    run = asked.get("run", "")
    history = history_of(run)
    if history is None:
        raise exports.NothingToTakeError(run)
    note = ExportNote(f"History of run {run}", context().packs().state, f"run {run}", made_at=datetime.now())
    return export_table(events_frame(history), note, form)


TAKE_AWAY: Mapping[str, exports.Maker] = {"packs": take_away, "unlinked": take_unlinked, "history": take_history}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__,
        path="/packs",
        name="Packs",
        title="Packs · Dropbright",
        order=2,
        icon="packs",
        group="records",
        layout=layout,
    )
    app.callback(
        Output(ANSWER, "children"),
        Output(TABLE, "children"),
        Output(LEFT, "children"),
        Output(PLACE, "children"),
        Output(PAGE, "data"),
        Output(EARLIER, "disabled"),
        Output(LATER, "disabled"),
        Input(FILTERS, "data"),
        Input(EARLIER, "n_clicks"),
        Input(LATER, "n_clicks"),
        State(PAGE, "data"),
    )(show)
