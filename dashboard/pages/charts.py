"""Is it stable? What moved, when, and what was done differently?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.filters import Filters
from analysis.findings.series import Series
from analysis.findings.series_batches import SEVERAL_RUNS
from analysis.vocabulary import STAGES
from dashboard.figures.chart_drawing import ChartDrawing, drawing_of
from dashboard.figures.control_chart import control_chart
from dashboard.figures.plotly_layout import GRAPH_CONFIG
from dashboard.figures.small_chart import small_chart
from dashboard.parts import as_read, baseline_form, exports
from dashboard.parts.addresses import filters_from_kept, query
from dashboard.parts.chart_choices import (
    DRAWN,
    MEASURE,
    NAME,
    PERCENT,
    RULES_ON,
    SLOW,
    STAGE,
    WITHIN,
    YEARS,
    Asked,
    asked_of,
    choices,
    rules_choice,
    slow_choices,
)
from dashboard.parts.chart_files import take_away
from dashboard.parts.chart_view import ChartsView, view
from dashboard.parts.chart_words import (
    caption,
    points_table,
    rules_words,
    series_parts,
    small_caption,
    taken_out_part,
    unit_of,
)
from dashboard.parts.charted import charted, counted_options
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, FILTERS, LEDGER_STATE, SCHEME
from dashboard.parts.measures import measure_options, usual_measure
from dashboard.parts.tables import empty
from dashboard.theme import Palette, palette

__all__ = ["TAKE_AWAY", "ChartsView", "layout", "register", "show", "view"]

SERIES = "charts-series"
ANSWER = "charts-answer"
NOTHING = "charts-nothing"
LARGE = "charts-large"
GRAPH = "charts-graph"
CAPTION = "charts-caption"
WORDS = "charts-words"
SMALL = "charts-small"
PRICE = "charts-price"
BELOW = "charts-below"
_ROOM = {"height": "clamp(19rem, 44vw, 26rem)"}
NO_FIGURE: dict[str, Any] = {"data": [], "layout": {}}
ANY_SERIES = {"type": "series", "name": ALL}


def layout(measure: str = "", stage: str = "pack", series: str = "", **address: str) -> Component:
    """Return the page; the address may name the measure, the stage, the chart that stands large and how it is drawn."""
    slow = (address.get(name, "") for name in ("percent", "within", "years"))
    return html.Div(
        className="page",
        children=[
            html.H1("Control charts", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            choices(measure, stage, address.get("drawn", "runs")),
            slow_choices(*slow),
            dcc.Store(id=SERIES, data=series if isinstance(series, str) else ""),
            html.Div(id=NOTHING),
            _large(),
            html.Details(
                [html.Summary("Which patterns count as a signal"), rules_choice(address.get("rules", ""))],
                className="more rules",
            ),
            html.P(id=PRICE, className="measure soft", role="status"),
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
            as_read.place("charts"),
            html.Div(id=WORDS),
            baseline_form.form(),
        ],
    )


def offer_measures(stage: str, _state: int | None, chosen: str | None):
    """Offer the measures that were read at the stage, and keep the chosen one where it is among them."""
    table = context().packs()
    options = measure_options(table, stage if stage in STAGES else "pack")
    options += counted_options(table) if stage == "pack" else []
    return options, usual_measure(options, chosen)


def choose(clicks: Sequence[int | None]) -> str:
    """Return the name of the small chart that was pressed."""
    if not any(clicks) or ctx.triggered_id is None:
        raise PreventUpdate
    return str(ctx.triggered_id["name"])


def show(
    kept: object, measure: object, stage: object, series: object, scheme: object, drawn: object = "runs",
    rules: object = None, percent: object = None, within: object = None, years: object = None, _state: object = None,
):  # fmt: skip
    """Show the charts of a measure for the kept selection."""
    asked = asked_of(measure, stage, series, drawn, rules, (percent, within, years))
    if asked is None:
        return "", nothing_read(), True, "", NO_FIGURE, None, None, None, None, None
    filters = filters_from_kept(kept)
    seen, colours = view(charted(asked, filters), asked.series, asked, context().packs()), palette(scheme)
    rest = rules_words(seen.finding), small_part(seen, colours), below_part(seen)
    if seen.chosen is None or seen.large is None:
        return seen.finding.answer, nothing_fits(), True, "", NO_FIGURE, None, None, *rest
    figure = control_chart(large_drawing(seen), colours)
    words = words_part(seen, filters, asked)
    return seen.finding.answer, None, False, seen.chosen.name, figure, caption_part(seen), words, *rest


def large_drawing(seen: ChartsView) -> ChartDrawing:
    """Return what is drawn large: with the runs as measured behind it, where they are counted in the same unit."""
    assert seen.chosen is not None and seen.large is not None
    made_of_runs = seen.slow is not None and seen.large is not seen.chosen and seen.large.unit is None
    return drawing_of(seen.large, seen.finding.measure, seen.chosen if made_of_runs else None)


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
    return [] if seen.large is None else [caption(seen.large, seen.finding), _key(seen)]


def words_part(seen: ChartsView, filters: Filters, asked: Asked) -> list[Component | None]:
    """Return what the large chart says in words, and its numbers."""
    if seen.large is None or seen.chosen is None:
        return []
    table = points_table(seen.large, seen.finding)
    return [
        *[html.P(words, className="measure") for words in seen.said],
        *_memory_offered(seen, filters, asked),
        *series_parts(seen.large, seen.finding),
        baseline_form.phases_list(seen.chosen, unit_of(seen.chosen, seen.finding)),
        taken_out_part(seen.finding.done),
        html.Details([html.Summary("Its numbers as a table"), table], className="more"),
    ]


def _memory_offered(seen: ChartsView, filters: Filters, asked: Asked) -> list[Component]:
    """Return the way to the chart of what is left after the memory, where the plain limits cry wolf for it."""
    if seen.large is None or not seen.large.after_memory or asked.drawn == "left":
        return []
    further = {"measure": asked.measure, "series": seen.large.name, "drawn": "memory"}
    address = f"/charts{query(filters, **further, stage='' if asked.stage == 'pack' else asked.stage)}"
    return [html.P(dcc.Link("Look at what is left after the run before", href=address), className="measure")]


def _key(seen: ChartsView) -> Component:
    marks = [
        ("key-point", "a run"),
        ("key-beyond", "beyond a limit"),
        ("key-pattern", "completes another pattern"),
        ("key-shift", "the level moved within these dates"),
        ("key-baseline", "the limits come from these runs"),
    ]
    made = seen.large is not None and bool(seen.large.charted)
    shown = [("key-point", "a point for each run"), marks[1], marks[-1]] if made else marks
    return html.Ul(
        [html.Li([html.Span(className=f"key {name}", **{"aria-hidden": "true"}), words]) for name, words in shown],
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
    """Return what holds for all charts of the page: cautions, and the way to take the numbers away."""
    finding = seen.finding
    told = {SEVERAL_RUNS} if seen.chosen is not None and seen.chosen.several_runs is not None else set()
    return html.Div(
        [
            *[html.P(words, className="caution") for words in finding.cautions if words not in told],
            exports.links("charts", "all points", finding.filters, measure=finding.measure.name, stage=finding.stage),
        ],
        className="below",
    )


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
    as_read.register(app, "charts", as_read.show_charts, MEASURE, STAGE, RULES_ON)
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
        Output(PRICE, "children"),
        Output(SMALL, "children"),
        Output(BELOW, "children"),
        Input(FILTERS, "data"),
        Input(MEASURE, "value"),
        Input(STAGE, "value"),
        Input(SERIES, "data"),
        Input(SCHEME, "data"),
        *(Input(each, "value") for each in (DRAWN, RULES_ON, PERCENT, WITHIN, YEARS)),
        Input(LEDGER_STATE, "data"),
        running=[(Output(BUSY, "hidden"), False, True)],
    )(show)
    app.clientside_callback(
        ClientsideFunction("charts", "keep"),
        Output(ANSWER, "title"),
        Output(SLOW, "hidden"),
        Input(MEASURE, "value"),
        Input(STAGE, "value"),
        Input(SERIES, "data"),
        *(Input(each, "value") for each in (DRAWN, RULES_ON, PERCENT, WITHIN, YEARS)),
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "openRun"),
        Output(LARGE, "title"),
        Input(GRAPH, "clickData"),
        prevent_initial_call=True,
    )
    baseline_form.register(app, GRAPH)
