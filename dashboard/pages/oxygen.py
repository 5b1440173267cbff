"""Where does oxygen get in on the way to the closed pack?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import dash
import pandas as pd
from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from analysis.estimate import Estimate
from analysis.findings.cautions import ALWAYS, CARBON_DIOXIDE, CONFINED_SPACE, PERACETIC_ACID, PRESSURE
from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.late_packs import LatePacks
from analysis.findings.oxygen_limits import oxygen_limits
from analysis.findings.pickup import pickup
from analysis.findings.pickup_points import PointPassed, limit_in_words
from analysis.findings.pickup_result import UNIT, Balance, PickupFinding, Step
from analysis.findings.wording import amount, change, count, span
from dashboard.figures.plotly_layout import GRAPH_CONFIG
from dashboard.figures.step_figure import step_figure
from dashboard.parts import as_read, exports
from dashboard.parts import oxygen_limits as oxygen_limits_part
from dashboard.parts.addresses import filters_from_kept
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, FILTERS, LEDGER_STATE, SCHEME
from dashboard.parts.oxygen_limits import limits_part
from dashboard.parts.tables import Column, data_table, empty
from dashboard.theme import palette

__all__ = ["TAKE_AWAY", "layout", "register", "show"]

ANSWER = "oxygen-answer"
NOTHING = "oxygen-nothing"
LARGE = "oxygen-large"
GRAPH = "oxygen-graph"
CAPTION = "oxygen-caption"
BELOW = "oxygen-below"
NO_FIGURE: dict[str, Any] = {"data": [], "layout": {}}
_ROOM = {"height": "clamp(17rem, 40vw, 24rem)"}
_SAFETY = (*(c.sentence for c in (CARBON_DIOXIDE, PRESSURE, CONFINED_SPACE, PERACETIC_ACID)), ALWAYS)


def layout(**_address: object) -> Component:
    """Return the page."""
    return html.Div(
        className="page",
        children=[
            html.H1("Oxygen", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            html.Div(id=NOTHING),
            html.Section(
                id=LARGE,
                className="chart",
                hidden=True,
                children=[
                    html.H2("Step by step to the closed pack"),
                    html.Figure(
                        [
                            dcc.Graph(id=GRAPH, figure=NO_FIGURE, config=GRAPH_CONFIG, style=_ROOM),
                            html.Figcaption(id=CAPTION),
                        ]
                    ),
                ],
            ),
            as_read.place("oxygen"),
            html.Div(id=BELOW, className="under"),
            limits_part(),
        ],
    )


def show(kept: object, scheme: object, _state: int | None):
    """Show where oxygen gets in for the kept selection."""
    here = context()
    finding = here.answer_of_table(pickup, filters_from_kept(kept), oxygen_limits(here.ledger))
    if not any(step.rise for step in finding.steps):
        return finding.answer, nothing_read(), True, NO_FIGURE, "", None
    return finding.answer, None, False, step_figure(finding, palette(scheme)), caption(finding), below(finding)


def nothing_read() -> Component:
    """Return what stands where no step was read on both sides."""
    return empty(
        "Too few oxygen readings on the way",
        [
            "Take readings from fermenter, bright tank, filler and pack in on the page ",
            dcc.Link("Intake", href="/"),
            ".",
        ],
    )


def caption(finding: PickupFinding) -> str:
    """Return what stands under the figure, so that it is read without it."""
    told = [f"{step.label} {change(step.rise.value, UNIT)}" for step in finding.steps if step.rise is not None]
    fell = any(step.rise is not None and step.rise.high < 0 for step in finding.steps)
    open_block = " An open block is a fall: more oxygen was consumed by yeast there than came in." if fell else ""
    return (
        f"The mean rise: {'; '.join(told)}. Each step is the mean of the batches read on both its sides, so that the "
        "blocks need not add up to one pack; brackets are 95 % intervals."
        f"{open_block}"
    )


def below(finding: PickupFinding) -> list[Component | None]:
    """Return the rises, the points that pass their limits, the balance, cautions and the way to take them away."""
    return [
        html.H2("The rise at each step"),
        steps_table(finding.steps),
        *[_apart(step) for step in finding.steps if step.groups or step.practices],
        *(points_part(finding) if finding.points else []),
        *(balance_part(finding.balance) if finding.balance is not None else []),
        *(late_part(finding.late) if finding.late is not None else []),
        *[html.P(words, className="caution") for words in finding.cautions if words not in _SAFETY],
        html.Div([html.P(words, className="measure soft") for words in _SAFETY], className="safety"),
        exports.links("oxygen", "all rises", finding.filters),
        exports.links("oxygen-limits", "what passes its limit", finding.filters) if finding.points else None,
    ]


def steps_table(steps: Sequence[Step]) -> Component:
    """Return the rise at each step, with how many batches fell instead: consumption by yeast, or scatter."""
    columns = (
        Column("Step"), Column("Batches", kind="figures"), Column("Rise", UNIT, "figures"),
        Column("95 % interval", UNIT, "figures"), Column("Fell instead", kind="figures"),
    )  # fmt: skip
    rows = [
        (step.label, f"{step.batches:,}", *_interval(step.rise), f"{step.falls:,}" if step.falls else "none")
        for step in steps
    ]
    return data_table("Rise of oxygen at each step", columns, rows)


def rise_table(name: str, rows: Sequence[tuple[str, int, Estimate | None]]) -> Component:
    """Return rises as a table."""
    columns = (
        Column("Step"), Column("Batches", kind="figures"), Column("Rise", UNIT, "figures"),
        Column("95 % interval", UNIT, "figures"),
    )  # fmt: skip
    told = [(label, f"{batches:,}", *_interval(rise)) for label, batches, rise in rows]
    return data_table(name, columns, told)


def _interval(rise: Estimate | None) -> tuple[str, str]:
    return ("too few", "") if rise is None else (change(rise.value), span(rise.low, rise.high))


def _apart(step: Step) -> Component:
    """Return a step by recipe, tank, line and format, and with a practice against without it."""
    groups = [(f"{group.by.capitalize()} {group.value}", group.batches, group.rise) for group in step.groups]
    return html.Details(
        [
            html.Summary(f"{step.label.capitalize()}, by recipe, tank, line, format and practice"),
            *([practice_table(step)] if step.practices else []),
            *([rise_table(f"Rise {step.label}, apart", groups)] if groups else []),
        ],
        className="more",
    )


def practice_table(step: Step) -> Component:
    """Return what each practice goes with over a step, those first that hold among all that were compared."""
    columns = (
        Column("Practice"), Column("One step more of it"), Column("Batches", kind="figures"),
        Column("Rises more by", UNIT, "figures"), Column("95 % interval", UNIT, "figures"),
        Column("Among all compared"),
    )  # fmt: skip
    rows = [
        (
            p.label.rstrip("?"), p.step,
            f"{p.batches:,}" if p.with_it is None else f"{p.with_it:,} against {p.without_it:,}",
            *_interval(p.difference), "holds" if p.holds else "may be chance",
        )
        for p in step.practices
    ]  # fmt: skip
    return data_table(f"What practices go with {step.label}", columns, rows)


def points_part(finding: PickupFinding) -> list[Component]:
    """Return how often each point passes its limit."""
    columns = (
        Column("Point"), Column("Limit", UNIT, "figures"), Column("Whose"), Column("Above it", kind="figures"),
        Column("95 % interval", "%", "figures"), Column("Calls for action", kind="figures"),
    )  # fmt: skip
    rows = [
        (
            f"{p.limit.label[:1].upper()}{p.limit.label[1:]}{', the rise' if p.limit.kind == 'rise' else ''}",
            limit_in_words(p, ""), _whose(p),
            f"{p.passed:,} of {p.batches:,}", f"{100 * p.low:.0f} to {100 * p.high:.0f}", f"{p.acted:,}",
        )
        for p in finding.points
    ]  # fmt: skip
    return [
        html.H2("What passes its limit most often"),
        data_table("How often each point passes its limit", columns, rows),
    ]


def _whose(point: PointPassed) -> str:
    if point.whose:
        return f"yours, set by {point.whose}"
    return "yours, a target" if point.own_target else "a working target"


def balance_part(balance: Balance) -> list[Component]:
    """Return how much of the pack's oxygen the readings account for."""
    share = balance.accounted
    return [
        html.H2("What is in a pack, and where it came from"),
        html.P(
            f"Over {count(balance.batches, 'batch', 'batches')} read at the filler and in the pack, a pack holds "
            f"{amount(balance.pack, UNIT)}. At the filler the beer had {amount(balance.at_filler, UNIT)} of it, "
            f"{100 * share.value:.0f} % ({100 * share.low:.0f} to {100 * share.high:.0f} %)"
            f"{_in_tank(balance)}; {amount(balance.closing, UNIT)} came in from there to the closed pack.",
            className="measure",
        ),
    ]


def late_part(late: LatePacks) -> list[Component]:
    """Return what packs that were opened late say of closing, and of which it can no longer be told."""
    columns = (
        Column("Run"), Column("Opened after", "days", "figures"), Column("Read", UNIT, "figures"),
        Column("At closing", UNIT, "figures"), Column("95 % interval", UNIT, "figures"),
        Column("Fresh packs read", UNIT, "figures"),
    )  # fmt: skip
    rows = [
        (
            f"{one.run}, {one.recipe}", f"{one.age_days:.0f}", f"{'<' if one.is_below else ''}{amount(one.reading)}",
            "too late" if one.at_closing is None else amount(one.at_closing.value),
            "" if one.at_closing is None else f"{amount(one.at_closing.low)} to {amount(one.at_closing.high)}",
            "" if one.fresh is None else amount(one.fresh),
        )
        for one in late.packs
    ]  # fmt: skip
    return [
        html.H2("Packs that were opened late"),
        html.P(late.sentence, className="measure"),
        html.Details(
            [html.Summary("Run by run"), data_table("Packs that were opened late", columns, rows)], className="more"
        ),
    ]


def _in_tank(balance: Balance) -> str:
    """Return what the beer had before the filler, where it was read."""
    return "" if math.isnan(balance.in_tank) else f", {amount(balance.in_tank, UNIT)} of that in the tank before"


def take_away(filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return every rise as a file."""
    here = context()
    finding = here.answer_of_table(pickup, filters, oxygen_limits(here.ledger))
    if not finding.steps:
        raise exports.NothingToTakeError
    note = ExportNote(
        "Oxygen on the way to the pack", finding.ledger_state, filters.in_words(),
        dict.fromkeys(("rise", "low", "high"), UNIT), (finding.answer, *finding.cautions), datetime.now(),
    )  # fmt: skip
    return export_table(rises_frame(finding), note, form)


def take_limits(filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return how often each point passes its limit as a file."""
    here = context()
    finding = here.answer_of_table(pickup, filters, oxygen_limits(here.ledger))
    if not finding.points:
        raise exports.NothingToTakeError
    note = ExportNote(
        "What passes its oxygen limit", finding.ledger_state, filters.in_words(),
        dict.fromkeys(("limit", "limit_to", "calls_for_action_above"), UNIT), finding.cautions, datetime.now(),
    )  # fmt: skip
    return export_table(limits_frame(finding), note, form)


def limits_frame(finding: PickupFinding) -> pd.DataFrame:
    """Return a row a point."""
    return pd.DataFrame(
        {
            "point": p.limit.label, "kind": p.limit.kind, "limit": p.good, "limit_to": p.good_to, "whose": _whose(p),
            "calls_for_action_above": p.act, "batches": p.batches, "above_limit": p.passed, "share_low": p.low,
            "share_high": p.high, "called_for_action": p.acted,
        }
        for p in finding.points
    )  # fmt: skip


def rises_frame(finding: PickupFinding) -> pd.DataFrame:
    """Return a row a step, group and practice."""
    rows = [
        (step.step, by, value, batches, rise)
        for step in finding.steps
        for by, value, batches, rise in [
            ("all", "", step.batches, step.rise),
            *((g.by, g.value, g.batches, g.rise) for g in step.groups),
            *((p.practice, p.step, p.batches, p.difference) for p in step.practices),
        ]
        if rise is not None
    ]
    return pd.DataFrame(
        {"step": step, "by": by, "value": value, "batches": batches, "rise": r.value, "low": r.low, "high": r.high}
        for step, by, value, batches, r in rows
    )


TAKE_AWAY: Mapping[str, exports.Maker] = {"oxygen": take_away, "oxygen-limits": take_limits}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__, path="/oxygen", name="Oxygen", title="Oxygen · Dropbright", order=6, icon="oxygen",
        group="questions", layout=layout,
    )  # fmt: skip
    oxygen_limits_part.register(app)
    as_read.register(app, "oxygen", as_read.show_rises)
    app.callback(
        Output(ANSWER, "children"),
        Output(NOTHING, "children"),
        Output(LARGE, "hidden"),
        Output(GRAPH, "figure"),
        Output(CAPTION, "children"),
        Output(BELOW, "children"),
        Input(FILTERS, "data"),
        Input(SCHEME, "data"),
        Input(LEDGER_STATE, "data"),
        running=[(Output(BUSY, "hidden"), False, True)],
    )(show)
