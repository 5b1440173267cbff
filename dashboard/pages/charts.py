"""Is it stable? What moved, when, and what was done differently?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.series import Series
from analysis.findings.stability import Stability, stability
from analysis.vocabulary import STAGES
from dashboard.figures.chart_drawing import drawing_of
from dashboard.figures.control_chart import control_chart
from dashboard.figures.plotly_layout import GRAPH_CONFIG
from dashboard.figures.small_chart import small_chart
from dashboard.parts import exports
from dashboard.parts.addresses import filters_from_kept
from dashboard.parts.chart_words import caption, points_table, rules_words, series_parts, small_caption
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, FILTERS, LEDGER_STATE, SCHEME
from dashboard.parts.measures import measure_options, usual_measure
from dashboard.parts.tables import empty
from dashboard.theme import Palette, palette

__all__ = ["TAKE_AWAY", "ChartsView", "layout", "register", "show", "view"]

MEASURE = "charts-measure"
STAGE = "charts-stage"
SERIES = "charts-series"
ANSWER = "charts-answer"
NOTHING = "charts-nothing"
LARGE = "charts-large"
NAME = "charts-name"
GRAPH = "charts-graph"
CAPTION = "charts-caption"
WORDS = "charts-words"
SMALL = "charts-small"
BELOW = "charts-below"
_ROOM = {"height": "clamp(19rem, 44vw, 26rem)"}
NO_FIGURE: dict[str, Any] = {"data": [], "layout": {}}
ANY_SERIES = {"type": "series", "name": ALL}

_STAGE_LABELS = {
    "fermenter": "In the fermenter",
    "bright_tank": "In the bright tank",
    "filler": "At the filler",
    "pack": "In the finished pack",
}


@dataclass(frozen=True)
class ChartsView:
    """The charts of one measure with one of them chosen; ``chosen`` is None where there is none."""

    finding: Stability
    chosen: Series | None

    @property
    def all_series(self) -> tuple[Series, ...]:
        """Every chart: by recipe and format, then by line across recipes."""
        return (*self.finding.series, *self.finding.across)


def view(finding: Stability, name: object) -> ChartsView:
    """Return the charts with the named one chosen, or the one that moved most where the name is none of theirs."""
    series = (*finding.series, *finding.across)
    named = next((one for one in series if one.name == name), None)
    return ChartsView(finding, named or max(series, key=_standing_out, default=None))


def _standing_out(series: Series) -> tuple[float, bool, int, int]:
    """Return by how much a series stands out: its largest move; then one recipe's before a line's, by its signals."""
    moved = max((abs(move.percent) for move in series.moves if move.percent == move.percent), default=0.0)
    return moved, series.recipe is not None, len(series.signals), len(series.points)


def layout(measure: str = "", stage: str = "pack", series: str = "", **_address: object) -> Component:
    """Return the page; the address may name the measure, the stage and the chart that stands large."""
    asked_stage = stage if stage in STAGES else "pack"
    return html.Div(
        className="page",
        children=[
            html.H1("Control charts", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            html.Div(
                className="choices",
                children=[
                    dmc.Select(id=MEASURE, label="Measure", data=[], value=measure or None, allowDeselect=False),
                    dmc.Select(
                        id=STAGE,
                        label="Read",
                        data=[{"value": name, "label": _STAGE_LABELS[name]} for name in STAGES],
                        value=asked_stage,
                        allowDeselect=False,
                    ),
                ],
            ),
            dcc.Store(id=SERIES, data=series if isinstance(series, str) else ""),
            html.Div(id=NOTHING),
            _large(),
            html.Div(id=SMALL),
            html.Div(id=BELOW),
        ],
    )


def _large() -> Component:
    return html.Section(
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
            html.Div(id=WORDS),
        ],
    )


def offer_measures(stage: str, _state: int | None, chosen: str | None):
    """Offer the measures that were read at the stage, and keep the chosen one where it is among them."""
    options = measure_options(context().packs(), stage if stage in STAGES else "pack")
    return options, usual_measure(options, chosen)


def choose(clicks: Sequence[int | None]) -> str:
    """Return the name of the small chart that was pressed."""
    if not any(clicks) or ctx.triggered_id is None:
        raise PreventUpdate
    return str(ctx.triggered_id["name"])


def show(kept: object, measure: object, stage: object, series: object, scheme: object):
    """Show the charts of a measure for the kept selection."""
    if not isinstance(measure, str) or not measure:
        return "", nothing_read(), True, "", NO_FIGURE, None, None, None, None
    asked_stage = stage if isinstance(stage, str) and stage in STAGES else "pack"
    finding = context().answer(stability, measure, asked_stage, filters_from_kept(kept))
    seen, colours = view(finding, series), palette(scheme)
    small, below = small_part(seen, colours), below_part(seen)
    if seen.chosen is None:
        return finding.answer, nothing_fits(), True, "", NO_FIGURE, None, None, small, below
    figure = control_chart(drawing_of(seen.chosen, finding.measure), colours)
    return finding.answer, None, False, seen.chosen.name, figure, caption_part(seen), words_part(seen), small, below


def nothing_read() -> Component:
    """Return what stands where there is no reading at all."""
    return empty(
        "No reading to chart yet",
        ["Take your readings in on the page ", dcc.Link("Intake", href="/"), ", or look at another stage."],
    )


def nothing_fits() -> Component:
    """Return what stands where the selection has no reading."""
    return empty("No reading fits this selection", ["Select fewer things above, or another stage."])


def caption_part(seen: ChartsView) -> list[Component | str]:
    """Return what stands under the large chart."""
    return [] if seen.chosen is None else [caption(seen.chosen, seen.finding), _key()]


def words_part(seen: ChartsView) -> list[Component]:
    """Return what the large chart says in words, and its numbers."""
    if seen.chosen is None:
        return []
    table = points_table(seen.chosen, seen.finding)
    numbers = html.Details([html.Summary("Its numbers as a table"), table], className="more")
    return [*series_parts(seen.chosen, seen.finding), numbers]


def _key() -> Component:
    marks = (
        ("key-point", "a run"),
        ("key-beyond", "beyond a limit"),
        ("key-pattern", "completes a run on one side"),
        ("key-shift", "the level moved within these dates"),
    )
    return html.Ul(
        [html.Li([html.Span(className=f"key {name}", **{"aria-hidden": "true"}), words]) for name, words in marks],
        className="keys",
    )


def small_part(seen: ChartsView, colours: Palette) -> Component | None:
    """Return all charts, small; pressing one makes it large."""
    if len(seen.all_series) < 2:
        return None
    buttons = [_small(one, seen, colours) for one in seen.all_series]
    return html.Section([html.H2("All charts of this measure"), html.Div(buttons, className="multiples")])


def _small(series: Series, seen: ChartsView, colours: Palette) -> Component:
    picture = small_chart(drawing_of(series, seen.finding.measure), colours)
    return html.Button(
        [
            html.Span(series.name, className="multiple-name"),
            html.Img(src=picture, alt="", className="multiple-picture"),
            html.Span(small_caption(series), className="multiple-words"),
        ],
        id={"type": "series", "name": series.name},
        type="button",
        className="multiple",
        **{"aria-pressed": "true" if series is seen.chosen else "false"},
    )


def below_part(seen: ChartsView) -> Component:
    """Return what holds for all charts of the page: cautions, rules, and the way to take the numbers away."""
    finding = seen.finding
    return html.Div(
        [
            *[html.P(words, className="caution") for words in finding.cautions],
            html.P(rules_words(finding), className="measure soft"),
            exports.links("charts", "all points", finding.filters, measure=finding.measure.name, stage=finding.stage),
        ],
        className="below",
    )


def take_away(filters: Filters, asked: Mapping[str, str], form: Form) -> bytes:
    """Return every point of every chart of a measure as a file."""
    name, stage = asked.get("measure", ""), asked.get("stage", "pack")
    if not name or stage not in STAGES:
        raise exports.NothingToTakeError
    finding = context().answer(stability, name, stage, filters)
    unit = finding.measure.unit
    note = ExportNote(
        f"Control charts of {finding.measure.label}",
        finding.ledger_state,
        filters.in_words(),
        dict.fromkeys(("value", "centre", "lower", "upper"), unit),
        finding.cautions,
        datetime.now(),
    )
    return export_table(points_frame(finding), note, form)


def points_frame(finding: Stability) -> pd.DataFrame:
    """Return every point of the charts by recipe and format, with its chart's centre and limits."""
    rows: list[dict[str, Any]] = [
        {
            "recipe": one.recipe,
            "format": one.format,
            "packed_at": point.at,
            "run": point.run,
            "batch": point.batch,
            "value": point.value,
            "sign": {-1: "<", 1: ">"}.get(point.censored, ""),
            "centre": one.centre,
            "lower": one.lower,
            "upper": one.upper,
            "in_baseline": point.in_baseline,
            "signals": ", ".join(point.signals),
        }
        for one in finding.series
        for point in one.points
    ]
    return pd.DataFrame(rows)


TAKE_AWAY: Mapping[str, exports.Maker] = {"charts": take_away}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__,
        path="/charts",
        name="Control charts",
        title="Control charts · Dropbright",
        order=3,
        icon="charts",
        group="questions",
        layout=layout,
    )
    app.callback(
        Output(MEASURE, "data"),
        Output(MEASURE, "value"),
        Input(STAGE, "value"),
        Input(LEDGER_STATE, "data"),
        State(MEASURE, "value"),
    )(offer_measures)
    app.callback(Output(SERIES, "data"), Input(ANY_SERIES, "n_clicks"), prevent_initial_call=True)(choose)
    app.callback(
        Output(ANSWER, "children"),
        Output(NOTHING, "children"),
        Output(LARGE, "hidden"),
        Output(NAME, "children"),
        Output(GRAPH, "figure"),
        Output(CAPTION, "children"),
        Output(WORDS, "children"),
        Output(SMALL, "children"),
        Output(BELOW, "children"),
        Input(FILTERS, "data"),
        Input(MEASURE, "value"),
        Input(STAGE, "value"),
        Input(SERIES, "data"),
        Input(SCHEME, "data"),
        running=[(Output(BUSY, "hidden"), False, True)],
    )(show)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepCharts"),
        Output(ANSWER, "title"),
        Input(MEASURE, "value"),
        Input(STAGE, "value"),
        Input(SERIES, "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "openRun"),
        Output(LARGE, "title"),
        Input(GRAPH, "clickData"),
        prevent_initial_call=True,
    )
