"""What does physics say of the gas and the oxygen that I have here?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import dash
import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from analysis.findings.beer_factor import BeerFactor
from analysis.findings.cautions import ALWAYS
from analysis.findings.figure_entries import Field
from analysis.findings.gas_figure import Figure, GasFigure
from analysis.findings.gas_figures import FIGURES, work_out
from dashboard.parts.ids import LEDGER_STATE

__all__ = ["View", "layout", "register", "show", "view"]

CHOSEN = "figure-chosen"
ENTRY = "figure-entry"
RESULT = "figure-result"
BESIDE = "figure-beside"
ADDRESS_KEPT = "figure-address-kept"
EMPTY = "-"
_LONGEST = 80
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
            html.Div(id="figure-below", className="under"),
        ],
    )  # fmt: skip


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
    shown = view(figure, typed, BeerFactor())
    return shown.answer, list(shown.beside), list(shown.below), [error or None for error in shown.errors]


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
        Output("figure-below", "children"),
        Output(entries, "error"),
        Input(entries, "value"),
        Input(LEDGER_STATE, "data"),
        State(entries, "id"),
        State(CHOSEN, "data"),
    )(show)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepFigure"),
        Output(ADDRESS_KEPT, "children"),
        Input(entries, "value"),
        State(entries, "id"),
        State(CHOSEN, "data"),
        prevent_initial_call=True,
    )
