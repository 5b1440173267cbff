"""What does physics say of the gas and the oxygen that I have here?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import dash
import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.beer_factor import HIGHEST, LOWEST, BeerFactor, beer_factor, give_up_factor, set_factor
from analysis.findings.cautions import ALWAYS
from analysis.findings.figure_entries import Field
from analysis.findings.gas_figure import Figure, GasFigure
from analysis.findings.gas_figures import FIGURES, work_out
from analysis.ledger import LedgerError
from dashboard.parts.context import context
from dashboard.parts.ids import LEDGER_STATE
from dashboard.parts.ledger_state import announce

__all__ = ["View", "layout", "register", "show", "view"]

CHOSEN = "figure-chosen"
ENTRY = "figure-entry"
RESULT = "figure-result"
BESIDE = "figure-beside"
ADDRESS_KEPT = "figure-address-kept"
BELOW = "figure-below"
FACTOR_WORDS = "factor-words"
FACTOR_VALUE = "factor-value"
FACTOR_BECAUSE = "factor-because"
FACTOR_WHO = "factor-who"
FACTOR_SET = "factor-set"
FACTOR_BACK = "factor-back"
FACTOR_SAID = "factor-said"
EMPTY = "-"
_LONGEST, _LONGEST_WORDS = 80, 300
_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Purging and air", ("purge", "sweep", "trapped")),
    ("In the pack", ("shaken", "parts", "ingress", "closing")),
    ("Gas and beer", ("headspace", "solubility")),
)


@dataclass(frozen=True)
class View:
    """What the page shows for what was typed: the answer, what is wrong by field, and what stands beside the answer."""

    answer: str
    errors: tuple[str, ...]
    beside: tuple[Component, ...]
    below: tuple[Component, ...]


def layout(figure: str = "", **address: object) -> Component:
    """Return the page; the address names the figure and what was typed in it."""
    chosen = next((one for one in FIGURES if one.name == figure), FIGURES[0])
    typed = {field.name: _typed(field, address.get(field.name)) for field in chosen.fields}
    return html.Div(
        className="page",
        children=[
            html.H1("Gas and oxygen figures", tabIndex=-1),
            dcc.Store(id=CHOSEN, data=chosen.name),
            html.Div(id=ADDRESS_KEPT, hidden=True),
            _figure_list(chosen),
            html.H2(chosen.title),
            html.P(chosen.question, className="measure figure-question"),
            html.Div(
                className="figure-desk",
                children=[
                    html.Section(
                        html.Div([_entry(field, typed[field.name]) for field in chosen.fields],
                                 className="figure-entries"),
                        **{"aria-label": "What you have"},
                    ),
                    html.Section(
                        [html.P(id=RESULT, className="answer", role="status"), html.Div(id=BESIDE)],
                        className="figure-result", **{"aria-label": "What follows"},
                    ),
                ],
            ),
            html.Div(id=BELOW, className="under"),
            _factor_part(),
        ],
    )  # fmt: skip


def _factor_part() -> Component:
    """Return the setting of the beer factor, shut until somebody wants it."""
    own = {"persistence": True, "persistence_type": "local", "autoComplete": "name"}
    return html.Section(
        [
            html.H2("The beer factor"),
            html.P(id=FACTOR_WORDS, className="measure"),
            html.Details(
                [
                    html.Summary("Set it, or take the last setting back"),
                    html.P(
                        "How much oxygen your beer dissolves for each part that water does at the same partial "
                        "pressure, a little below 1. It holds for all pages: totals that are worked out from a shaken "
                        "pack follow it.",
                        className="measure",
                    ),
                    html.Div(
                        [
                            dmc.TextInput(id=FACTOR_VALUE, label="Factor", placeholder="such as 0.95"),
                            dmc.TextInput(id=FACTOR_BECAUSE, label="Why", className="factor-because"),
                            dmc.TextInput(id=FACTOR_WHO, label="Your name", **own),
                            dmc.Button("Set the factor", id=FACTOR_SET),
                            dmc.Button("Take the last one back", id=FACTOR_BACK, variant="default"),
                        ],
                        className="factor-form",
                    ),
                    html.P(id=FACTOR_SAID, role="status"),
                ],
                className="more",
            ),
        ],
        className="factor",
    )


def _typed(field: Field, asked: object) -> str:
    """Return what stands in a field: what the address says, or what usually stands there."""
    if not isinstance(asked, str) or not asked:
        return field.usual
    return "" if asked == EMPTY else asked[:_LONGEST]


def _figure_list(chosen: Figure) -> Component:
    titles = {figure.name: figure.title for figure in FIGURES}
    return html.Nav(
        [
            html.Div(
                [
                    html.P(group, className="figure-group"),
                    html.Ul([html.Li(_link(name, titles[name], name == chosen.name)) for name in names],
                            className="figure-list"),
                ],
            )
            for group, names in _GROUPS
        ],
        className="figure-groups", **{"aria-label": "Figures"},
    )  # fmt: skip


def _link(name: str, title: str, here: bool) -> Component:
    if here:
        return html.Span(title, **{"aria-current": "page"})
    return dcc.Link(title, href=f"/figures?figure={name}")


def _entry(field: Field, value: str) -> Component:
    name = {"type": ENTRY, "name": field.name}
    if field.quantity == "choice":
        return dmc.Select(
            id=name, label=field.label, description=field.hint or None, data=list(field.choices), value=value,
            allowDeselect=False,
        )  # fmt: skip
    return dmc.TextInput(
        id=name, label=field.label, description=field.hint or None, value=value, debounce=400,
        placeholder=f"such as {field.usual}" if field.usual else None,
    )  # fmt: skip


def view(figure: str, typed: Mapping[str, str], factor: BeerFactor) -> View:
    """Return what the page shows for what was typed."""
    told = work_out(figure, typed, factor)
    said = {fault.field: fault.message for fault in told.faults}
    return View(
        answer=told.answer,
        errors=tuple(said.get(field.name, "") for field in told.figure.fields),
        beside=tuple(_beside(told)),
        below=tuple(_below(told)),
    )


def _beside(told: GasFigure) -> list[Component]:
    """Return the further figures of an answer and what it rests on."""
    lines = told.worked.lines if told.worked is not None else ()
    pairs = [part for line in lines for part in (html.Dt(line.label), html.Dd(line.value))]
    return [*([html.Dl(pairs)] if pairs else []), html.P(told.figure.rests_on, className="soft figure-source")]


def _below(told: GasFigure) -> list[Component]:
    """Return what to know beside the answer: what it takes for granted, and the dangers."""
    dangers = {*(caution.sentence for caution in told.figure.cautions), ALWAYS}
    notes = [words for words in told.cautions if words not in dangers]
    safety = [words for words in told.cautions if words in dangers]
    return [
        *([html.H2("What it takes for granted")] if notes else []),
        *[html.P(words, className="caution") for words in notes],
        *(
            [html.Div([html.P(words, className="measure soft") for words in safety], className="safety")]
            if safety
            else []
        ),
    ]


def show(values: Sequence[object], _state: int | None, ids: Sequence[Mapping[str, str]], figure: str):
    """Answer what stands in the fields."""
    typed = {one["name"]: value if isinstance(value, str) else "" for one, value in zip(ids, values, strict=True)}
    shown = view(figure, typed, beer_factor(context().ledger))
    return shown.answer, list(shown.beside), list(shown.below), [error or None for error in shown.errors]


def say_factor(_state: int | None) -> str:
    """Say which factor stands, and whose it is."""
    return beer_factor(context().ledger).sentence


def change_factor(_set: int | None, _back: int | None, value: object, because: object, who: object):
    """Set the factor or take the last one back, in the name of the person who says so and for the reason given."""
    if dash.ctx.triggered_id not in (FACTOR_SET, FACTOR_BACK):
        raise PreventUpdate
    said = [word.strip()[:_LONGEST_WORDS] if isinstance(word, str) else "" for word in (because, who)]
    setting = dash.ctx.triggered_id == FACTOR_SET
    number = _factor_typed(value) if setting else None
    fault = _fault(number, *said, setting=setting)
    if fault:
        return html.P(fault, className="caution")
    ledger = context().ledger
    try:
        factor = give_up_factor(ledger, *said) if number is None else set_factor(ledger, number, *said)
    except LedgerError as error:
        return html.P(f"Nothing was changed. {error}", className="caution")
    announce(ledger.state)
    return f"Done. {factor.sentence}"


def _factor_typed(value: object) -> float | None:
    try:
        return float(str(value).strip().replace(",", "."))
    except ValueError:
        return None


def _fault(number: float | None, because: str, who: str, *, setting: bool) -> str:
    """Return what keeps a change from being made, "" where nothing does."""
    if setting and (number is None or not LOWEST <= number <= HIGHEST):
        return f"Write the factor as a number between {LOWEST} and {HIGHEST}, such as 0.95."
    if not setting and beer_factor(context().ledger).is_default:
        return "There is nothing to take back: the default stands."
    if not because:
        return "Say why: the reason is kept with the setting."
    return "" if who else "Say your name: it is kept with the setting."


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__, path="/figures", name="Figures", title="Gas and oxygen figures · Dropbright", order=6.5,
        icon="figures", group="questions", layout=layout,
    )  # fmt: skip
    entries = {"type": ENTRY, "name": ALL}
    app.callback(
        Output(RESULT, "children"),
        Output(BESIDE, "children"),
        Output(BELOW, "children"),
        Output(entries, "error"),
        Input(entries, "value"),
        Input(LEDGER_STATE, "data"),
        State(entries, "id"),
        State(CHOSEN, "data"),
    )(show)
    app.callback(Output(FACTOR_WORDS, "children"), Input(LEDGER_STATE, "data"))(say_factor)
    app.callback(
        Output(FACTOR_SAID, "children"),
        Input(FACTOR_SET, "n_clicks"),
        Input(FACTOR_BACK, "n_clicks"),
        State(FACTOR_VALUE, "value"),
        State(FACTOR_BECAUSE, "value"),
        State(FACTOR_WHO, "value"),
        prevent_initial_call=True,
    )(change_factor)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepFigure"),
        Output(ADDRESS_KEPT, "children"),
        Input(entries, "value"),
        State(entries, "id"),
        State(CHOSEN, "data"),
        prevent_initial_call=True,
    )
