"""What is the smallest difference that matters, and who may say so? Anybody, with a name and a reason."""

from __future__ import annotations

from collections.abc import Sequence

import dash_mantine_components as dmc
import pandas as pd
from dash import ALL, Dash, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.margins import DecidedMargin, decide_margin, decided_margins, margins_on_record, units_for
from analysis.findings.wording import day, figure
from analysis.ledger import LedgerError
from analysis.linking import PackTable
from analysis.verdicts import Margin
from analysis.vocabulary import FORMATS
from analysis.vocabulary import measure as measure_of
from dashboard.parts.context import context
from dashboard.parts.ids import LEDGER_STATE
from dashboard.parts.ledger_state import announce
from dashboard.parts.tables import Column, data_table

__all__ = ["offer", "place", "register", "set_margin", "take_back"]

VALUE, UNIT, RECIPE, FORMAT = "margin-value", "margin-unit", "margin-recipe", "margin-format"
BECAUSE, WHO, SET, FAULT, LIST = "margin-because", "margin-who", "margin-set", "margin-fault", "margin-list"
ANY_BACK = {"type": "margin-back", "entry": ALL}
_EVERY = "every"
_EVERY_FORMAT = "every format"
_LONGEST = 500


def place() -> Component:
    """Return the part of the page where margins are set; it is filled for the measure that is looked at."""
    return html.Details(
        className="more margins",
        children=[
            html.Summary("Set the smallest difference that matters"),
            html.P(
                "A smaller effect than this is called no practical difference. Set it before you look at the verdicts: "
                "chosen afterwards it proves nothing.",
                className="measure",
            ),
            html.Div(className="margin-form", children=_controls()),
            html.Div(id=FAULT, role="alert"),
            html.Div(id=LIST),
        ],
    )


def _controls() -> list[Component]:
    named = {"persistence": "conflict-who", "persistence_type": "local", "autoComplete": "name"}
    return [
        dmc.NumberInput(id=VALUE, label="Smallest difference", min=0, allowNegative=False),
        dmc.Select(id=UNIT, label="In", data=[], allowDeselect=False),
        dmc.Select(id=RECIPE, label="For recipe", data=[], value=_EVERY, allowDeselect=False, searchable=True),
        dmc.Select(id=FORMAT, label="In format", data=_formats(), value=_EVERY, allowDeselect=False),
        dmc.TextInput(id=BECAUSE, label="Why"),
        dmc.TextInput(id=WHO, label="Your name", **named),
        dmc.Button("Set margin", id=SET, variant="default"),
    ]


def _formats() -> list[dict[str, str]]:
    return [{"value": _EVERY, "label": _EVERY_FORMAT}, *({"value": f, "label": f} for f in FORMATS)]


def offer(measure: object, _state: int | None):
    """Offer the units and recipes for a measure, and list the margins that are set for it."""
    if not isinstance(measure, str) or not measure:
        raise PreventUpdate
    table = context().packs()
    units = [{"value": unit, "label": _unit_words(unit)} for unit in units_for(measure)]
    recipes = sorted({str(recipe) for recipe in table.rows["recipe"].dropna().unique()})
    offered = [{"value": _EVERY, "label": "every recipe"}, *({"value": r, "label": r} for r in recipes)]
    return units, units[0]["value"], offered, margin_list(measure, table, decided_margins(context().ledger))


def _unit_words(unit: str) -> str:
    return "% of the recipe’s level" if unit == "%" else unit or "units"


def margin_list(measure: str, table: PackTable, decided: Sequence[DecidedMargin]) -> Component:
    """Return the margins that count for a measure, and those that were set here, which can be taken back."""
    own = [one for one in decided if one.measure == measure]
    rows = _counting(table.targets, measure)
    columns = (Column("Recipe"), Column("Format"), Column("Margin", kind="figures"), Column("Set by"), Column("On"))
    label = measure_of(measure).label
    return html.Div(
        [
            data_table(f"Margins on record for {label}", columns, rows)
            if rows
            else html.P(f"None is on record for {label}: a working default is used.", className="soft"),
            html.P("One for a single format counts where that format alone is compared.", className="soft")
            if any(row[1] != _EVERY_FORMAT for row in rows)
            else None,
            html.Ul([html.Li(_line(one)) for one in own], className="margins-set") if own else None,
        ]
    )


def _counting(targets: pd.DataFrame, measure: str) -> list[tuple[str, ...]]:
    """Return a row for each recipe and format that has a margin: the latest."""
    if not len(targets):
        return []
    seen = targets.loc[targets["quantity"] == measure, "format"].dropna().unique()
    found: dict[tuple[str, str], Margin] = {}
    for form in (None, *(str(form) for form in seen if form)):
        own = targets[targets["format"].isna() | (targets["format"] == "")] if form is None else targets
        own = own if form is None else own[own["format"] == form]
        for margin in margins_on_record(own, measure, form):
            found[margin.recipe or "every recipe", form or _EVERY_FORMAT] = margin
    return [
        (recipe, form, figure(m.value, m.unit), m.set_by, "" if m.set_at is None else day(m.set_at))
        for (recipe, form), m in sorted(found.items())
    ]


def _line(one: DecidedMargin) -> list[Component | str]:
    meant = f"{one.recipe or 'every recipe'}, {one.format or _EVERY_FORMAT}"
    return [
        f"{figure(one.value, one.unit)} for {meant}: {one.because.rstrip('.')} ({one.by}, {day(one.at)}). ",
        dmc.Button(
            "Take back",
            id={"type": "margin-back", "entry": one.number},
            variant="subtle",
            size="compact-sm",
            n_clicks=0,
        ),
    ]


def set_margin(clicks: int | None, measure: object, *said: object):
    """Set a margin, for the reason given, in the name of the person who says so."""
    value, unit, recipe, form, because, who = said
    if not clicks or not isinstance(measure, str):
        raise PreventUpdate
    fault = _missing(because, who) or ("" if _number(value) else "Say how large the smallest difference is, above 0.")
    if fault:
        return _caution(fault), value
    about = {"recipe": _chosen(recipe), "format": _chosen(form)}
    ledger = context().ledger
    try:
        decide_margin(ledger, measure, float(str(value)), str(unit or ""), _short(because), _short(who), **about)
    except (LedgerError, ValueError) as error:
        return _caution(f"It was not set. {_plain(error)}"), value
    announce(ledger.state)
    return html.P("It is set, and the verdicts are judged by it.", className="soft"), None


def take_back(clicks: Sequence[int | None], because: object, who: object):
    """Take a margin back, for the reason given; the one before it counts again."""
    if not any(clicks) or not isinstance(ctx.triggered_id, dict):
        raise PreventUpdate
    fault = _missing(because, who)
    if fault:
        return _caution(fault)
    ledger = context().ledger
    if ctx.triggered_id["entry"] not in {one.number for one in decided_margins(ledger)}:
        return _caution("It was taken back meanwhile.")
    try:
        ledger.take_back(ctx.triggered_id["entry"], _short(because), _short(who))
    except (LedgerError, ValueError) as error:
        return _caution(f"It was not taken back. {error}")
    announce(ledger.state)
    return html.P("It is taken back.", className="soft")


def _missing(because: object, who: object) -> str:
    if not isinstance(because, str) or not because.strip():
        return "Say why: the reason is kept."
    if not isinstance(who, str) or not who.strip():
        return "Say your name: it is kept with the reason."
    return ""


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value > 0


def _chosen(value: object) -> str | None:
    return str(value)[:_LONGEST] if value and value != _EVERY else None


def _short(said: object) -> str:
    return str(said).strip()[:_LONGEST]


def _plain(error: Exception) -> str:
    text = str(error)
    return "A percentage has to be below 100." if "percentage" in text else text.partition(": ")[2] or text


def _caution(text: str) -> Component:
    return html.P(text, className="caution")


def register(app: Dash, measure: str) -> None:
    """Wire the margins; ``measure`` is the id of the page's measure."""
    app.callback(
        Output(UNIT, "data"),
        Output(UNIT, "value"),
        Output(RECIPE, "data"),
        Output(LIST, "children"),
        Input(measure, "value"),
        Input(LEDGER_STATE, "data"),
    )(offer)
    app.callback(
        Output(FAULT, "children"),
        Output(VALUE, "value"),
        Input(SET, "n_clicks"),
        State(measure, "value"),
        *(State(one, "value") for one in (VALUE, UNIT, RECIPE, FORMAT, BECAUSE, WHO)),
        prevent_initial_call=True,
    )(set_margin)
    app.callback(
        Output(FAULT, "children", allow_duplicate=True),
        Input(ANY_BACK, "n_clicks"),
        State(BECAUSE, "value"),
        State(WHO, "value"),
        prevent_initial_call=True,
    )(take_back)
