"""What would a page tell with every reading as it was read, where some are set right or set aside?"""

from __future__ import annotations

from collections.abc import Callable

from dash import Dash, Input, Output, html
from dash.development.base_component import Component

from analysis.findings.as_read import charts_as_read, forecast_as_read, rises_as_read, verdicts_as_read
from analysis.findings.as_read_result import AsRead
from analysis.findings.baselines import FrozenPhase, frozen_phases
from analysis.findings.filters import Filters
from analysis.linking import PackTable
from dashboard.parts.addresses import filters_from_kept
from dashboard.parts.chart_choices import asked_of
from dashboard.parts.context import context
from dashboard.parts.ids import FILTERS, LEDGER_STATE
from dashboard.parts.tables import Column, data_table

__all__ = ["place", "register", "show_charts", "show_forecast", "show_rises", "show_verdicts", "view"]

_FIRST = {"verdict": "Practice", "chart": "Chart", "rise": "Step", "forecast": "Tank"}


def place(page: str) -> Component:
    """Return the place of the comparison on a page."""
    return html.Div(id=f"{page}-as-read")


def view(found: AsRead | None) -> Component | None:
    """Return the comparison, opening to what differs; None where every reading is used as it was read."""
    if found is None:
        return None
    differing = [line for line in found.lines if line.differs]
    columns = (
        Column(_FIRST[found.what]), Column("With the readings as they are used", kind="prose"),
        Column("With every reading as it was read", kind="prose"),
    )  # fmt: skip
    rows = [(line.name, line.in_use, line.as_read) for line in differing or found.lines]
    return html.Details(
        [
            html.Summary(found.answer),
            *[html.P(remark, className="measure soft") for remark in found.remarks],
            data_table(f"Each {found.what} both ways", columns, rows),
        ],
        className="more as-read",
    )


def show_verdicts(kept: object, measure: object, _state: int | None) -> Component | None:
    """Show the verdicts on a measure both ways."""
    if not isinstance(measure, str) or not measure:
        return None
    return view(context().answer_of_table(verdicts_as_read, measure, filters_from_kept(kept)))


def show_charts(kept: object, measure: object, stage: object, rules: object, _state: int | None) -> Component | None:
    """Show the signals and moves of a measure's charts both ways."""
    asked = asked_of(measure, stage, None, rules=rules)
    if asked is None:
        return None
    phases = frozen_phases(context().ledger)
    return view(
        context().answer_of_table(_charts, asked.measure, asked.stage, filters_from_kept(kept), asked.rules, phases)
    )


def show_rises(kept: object, _state: int | None) -> Component | None:
    """Show oxygen's rises both ways."""
    return view(context().answer_of_table(rises_as_read, filters_from_kept(kept)))


def show_forecast(_kept: object, batch: object, _state: int | None) -> Component | None:
    """Show a tank's forecast both ways."""
    if not isinstance(batch, str) or not batch:
        return None
    return view(context().answer_of_table(forecast_as_read, batch))


def _charts(
    table: PackTable,
    measure: str,
    stage: str,
    filters: Filters,
    rules: tuple[str, ...],
    phases: tuple[FrozenPhase, ...],
) -> AsRead | None:
    return charts_as_read(table, measure, stage, filters, rules, phases)


def register(app: Dash, page: str, show: Callable[..., Component | None], *asked: str) -> None:
    """Fill the place of a page whenever the selection, what is asked of the page or the ledger changes.

    Parameters
    ----------
    app : Dash
    page : str
        As for ``place``.
    show : callable
        One of the functions above that fits the page.
    *asked : str
        The ids of what is chosen on the page, in the order in which ``show`` takes their values.
    """
    inputs = [Input(FILTERS, "data"), *(Input(one, "value") for one in asked), Input(LEDGER_STATE, "data")]
    app.callback(Output(f"{page}-as-read", "children"), *inputs)(show)
