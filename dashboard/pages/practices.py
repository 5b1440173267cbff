"""Which practices shift it, which make no practical difference, and which cannot be told yet?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import MATCH, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.practice_checks import model_checks
from analysis.findings.practice_depth import deepen
from analysis.findings.practice_rows import NotAssessed
from analysis.findings.practice_verdicts import within
from analysis.findings.practice_words import spoken_measure
from analysis.findings.practices import MARGIN_OF, PracticeEffect, PracticesFinding, practices
from analysis.findings.wording import amount, change, count, figure
from dashboard.figures.interval import IntervalScale, interval, interval_axis
from dashboard.parts import as_read, exports, margins
from dashboard.parts.addresses import filters_from_kept
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, FILTERS, LEDGER_STATE
from dashboard.parts.measures import measure_options, usual_measure
from dashboard.parts.model_words import MODEL_CHECKS, MODEL_OPENER, checks_part, model_part
from dashboard.parts.tables import Column, data_table, empty
from dashboard.parts.verdict_depth import depth_part
from dashboard.parts.verdicts import (
    BEYOND_READING,
    MARKS,
    cautions_of,
    is_beyond_reading,
    margin_words,
    mark,
    numbers,
    practice_label,
    scope_of,
    sentence,
    unbroken,
    whole_sentence,
)

__all__ = ["TAKE_AWAY", "PracticesView", "layout", "register", "show", "view"]

MEASURE = "practices-measure"
ANSWER = "practices-answer"
VERDICTS = "practices-verdicts"
UNSAID = "practices-unsaid"
MODEL = "practices-model"

_OPENED, _NUMBERS = "practices-opened", "practices-numbers"
# With a place of their own, so that they may come and go with the measure.
_TABLE_OPENER = {"type": "practices-table-opener", "place": 0}
_TABLE = {"type": "practices-table", "place": 0}

_HOW_TO_READ = (
    "In brackets, and as the thin line, the 95 % interval; the thick line is the 90 % interval, which has to lie "
    "inside the band for “no practical difference”. Open a line for its numbers."
)


@dataclass(frozen=True)
class PracticesView:
    """The verdicts of one measure and the scale on which all their intervals are drawn."""

    finding: PracticesFinding
    scale: IntervalScale


def view(finding: PracticesFinding) -> PracticesView:
    """Return the verdicts with the scale that they share."""
    ends = [end for effect in finding.practices for end in (effect.effect.low, effect.effect.high)]
    return PracticesView(finding, IntervalScale.over(ends, finding.margin_value))


def layout(measure: str = "", **_address: object) -> Component:
    """Return the page; the address may name the measure."""
    return html.Div(
        className="page",
        children=[
            html.H1("Practices", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            html.Div(
                dmc.Select(id=MEASURE, label="Measure", data=[], value=measure or None, allowDeselect=False),
                className="choices",
            ),
            margins.place(),
            html.Div(id=VERDICTS),
            as_read.place("practices"),
            html.Div(id=UNSAID),
            html.Div(id=MODEL),
        ],
    )


def offer_measures(_state: int | None, chosen: str | None):
    """Offer the measures of the finished pack, and keep the chosen one where it is among them."""
    options = measure_options(context().packs())
    return options, usual_measure(options, chosen)


def show(kept: object, measure: object):
    """Show the verdicts of a measure for the kept selection."""
    if not isinstance(measure, str) or not measure:
        return "", nothing_read(), None, None
    seen = view(context().answer_of_table(practices, measure, filters_from_kept(kept)))
    return seen.finding.answer, verdicts_part(seen), unsaid_part(seen.finding), model_part(seen.finding)


def nothing_read() -> Component:
    """Return what stands where no finished pack has a reading."""
    return empty(
        "No finished pack has a reading yet",
        ["Take your packaging runs, readings and cellar log in on the page ", dcc.Link("Intake", href="/"), "."],
    )


def verdicts_part(seen: PracticesView) -> Component | None:
    """Return the verdicts: each a sentence and its interval against the margin, opening to its numbers."""
    finding = seen.finding
    if not finding.practices:
        further = "Select more above, or choose another measure."
        return html.P(further, className="soft") if finding.filters != Filters() else None
    return html.Section(
        [
            html.P(unbroken(f"{margin_words(finding)} {_HOW_TO_READ}"), className="measure"),
            *[html.P(words, className="caution") for words in finding.cautions if not words.startswith(MARGIN_OF)],
            html.Div(
                [html.Span(), interval_axis("lowers", "raises", seen.scale, _margin(finding))],
                className="verdict-row verdict-head",
            ),
            html.Ul([html.Li(_verdict(effect, seen)) for effect in finding.practices], className="verdicts"),
            html.Details(
                [
                    html.Summary("The same as a table", id=_TABLE_OPENER, n_clicks=0),
                    html.Div(_working(), id=_TABLE),
                ],
                className="more",
            ),
            exports.links("practices", "the verdicts", finding.filters, measure=finding.measure.name),
        ]
    )


def _margin(finding: PracticesFinding) -> str:
    """Return the margin as the drawings are told: as a share of the level where effects are shares."""
    if finding.margin_value is None:
        return ""
    if finding.log and finding.level:
        return unbroken(amount(100 * finding.margin_value / finding.level, "%", digits=2))
    return unbroken(figure(finding.margin_value, finding.measure.unit))


def _verdict(effect: PracticeEffect, seen: PracticesView) -> Component:
    """Return a verdict's line; its numbers come when it is opened, for a thousand figures at once keep a browser busy
    for seconds."""
    outer, inner = effect.effect, effect.inner
    drawing = interval(
        seen.scale, outer.low, inner.low, outer.value, inner.high, outer.high, MARKS[effect.verdict].name
    )
    place = seen.finding.practices.index(effect)
    return html.Details(
        [
            html.Summary(
                [
                    html.Div([_marks(effect), html.P(sentence(effect, seen.finding))], className="verdict-words"),
                    drawing,
                ],
                id={"type": _OPENED, "place": place},
                n_clicks=0,
                className="verdict-row",
            ),
            html.Div(_working(), id={"type": _NUMBERS, "place": place}, className="verdict-numbers"),
        ],
        className="verdict-item",
    )


def _working() -> Component:
    return html.P("Working it out …", className="soft")


def numbers_part(effect: PracticeEffect, finding: PracticesFinding) -> list[Component]:
    """Return what stands under a verdict that was opened: its cautions, its numbers, and the way further down."""
    pairs = numbers(effect, finding)
    return [
        *[html.P(words, className="caution") for words in cautions_of(effect)],
        html.Dl([part for word, text in pairs for part in (html.Dt(word), html.Dd(text))]),
        html.P(" ".join(scope_of(effect)), className="soft"),
        _closer(finding.practices.index(effect)),
    ]


def _closer(place: int) -> Component:
    """Return the line that opens what stands behind a verdict; it is worked out when it is opened."""
    return html.Details(
        [
            html.Summary("What stands behind it", id={"type": "practices-look", "place": place}, n_clicks=0),
            html.Div(_working(), id={"type": "practices-behind", "place": place}),
        ],
        className="more",
    )


def open_numbers(clicks: int | None, kept: object, measure: object):
    """Show the numbers of the verdict that was opened, once."""
    return numbers_part(*_opened(clicks, kept, measure))


def look_behind(clicks: int | None, kept: object, measure: object):
    """Show what stands behind the verdict that was opened, once."""
    effect, finding = _opened(clicks, kept, measure)
    return depth_part(deepen(finding, effect.practice), effect, finding)


def _opened(clicks: int | None, kept: object, measure: object) -> tuple[PracticeEffect, PracticesFinding]:
    """Return the verdict whose line was opened for the first time."""
    if clicks != 1 or not isinstance(measure, str) or not isinstance(ctx.triggered_id, Mapping):
        raise PreventUpdate
    finding = context().answer_of_table(practices, measure, filters_from_kept(kept))
    place = ctx.triggered_id["place"]
    if not (isinstance(place, int) and 0 <= place < len(finding.practices)):
        raise PreventUpdate
    return finding.practices[place], finding


def open_table(clicks: int | None, kept: object, measure: object):
    """Show the verdicts as a table when it is opened, once."""
    if clicks != 1 or not isinstance(measure, str):
        raise PreventUpdate
    return verdict_table(context().answer_of_table(practices, measure, filters_from_kept(kept)))


def check_model(clicks: int | None, kept: object, measure: object):
    """Show the checks of the model when it is opened, once."""
    if clicks != 1 or not isinstance(measure, str):
        raise PreventUpdate
    return checks_part(model_checks(context().answer_of_table(practices, measure, filters_from_kept(kept))))


def _marks(effect: PracticeEffect) -> Component:
    """Return the verdict's mark, and how many cautions stand behind it."""
    cautions = len(cautions_of(effect))
    beside = [html.Span(count(cautions, "caution"), className="has-cautions")] if cautions else []
    return html.Div([mark(effect.verdict), *beside], className="verdict-marks")


def verdict_table(finding: PracticesFinding) -> Component:
    """Return the verdicts as a table."""
    unit = finding.measure.unit
    columns = (
        Column("Practice"),
        Column("Verdict"),
        Column("One step"),
        Column("Effect", unit, "figures"),
        Column("95 % interval", unit, "figures"),
        Column("Batches", kind="figures"),
        Column("More batches", kind="figures"),
    )
    rows = [
        (
            effect.label,
            mark(effect.verdict),
            effect.step_unit,
            change(effect.effect.value),
            BEYOND_READING if is_beyond_reading(effect.effect, finding) else within(effect.effect, finding),
            f"{effect.batches:,}",
            "" if effect.more_batches is None else f"{effect.more_batches:,}",
        )
        for effect in finding.practices
    ]
    return data_table(f"Verdicts on {spoken_measure(finding.measure)}", columns, rows)


def unsaid_part(finding: PracticesFinding) -> Component | None:
    """Return what is not said, and why: practices that could not be assessed, and packs that were left out."""
    # Where nothing was read the answer has said so, and each practice has the same reason.
    rows = _by_reason(finding.not_assessed) if len(finding.compared.frame) else []
    if not rows and not finding.left_out:
        return None
    return html.Section(
        [
            html.H2("What is not said, and why"),
            data_table(
                "Practices that were not assessed",
                (Column("Practice"), Column("Why nothing is said", kind="prose")),
                rows,
            )
            if rows
            else None,
            *[html.P(f"{count(out.rows, 'reading')} left out: {out.reason}.") for out in finding.left_out],
        ],
        className="unsaid",
    )


def _by_reason(not_assessed: Sequence[NotAssessed]) -> list[tuple[str, str]]:
    """Return each practice with its reason; those of one reason in one row where they are several."""
    named: dict[str, list[str]] = {}
    for unsaid in not_assessed:
        named.setdefault(unsaid.reason, []).append(practice_label(unsaid.practice, unsaid.label))
    return [("; ".join(labels), whole_sentence(reason)) for reason, labels in named.items()]


def take_away(filters: Filters, asked: Mapping[str, str], form: Form) -> bytes:
    """Return the verdicts of a measure as a file."""
    if not asked.get("measure"):
        raise exports.NothingToTakeError
    finding = context().answer_of_table(practices, asked["measure"], filters)
    unit = finding.measure.unit
    note = ExportNote(
        f"Practices and {finding.measure.label}",
        finding.ledger_state,
        filters.in_words(),
        {"effect": unit, "low": unit, "high": unit, "effect_percent": "%"},
        (*finding.cautions, margin_words(finding)),
        datetime.now(),
    )
    return export_table(verdict_frame(finding), note, form)


def verdict_frame(finding: PracticesFinding) -> pd.DataFrame:
    """Return a row for each verdict, and one for each practice on which nothing is said."""
    told = [
        {
            "practice": effect.label,
            "verdict": str(effect.verdict),
            "step": effect.step_unit,
            "effect": effect.effect.value,
            "low": effect.effect.low,
            "high": effect.effect.high,
            "effect_percent": effect.percent,
            "p": effect.judgement.p,
            "q": effect.judgement.q,
            "batches": effect.batches,
            "more_batches": effect.more_batches,
            "cautions": " ".join(effect.cautions),
        }
        for effect in finding.practices
    ]
    unsaid = [
        {"practice": practice_label(u.practice, u.label), "verdict": "not assessed", "cautions": u.reason}
        for u in finding.not_assessed
    ]
    return pd.DataFrame([*told, *unsaid])


TAKE_AWAY: Mapping[str, exports.Maker] = {"practices": take_away}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__,
        path="/practices",
        name="Practices",
        title="Practices · Dropbright",
        order=4,
        icon="practices",
        group="questions",
        layout=layout,
    )
    app.callback(
        Output(MEASURE, "data"),
        Output(MEASURE, "value"),
        Input(LEDGER_STATE, "data"),
        State(MEASURE, "value"),
    )(offer_measures)
    app.callback(
        Output(ANSWER, "children"),
        Output(VERDICTS, "children"),
        Output(UNSAID, "children"),
        Output(MODEL, "children"),
        Input(FILTERS, "data"),
        Input(MEASURE, "value"),
        running=[(Output(BUSY, "hidden"), False, True)],
    )(show)
    margins.register(app, MEASURE)
    chosen = (State(FILTERS, "data"), State(MEASURE, "value"))
    for opener, shown, answer in (
        (_OPENED, _NUMBERS, open_numbers),
        ("practices-look", "practices-behind", look_behind),
        (_TABLE_OPENER["type"], _TABLE["type"], open_table),
        (MODEL_OPENER["type"], MODEL_CHECKS["type"], check_model),
    ):
        app.callback(
            Output({"type": shown, "place": MATCH}, "children"),
            Input({"type": opener, "place": MATCH}, "n_clicks"),
            *chosen,
            prevent_initial_call=True,
        )(answer)
    as_read.register(app, "practices", as_read.show_verdicts, MEASURE)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepMeasure"),
        Output(ANSWER, "title"),
        Input(MEASURE, "value"),
        prevent_initial_call=True,
    )
