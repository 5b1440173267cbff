"""When will this tank be clear enough to package?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from analysis.findings.cautions import ALWAYS
from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.readiness import Readiness, ready
from analysis.findings.readiness_changes import Change
from analysis.findings.readiness_check import TankHistory, tank_history
from analysis.findings.tanks_now import as_of, batch_named, batches_in_tank, tank_of
from analysis.findings.wording import amount, day, percent, span
from analysis.haze import haze_class
from analysis.linking import PackTable
from dashboard.figures.plotly_layout import GRAPH_CONFIG
from dashboard.figures.readiness_figure import readiness_figure
from dashboard.parts import as_read, exports
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, LEDGER_STATE, SCHEME
from dashboard.parts.tables import Column, data_table, empty, short_day
from dashboard.theme import palette

__all__ = ["TAKE_AWAY", "layout", "register", "show"]

BATCH = "readiness-batch"
SURE = "readiness-sure"
ANSWER = "readiness-answer"
NOTHING = "readiness-nothing"
LARGE = "readiness-large"
NAME = "readiness-name"
GRAPH = "readiness-graph"
CAPTION = "readiness-caption"
BELOW = "readiness-below"
NO_FIGURE: dict[str, Any] = {"data": [], "layout": {}}
_ROOM = {"height": "clamp(17rem, 40vw, 24rem)"}
_SURE = ("80", "90", "95", "99")


def layout(measure: str = "", **_address: object) -> Component:
    """Return the page; the address may name the batch."""
    return html.Div(
        className="page",
        children=[
            html.H1("Readiness", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            html.Div(id=NOTHING),
            html.Div(
                className="choices",
                children=[
                    dmc.Select(id=BATCH, label="Tank", data=[], value=measure or None, allowDeselect=False),
                    dmc.Select(
                        id=SURE,
                        label="How sure it must be",
                        data=[{"value": sure, "label": f"{sure} %"} for sure in _SURE],
                        value="90",
                        allowDeselect=False,
                    ),
                ],
            ),
            html.Section(
                id=LARGE,
                className="chart",
                hidden=True,
                children=[
                    html.H2(id=NAME),
                    html.Figure(
                        [
                            dcc.Graph(id=GRAPH, figure=NO_FIGURE, config=GRAPH_CONFIG, style=_ROOM),
                            html.Figcaption(id=CAPTION),
                        ]
                    ),
                ],
            ),
            as_read.place("readiness"),
            html.Div(id=BELOW, className="under"),
        ],
    )


def history(table: PackTable, confidence: float) -> TankHistory | None:
    """Return how the tanks have settled up to now; None where the books are empty."""
    moment = as_of(table)
    return None if moment is None else tank_history(table, moment, confidence)


def forecast_of(table: PackTable, batch: str, confidence: float) -> Readiness:
    """Return a batch's forecast; tanks that hold beer now share what is known of all."""
    now = batch_named(table, batch) in batches_in_tank(table) if len(table.batches) else False
    past = context().answer_of_table(history, confidence) if now else None
    return ready(table, batch, confidence=confidence, history=past)


def offer_batches(_state: int | None, chosen: str | None):
    """Offer the batches in tank, and keep the chosen one, which may be another."""
    table = context().packs()
    keys = list(batches_in_tank(table))
    asked = batch_named(table, chosen) if isinstance(chosen, str) and chosen and len(table.batches) else None
    if asked is not None and asked not in keys:
        keys.append(asked)
    stirred = (
        set(table.operations.loc[table.operations["operation"].isin(("rouse", "finings")), "batch"]) if keys else ()
    )
    first = next((key for key in keys if key in stirred), next(iter(keys), None))
    return [{"value": key, "label": _label(table, key)} for key in keys], asked or first


def _label(table: PackTable, key: str) -> str:
    recipe = table.batches.loc[table.batches["batch"] == key, "recipe"].dropna()
    parts = [key, *(str(name) for name in recipe[:1]), tank_of(table, key)]
    return ", ".join(part for part in parts if part)


def show(batch: object, sure: object, scheme: object):
    """Show the forecast of a batch."""
    if not isinstance(batch, str) or not batch:
        return "", nothing_in_tank(), True, "", NO_FIGURE, "", None
    confidence = int(sure) / 100 if isinstance(sure, str) and sure in _SURE else 0.9
    told = context().answer_of_table(forecast_of, batch, confidence)
    if not told.days:
        return told.answer, None, True, "", NO_FIGURE, "", None
    name = ", ".join(part for part in (told.batch, told.recipe, told.tank) if part)
    return told.answer, None, False, name, readiness_figure(told, palette(scheme)), caption(told), below(told)


def nothing_in_tank() -> Component:
    """Return what stands where no batch is in tank."""
    return empty(
        "No batch in tank",
        ["Take your brew book and cellar log in on the page ", dcc.Link("Intake", href="/"), "."],
    )


def caption(told: Readiness) -> str:
    """Return what stands under the figure, so that it is read without it."""
    read = f"Discs are the tank's readings since {day(told.stirred_at)}. " if told.stirred_at else ""
    limits = [amount(limit, "EBC") for limit in (told.lower, told.upper) if limit is not None]
    target = f"Long dashes are the target, {' to '.join(limits)}. " if limits else "There is no target on record. "
    line = f"The line of dots is {day(told.ready_on)}. " if told.ready_on else ""
    return (
        f"{read}The line is the expected haze, the band {100 * told.confidence:.0f} % of readings. {target}{line}"
        f"Haze above its floor falls to a third in about {1.1 * told.settling_hours:.0f} hours in this recipe. A lone "
        f"yeast cell sinks {told.stokes:.1f} mm an hour in still beer by Stokes: a bound, not a forecast."
    )


def below(told: Readiness) -> list[Component | None]:
    """Return the days, what more of a practice goes with, the cautions and the way to take it away."""
    safety = [
        words for words in told.cautions if words == ALWAYS or words.split(":")[0] in ("Opened tanks", "Isinglass")
    ]
    return [
        html.H2("Day by day"),
        day_table(told),
        *(changes_part(told) if told.changes else []),
        *kinds_part(told),
        html.H2("What it rests on, and what it cannot say"),
        *[html.P(words, className="caution") for words in told.cautions if words not in safety],
        html.Div([html.P(words, className="measure soft") for words in safety], className="safety"),
        exports.links("readiness", "the forecast", Filters(), batch=told.batch),
        exports.links("readiness-changes", "what more goes with", Filters(), batch=told.batch)
        if told.changes
        else None,
    ]


def day_table(told: Readiness) -> Component:
    """Return the forecast as a table."""
    columns = (
        Column("Day"), Column("Expected", "EBC", "figures"), Column("A reading", "EBC", "figures"),
        Column("Called"), Column("In target", kind="figures"),
    )  # fmt: skip
    rows = []
    for one in told.days:
        called = haze_class(one.expected)
        chance = "" if math.isnan(one.chance) else f"{100 * one.chance:.0f} %"
        reading = f"{amount(one.low)} to {amount(one.high)}"
        rows.append((short_day(one.at), amount(one.expected), reading, called.name if called else "", chance))
    return data_table(f"Forecast of batch {told.batch}", columns, rows)


def changes_part(told: Readiness) -> list[Component]:
    """Return what the practices' model says of one step more."""
    columns = (
        Column("One step more of"), Column("Step"), Column("Haze in the pack", kind="figures"),
        Column("95 % interval", "%", "figures"), Column("Verdict"), Column("This tank in its target from"),
    )  # fmt: skip
    rows = [
        (c.label, c.step_unit, percent(c.percent), span(c.low, c.high, digits=2), c.verdict, _then(told, c))
        for c in told.changes
    ]
    return [
        html.H2("What another dump, dose or day goes with"),
        html.P(
            "From the model of practices, over finished packs and within recipes. The last column is what the forecast "
            "would be if this tank did as they did; a rouse or a dose stirs it and begins its settling anew.",
            className="measure",
        ),
        data_table("What one step more of a practice goes with", columns, rows),
    ]


def kinds_part(told: Readiness) -> list[Component]:
    """Return what is known of permanent and chill haze."""
    if told.kinds is None:
        return []
    said = [html.P(words, className="measure") for words in told.kinds.sentences]
    return [html.H2("Permanent and chill haze"), *said]


def _then(told: Readiness, change: Change) -> str:
    """Return from when the tank would be in its target with one step more, as far as that can be said."""
    if change.stirs:
        return "settles anew"
    if change.verdict not in ("lowers", "raises") or (told.lower is None and told.upper is None):
        return ""
    return short_day(change.ready_on) or f"not within {len(told.days) - 1} days"


def take_away(_filters: Filters, asked: Mapping[str, str], form: Form) -> bytes:
    """Return a batch's forecast as a file."""
    told = _forecast(asked)
    frame = pd.DataFrame(
        {"day": d.at, "expected": d.expected, "low": d.low, "high": d.high, "chance_in_target": d.chance}
        for d in told.days
    )
    return _taken(
        f"Forecast of batch {told.batch}", told, frame, dict.fromkeys(("expected", "low", "high"), "EBC"), form
    )


def take_changes(_filters: Filters, asked: Mapping[str, str], form: Form) -> bytes:
    """Return what one step more of each practice goes with as a file."""
    told = _forecast(asked)
    frame = pd.DataFrame(
        {
            "practice": c.label, "step": c.step_unit, "haze_percent": c.percent, "low": c.low, "high": c.high,
            "verdict": c.verdict, "this_tank_in_target_from": _then(told, c),
        }
        for c in told.changes
    )  # fmt: skip
    units = dict.fromkeys(("haze_percent", "low", "high"), "%")
    return _taken(f"What more of a practice goes with, batch {told.batch}", told, frame, units, form)


def _forecast(asked: Mapping[str, str]) -> Readiness:
    told = context().answer_of_table(forecast_of, asked.get("batch", ""), 0.9) if asked.get("batch") else None
    if told is None or not told.days:
        raise exports.NothingToTakeError
    return told


def _taken(what: str, told: Readiness, frame: pd.DataFrame, units: Mapping[str, str], form: Form) -> bytes:
    if not len(frame):
        raise exports.NothingToTakeError
    note = ExportNote(
        what, told.ledger_state, f"batch {told.batch}", units, (told.answer, *told.cautions), datetime.now()
    )
    return export_table(frame, note, form)


TAKE_AWAY: Mapping[str, exports.Maker] = {"readiness": take_away, "readiness-changes": take_changes}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__, path="/readiness", name="Readiness", title="Readiness · Dropbright", order=7, icon="readiness",
        group="questions", layout=layout,
    )  # fmt: skip
    app.callback(Output(BATCH, "data"), Output(BATCH, "value"), Input(LEDGER_STATE, "data"), State(BATCH, "value"))(
        offer_batches
    )
    as_read.register(app, "readiness", as_read.show_forecast, BATCH)
    app.callback(
        Output(ANSWER, "children"),
        Output(NOTHING, "children"),
        Output(LARGE, "hidden"),
        Output(NAME, "children"),
        Output(GRAPH, "figure"),
        Output(CAPTION, "children"),
        Output(BELOW, "children"),
        Input(BATCH, "value"),
        Input(SURE, "value"),
        Input(SCHEME, "data"),
        running=[(Output(BUSY, "hidden"), False, True)],
    )(show)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepMeasure"),
        Output(ANSWER, "title"),
        Input(BATCH, "value"),
        prevent_initial_call=True,
    )
