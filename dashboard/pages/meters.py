"""Can the meters be believed?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import dash
import dash_mantine_components as dmc
import pandas as pd
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.meter_bias import Checked, MeterBias, bias_in_words, interval_in_words
from analysis.findings.meter_course import State as Course
from analysis.findings.meter_decisions import meter_decisions as every_decision
from analysis.findings.meter_otherwise import Otherwise, verdicts_otherwise
from analysis.findings.meter_repeats import RepeatStudy
from analysis.findings.meters import MetersFinding, meters
from analysis.findings.wording import amount, count, day, days_between, listing
from analysis.ledger import snapshot
from analysis.linking import PackTable
from analysis.vocabulary import measure as measure_of
from dashboard.figures.control_chart import control_chart
from dashboard.figures.meter_chart import drawing_of_checks
from dashboard.figures.plotly_layout import GRAPH_CONFIG
from dashboard.parts import exports, meter_decisions
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, LEDGER_STATE, SCHEME
from dashboard.parts.tables import Column, data_table, empty, short_day
from dashboard.parts.verdicts import practice_label
from dashboard.theme import palette

__all__ = ["TAKE_AWAY", "Shown", "layout", "register", "show", "shown_checks"]

CHECKS = "meters-checks"
ANSWER = "meters-answer"
NOTHING = "meters-nothing"
LARGE = "meters-large"
NAME = "meters-name"
GRAPH = "meters-graph"
CAPTION = "meters-caption"
BELOW = "meters-below"
OTHERWISE = "meters-otherwise"
NO_FIGURE: dict[str, Any] = {"data": [], "layout": {}}
_ROOM = {"height": "clamp(17rem, 40vw, 24rem)"}
_SPREADS = (
    Column("Readings of one beer"), Column("Two of them differ by up to", kind="figures"),
    Column("Share of the spread of all readings", kind="figures"), Column("Share of the margin", kind="figures"),
)  # fmt: skip
_LOOKS = {Course.STEADY: "steady", Course.DRIFTING: "drifting", Course.SHIFTED: "shifted", Course.TOO_FEW: "few"}


@dataclass(frozen=True)
class Shown:
    """One meter's checks of one kind, as the page offers them by ``name``."""

    name: str
    meter: MeterBias
    checked: Checked


def shown_checks(finding: MetersFinding) -> tuple[Shown, ...]:
    """Return every meter's checks, those that have moved first."""
    found = [
        Shown(f"{meter.meter}, {meter.measure.label.lower()}, against {_against(checked)}", meter, checked)
        for meter in finding.meters
        for checked in (meter.span, meter.zero)
        if checked is not None
    ]
    order = [*list(_LOOKS)[1:], Course.STEADY]
    return tuple(sorted(found, key=lambda one: order.index(one.checked.course.state)))


def layout(measure: str = "", **_address: object) -> Component:
    """Return the page; the address may name the checks that stand large."""
    return html.Div(
        className="page",
        children=[
            html.H1("Meters", tabIndex=-1),
            html.P(id=ANSWER, className="answer"),
            html.Div(id=NOTHING),
            html.Section(
                id=LARGE,
                className="chart",
                hidden=True,
                children=[
                    html.Div(
                        dmc.Select(id=CHECKS, label="Checks of", data=[], value=measure or None, allowDeselect=False),
                        className="choices",
                    ),
                    html.H2(id=NAME),
                    html.Figure(
                        [
                            dcc.Graph(id=GRAPH, figure=NO_FIGURE, config=GRAPH_CONFIG, style=_ROOM),
                            html.Figcaption(id=CAPTION),
                        ]
                    ),
                ],
            ),
            *meter_decisions.places(),
            html.Div(id=BELOW, className="under"),
            html.Div(id=OTHERWISE, className="under"),
        ],
    )


def asked(table: PackTable) -> MetersFinding:
    """Return the finding for the ledger's present state."""
    ledger = context().ledger
    return meters(snapshot(ledger, table.state), table, every_decision(ledger, standing=False))


def offer_checks(_state: int | None, chosen: str | None):
    """Offer every meter's checks, and keep the chosen ones where they are among them."""
    names = [one.name for one in shown_checks(context().answer(asked))]
    return names, chosen if chosen in names else next(iter(names), None)


def show(chosen: object, scheme: object):
    """Show the finding, with the chosen checks large."""
    finding = context().answer(asked)
    found = next((one for one in shown_checks(finding) if one.name == chosen), None)
    if found is None:
        return finding.answer, None if finding.meters else nothing_checked(), True, "", NO_FIGURE, "", below(finding)
    figure = control_chart(drawing_of_checks(found.meter, found.checked), palette(scheme))
    return finding.answer, None, False, found.name, figure, caption(found), below(finding)


def asked_otherwise(table: PackTable) -> tuple[Otherwise, ...]:
    """Return the verdicts with a moved meter's readings set right or aside."""
    return verdicts_otherwise(context().ledger, table, context().answer(asked).meters)


def show_otherwise(_state: int | None):
    """Show what the verdicts would be without what a meter has moved."""
    return otherwise_part(context().answer(asked_otherwise), in_use(context().answer(asked)))


def in_use(finding: MetersFinding) -> str:
    """Return in a sentence which of the ways the charts and verdicts use."""
    done = [f"those of {one.decision.what.meter} {one.decision.what.treatment}" for one in finding.standing]
    if not done:
        return "Charts and verdicts use them as they were read."
    return f"Charts and verdicts use {listing(done)}, and every other reading as it was read."


def otherwise_part(told: Sequence[Otherwise], used: str = "") -> list[Component | None]:
    """Return the verdicts the three ways, those that would be another by themselves."""
    if not told:
        return []
    columns = (
        Column("Practice"), Column("Measure"), Column("As read"), Column("Set right"), Column("Set aside"),
    )  # fmt: skip
    differs = sum(one.differs for one in told)
    changed = "No verdict would be another" if not differs else f"{count(differs, 'verdict')} would be another"
    number = max(one.readings for one in told)
    return [
        html.H2("The verdicts without what a meter has moved"),
        html.P(
            f"{changed} with up to {count(number, 'reading')} of a measure set right by the checks, or set aside."
            f"{f' {used}' if used else ''}",
            className="measure",
        ),
        data_table("Verdicts that would be another", columns, _ways(told, differing=True)) if differs else None,
        html.Details(
            [
                html.Summary("All verdicts, the three ways"),
                data_table("Every verdict, the three ways", columns, _ways(told, differing=False)),
            ],
            className="more",
        ),
    ]


def _ways(told: Sequence[Otherwise], *, differing: bool) -> list[tuple[str, ...]]:
    return [
        (practice_label(one.practice), measure_of(one.measure).label, one.as_read, one.set_right, one.set_aside)
        for one in told
        if one.differs or not differing
    ]


def nothing_checked() -> Component:
    """Return what stands where no meter was checked."""
    return empty(
        "No meter check on record yet",
        ["Take your meter book in on the page ", dcc.Link("Intake", href="/"), ": meter, date, expected, observed."],
    )


def caption(found: Shown) -> list[str]:
    """Return what stands under the large chart."""
    course, told = found.checked.course, found.meter.sentence
    said = [f"{told} Limits are from the first checks. "]
    if course.since == course.since:
        earliest, latest = found.checked.moment(course.earliest), found.checked.moment(course.latest)
        if earliest is not None and latest is not None:
            when = days_between(earliest, latest) if earliest.date() != latest.date() else f"on {day(latest)}"
            said.append(f"It left its course {when} (95 % interval). ")
    return [*said, *found.meter.cautions]


def below(finding: MetersFinding) -> list[Component | None]:
    """Return every meter as a table, the repeated readings, the cautions and the way to take it away."""
    return [
        *([html.H2("All meters"), meter_table(finding)] if finding.meters else []),
        *[part for study in finding.studies for part in study_part(study)],
        *[html.P(words, className="caution") for words in finding.cautions],
        exports.links("meters", "all checks", Filters()) if finding.meters else None,
        exports.links("meter-states", "every meter's bias and state", Filters()) if finding.meters else None,
        exports.links("meter-repeats", "what repeated readings say", Filters()) if finding.studies else None,
    ]


def meter_table(finding: MetersFinding) -> Component:
    """Return a row a meter and kind of check."""
    columns = (
        Column("Meter"), Column("Quantity"), Column("Against"), Column("Checks", kind="figures"),
        Column("Reads off by", kind="figures"), Column("95 % interval", kind="figures"), Column("State"),
        Column("Since"),
    )  # fmt: skip
    rows = [_row(one) for one in sorted(shown_checks(finding), key=lambda one: (one.meter.meter, one.name))]
    return data_table("Every meter's bias and state", columns, rows)


def _row(one: Shown) -> Sequence[str | Component]:
    bias, low, high = one.checked.bias
    unit, course = one.checked.bias_unit, one.checked.course
    return (
        one.meter.meter, one.meter.measure.label, _against(one.checked), f"{one.checked.checks:,}",
        bias_in_words(bias, unit), interval_in_words(low, high, unit),
        html.Span(str(course.state), className=f"state state-{_LOOKS[course.state]}"), short_day(one.checked.since),
    )  # fmt: skip


def study_part(study: RepeatStudy) -> list[Component]:
    """Return what the repeated readings of a quantity say."""
    unit = study.measure.unit
    columns = (
        Column("Meter"),
        Column("Two readings of one beer differ by up to", unit, "figures"),
        Column("Sees the margin"),
        Column("Readings needed", kind="figures"),
    )
    rows = [(m.meter, amount(m.limit), "yes" if m.sees_margin else "no", f"{m.readings_needed}") for m in study.meters]
    return [
        html.H2(f"Repeated readings of {study.measure.label.lower()}"),
        html.P(study.answer, className="measure"),
        data_table(f"What each meter can see of {study.measure.label.lower()}", columns, rows),
        data_table(f"Repeatability and reproducibility of {study.measure.label.lower()}", _SPREADS, _spreads(study)),
        html.P(
            f"The margin is {amount(study.margin, unit)}. One pair of readings of one beer in twenty differs by more "
            "than that limit. The spread is a standard deviation, as a share of that of all single readings.",
            className="measure soft",
        ),
    ]


def _spreads(study: RepeatStudy) -> list[tuple[str, ...]]:
    """Return repeatability and reproducibility as limits, as shares of the spread and of the margin."""
    made, unit = study.study, study.measure.unit
    told = (
        ("On the same meter (repeatability)", made.repeatability),
        ("On any of the meters (reproducibility)", made.reproducibility),
    )
    return [
        (name, amount(study.limit(spread), unit), _share(spread / made.total if made.total else math.nan),
         _share(study.of_margin(spread)))
        for name, spread in told
    ]  # fmt: skip


def _share(share: float) -> str:
    return amount(100 * share, "%", digits=2)


def take_away(_filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return every check as a file."""
    finding = context().answer(asked)
    return _taken("Meter checks", finding, checks_frame(finding), form)


def checks_frame(finding: MetersFinding) -> pd.DataFrame:
    """Return a row a check day: what the meter was off by and what its state is now."""
    return pd.DataFrame(
        {
            "meter": one.meter.meter, "quantity": one.meter.measure.name, "against": _against(one.checked),
            "checked_at": at, "deviation": float(value), "unit": one.checked.bias_unit,
            "state_now": str(one.checked.course.state),
        }
        for one in shown_checks(finding)
        for at, value in zip(one.checked.days, drawing_of_checks(one.meter, one.checked).values, strict=True)
    )  # fmt: skip


def _against(checked: Checked) -> str:
    return "zero" if checked.against_zero else "a reference"


def take_states(_filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return every meter's bias and state as a file."""
    finding = context().answer(asked)
    return _taken("Bias and state of the meters", finding, states_frame(finding), form)


def states_frame(finding: MetersFinding) -> pd.DataFrame:
    """Return a row a meter and kind of check."""
    return pd.DataFrame(
        {
            "meter": one.meter.meter, "quantity": one.meter.measure.name, "against": _against(one.checked),
            "checks": one.checked.checks, "bias": one.checked.bias[0], "low": one.checked.bias[1],
            "high": one.checked.bias[2], "unit": one.checked.bias_unit, "state": str(one.checked.course.state),
            "since": one.checked.since,
        }
        for one in shown_checks(finding)
    )  # fmt: skip


def take_repeats(_filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return what repeated readings say of each meter as a file."""
    finding = context().answer(asked)
    return _taken("Repeated readings", finding, repeats_frame(finding), form)


def repeats_frame(finding: MetersFinding) -> pd.DataFrame:
    """Return a row a quantity and meter, with the limits of the whole study beside it."""
    return pd.DataFrame(
        {
            "quantity": study.measure.name, "unit": study.measure.unit, "margin": study.margin, "meter": one.meter,
            "limit": one.limit, "sees_margin": one.sees_margin, "readings_needed": one.readings_needed,
            "repeatability_limit": study.limit(study.study.repeatability),
            "reproducibility_limit": study.limit(study.study.reproducibility),
        }
        for study in finding.studies
        for one in study.meters
    )  # fmt: skip


def _taken(what: str, finding: MetersFinding, frame: pd.DataFrame, form: Form) -> bytes:
    if not len(frame):
        raise exports.NothingToTakeError
    note = ExportNote(what, finding.ledger_state, "all meters", {}, finding.cautions, datetime.now())
    return export_table(frame, note, form)


TAKE_AWAY: Mapping[str, exports.Maker] = {
    "meters": take_away,
    "meter-states": take_states,
    "meter-repeats": take_repeats,
}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__, path="/meters", name="Meters", title="Meters · Dropbright", order=9, icon="meters",
        group="questions", layout=layout,
    )  # fmt: skip
    app.callback(Output(CHECKS, "data"), Output(CHECKS, "value"), Input(LEDGER_STATE, "data"), State(CHECKS, "value"))(
        offer_checks
    )
    app.callback(
        Output(ANSWER, "children"),
        Output(NOTHING, "children"),
        Output(LARGE, "hidden"),
        Output(NAME, "children"),
        Output(GRAPH, "figure"),
        Output(CAPTION, "children"),
        Output(BELOW, "children"),
        Input(CHECKS, "value"),
        Input(SCHEME, "data"),
        running=[(Output(BUSY, "hidden"), False, True)],
    )(show)
    meter_decisions.register(app, asked)
    app.callback(Output(OTHERWISE, "children"), Input(LEDGER_STATE, "data"))(show_otherwise)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepMeasure"),
        Output(ANSWER, "title"),
        Input(CHECKS, "value"),
        prevent_initial_call=True,
    )
