"""How does a person freeze the baseline that a chart's limits are made from, and take it back?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import dash_mantine_components as dmc
from dash import ALL, MATCH, ClientsideFunction, Dash, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.baseline_requests import (
    FEWEST_SURE,
    limits_in_words,
    phase_asked,
    points_between,
    were_run_by_run,
    why_never_frozen,
)
from analysis.findings.baselines import FrozenPhase, freeze, thaw
from analysis.findings.series import PhaseShown, Point, Series
from analysis.findings.wording import amount, count, day
from analysis.ledger import LedgerError
from dashboard.parts.chart_choices import MEASURE, NAME, STAGE, asked_of
from dashboard.parts.charted import series_as_measured
from dashboard.parts.context import context
from dashboard.parts.ledger_state import announce
from dashboard.parts.tables import short_day

__all__ = ["FORM", "Typed", "form", "frozen_of", "offered", "phases_list", "register", "runs_between"]

FORM = "baseline-form"
SINCE = "baseline-since"
UNTIL = "baseline-until"
WHOLE = "baseline-whole"
LEFT_OUT = "baseline-left-out"
REASONS = "baseline-reasons"
BECAUSE = "baseline-because"
WHO = "baseline-who"
FREEZE = "baseline-freeze"
SAID = "baseline-said"
COUNTED = "baseline-counted"

_LONGEST = 400
_NO_CHART = "A baseline is frozen over all runs of a chart: take the selection above off, or choose a chart below."


@dataclass(frozen=True)
class Typed:
    """What a person typed into the form, each as the browser sends it."""

    since: object
    until: object
    whole: object
    reasons: Sequence[object]
    left_out: Sequence[str]
    because: object
    who: object


def form() -> Component:
    """Return the form; its dates may be typed, or dragged over the chart."""
    return html.Details(
        id=FORM,
        className="more baseline-form",
        children=[
            html.Summary("Freeze a baseline, or begin a new phase"),
            html.P(
                "Drag over the chart from the first run to the last, or type the dates. The limits are then made from "
                "these runs and do not move with later ones.",
                className="measure",
            ),
            html.Div(
                [
                    dmc.TextInput(id=SINCE, label="From", inputProps={"type": "date"}, value="", debounce=400),
                    dmc.TextInput(id=UNTIL, label="To", inputProps={"type": "date"}, value="", debounce=400),
                ],
                className="baseline-dates",
            ),
            html.P(id=COUNTED, className="soft", role="status"),
            dmc.RadioGroup(
                id=WHOLE,
                label="These runs are",
                value="whole",
                children=html.Div(
                    [
                        dmc.Radio(value="whole", label="the baseline of the series, from its first run on"),
                        dmc.Radio(value="phase", label="the baseline of a new phase, which begins with them"),
                    ],
                    className="baseline-kinds",
                ),
            ),
            dmc.MultiSelect(
                id=LEFT_OUT, label="Runs left out", placeholder="None", data=[], value=[], searchable=True,
                clearable=True, clearButtonProps={"aria-label": "Leave no run out"},
            ),
            html.Div(id=REASONS, className="baseline-reasons"),
            dmc.TextInput(id=BECAUSE, label="Why these runs, or what changed"),
            dmc.TextInput(
                id=WHO, label="Your name", persistence=True, persistence_type="local", autoComplete="name",
            ),
            dmc.Button("Freeze", id=FREEZE, variant="default"),
            html.Div(id=SAID, role="alert"),
        ],
    )  # fmt: skip


def phases_list(series: Series, unit: str) -> Component | None:
    """Return the phases of a series, each with its baseline, its limits and who froze it, and a way to take it back."""
    if not series.phases:
        return None
    later = [phase.begins for phase in series.phases[1:]]
    ends = [*later, None]
    return html.Div(
        [
            html.H3("Where the limits come from"),
            html.Ul([html.Li(_phase_part(p, e, series, unit)) for p, e in zip(series.phases, ends, strict=True)]),
        ]
    )


def _phase_part(phase: PhaseShown, end: date | None, series: Series, unit: str) -> list[Component | str]:
    lasts = f"From {day(phase.begins)} on" if end is None else f"{day(phase.begins)} until before {day(end)}"
    runs = count(phase.runs, "run") + (f" of {count(phase.batches, 'batch', 'batches')}" if phase.batches else "")
    dates = "" if phase.since is None or phase.until is None else f"{day(phase.since)} to {day(phase.until)}"
    of = f"{', ' if phase.batches else ' of '}{dates}" if dates else ""
    own = " at its first run" if series.kinds_of_limits > len(series.phases) else ""
    limits = f"{limits_in_words(phase.lower, phase.upper, unit)}{own}"
    told = f"{lasts}: {limits}, from {runs}{of}. "
    if phase.because is None:
        which = "first runs" if series.recipe is not None or series.format is not None else "runs until then"
        return [told, f"Nobody has frozen this: they are its {which}, whatever they were."]
    when = "" if phase.at is None else f" on {day(phase.at)}"
    left = "".join(f" Left out: run {run}, {because}." for run, because in phase.left_out)
    before = were_run_by_run(phase, unit)
    return [
        told,
        f"Frozen by {phase.by}{when}: “{phase.because}”.{left}{f' {before}' if before else ''}",
        *_take_back(phase.number),
    ]


def _take_back(number: int | None) -> list[Component]:
    if number is None:
        return []
    return [
        html.Details(
            [
                html.Summary("Take it back"),
                dmc.TextInput(id={"type": "thaw-because", "number": number}, label="Why"),
                dmc.TextInput(
                    id={"type": "thaw-who", "number": number}, label="Your name", persistence="thaw-who",
                    persistence_type="local", autoComplete="name",
                ),
                dmc.Button("Take back", id={"type": "thaw", "number": number}, variant="default"),
                html.Div(id={"type": "thaw-said", "number": number}, role="alert"),
            ],
            className="more baseline-thaw",
        )
    ]  # fmt: skip


def runs_between(series: Series | None, since: object, until: object) -> tuple[Point, ...]:
    """Return the points from one day to another, both included; none where a day is not one."""
    first, last = _day(since), _day(until)
    return () if first is None or last is None else points_between(series, first, last)


def offered(series: Series | None, since: object, until: object, unit: str) -> tuple[str, list[dict[str, str]]]:
    """Return how many runs stand between two days, in words, and each as an option to leave out."""
    if _day(since) is None or _day(until) is None:
        return "", []
    if series is None:
        return _NO_CHART, []
    if why_never_frozen(series):
        return why_never_frozen(series), []
    points = runs_between(series, since, until)
    options = [
        {"value": point.run, "label": f"{point.run}, {short_day(point.at)}, {amount(point.value, unit)}"}
        for point in points
        if point.run
    ]
    few = " Limits from so few are not sure." if len(points) < FEWEST_SURE else ""
    return (
        f"{count(len(points), 'run')} of {series.name} {'is' if len(points) == 1 else 'are'} between them.{few}",
        options,
    )


def reason_inputs(left_out: Sequence[str] | None) -> list[Component]:
    """Return a place for the reason of each run that is left out."""
    return [
        dmc.TextInput(id={"type": "left-out-because", "run": run}, label=f"Why run {run} is left out")
        for run in left_out or []
    ]


def frozen_of(measure: str, stage: str, series: Series | None, typed: Typed) -> FrozenPhase | str:
    """Return the phase that was typed, or what is wrong with it."""
    since, until = _day(typed.since), _day(typed.until)
    if series is None:
        return _NO_CHART
    if since is None or until is None:
        return "Say from when to when: drag over the chart, or type the dates."
    reasons = [_text(reason) for reason in typed.reasons]
    fault = _fault(typed, reasons)
    if fault:
        return fault
    because, who = _text(typed.because), _text(typed.who)
    left_out = list(zip(map(str, typed.left_out), reasons, strict=True))
    new = typed.whole == "phase"
    return phase_asked(measure, stage, series, (since, until), because, who, new_phase=new, left_out=left_out)


def _fault(typed: Typed, reasons: Sequence[str]) -> str:
    faults = {
        "Say why: the reason is kept with the baseline.": not _text(typed.because),
        "Say your name: it is kept with the baseline.": not _text(typed.who),
        "Say for each run that is left out why it is.": len(reasons) != len(typed.left_out) or not all(reasons),
    }
    return next((said for said, wrong in faults.items() if wrong), "")


def _day(value: object) -> date | None:
    try:
        return date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        return None


def _text(value: object) -> str:
    return value.strip()[:_LONGEST] if isinstance(value, str) else ""


def offer_runs(since: object, until: object, name: object, measure: object, stage: object):
    """Say how many runs the dates hold, and offer each to be left out."""
    asked = asked_of(measure, stage, name)
    if asked is None:
        return "", []
    series, unit = series_as_measured(asked, asked.series)
    return offered(series, since, until, unit)


def freeze_it(
    clicks: int | None, since: object, until: object, whole: object, left_out: list[str] | None,
    reasons: list[object], because: object, who: object, name: object, measure: object, stage: object,
):  # fmt: skip
    """Freeze what was typed, or say what is wrong with it."""
    asked = asked_of(measure, stage, name)
    if not clicks or asked is None:
        raise PreventUpdate
    series, _ = series_as_measured(asked, asked.series)
    typed = Typed(since, until, whole, reasons, left_out or [], because, who)
    return _frozen(frozen_of(asked.measure, asked.stage, series, typed))


def _frozen(phase: FrozenPhase | str) -> Component:
    if isinstance(phase, str):
        return html.P(phase, className="caution")
    try:
        freeze(context().ledger, phase)
    except (LedgerError, ValueError) as error:
        return html.P(f"It was not frozen. {error}", className="caution")
    announce(context().ledger.state)
    return html.P("Frozen. The limits above now come from these runs.", className="soft")


def thaw_it(clicks: int | None, because: object, who: object):
    """Take one frozen phase back, for the reason given."""
    if not clicks:
        raise PreventUpdate
    why, name = _text(because), _text(who)
    if not why or not name:
        return html.P("Say why and who you are: both are kept.", className="caution")
    try:
        thaw(context().ledger, ctx.triggered_id["number"], why, name)
    except (LedgerError, ValueError) as error:
        return html.P(f"It was not taken back. {error}", className="caution")
    announce(context().ledger.state)
    return None


def register(app: Dash, graph: str) -> None:
    """Wire the form to the graph that dates are dragged over."""
    app.clientside_callback(
        ClientsideFunction("charts", "dragged"),
        Output(SINCE, "value"),
        Output(UNTIL, "value"),
        Output(FORM, "open"),
        Input(graph, "selectedData"),
        prevent_initial_call=True,
    )
    dates = Input(SINCE, "value"), Input(UNTIL, "value")
    which = State(MEASURE, "value"), State(STAGE, "value")
    app.callback(Output(COUNTED, "children"), Output(LEFT_OUT, "data"), *dates, Input(NAME, "children"), *which)(
        offer_runs
    )
    app.callback(Output(REASONS, "children"), Input(LEFT_OUT, "value"))(reason_inputs)
    app.callback(
        Output(SAID, "children"),
        Input(FREEZE, "n_clicks"),
        *(State(each, "value") for each in (SINCE, UNTIL, WHOLE, LEFT_OUT)),
        State({"type": "left-out-because", "run": ALL}, "value"),
        *(State(each, "value") for each in (BECAUSE, WHO)),
        State(NAME, "children"),
        *which,
        prevent_initial_call=True,
    )(freeze_it)
    app.callback(
        Output({"type": "thaw-said", "number": MATCH}, "children"),
        Input({"type": "thaw", "number": MATCH}, "n_clicks"),
        State({"type": "thaw-because", "number": MATCH}, "value"),
        State({"type": "thaw-who", "number": MATCH}, "value"),
        prevent_initial_call=True,
    )(thaw_it)
