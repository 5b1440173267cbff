"""Which packs are looked at: the selection that holds across pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from analysis.findings.filters import Filters
from analysis.linking import PackTable
from analysis.vocabulary import FORMATS
from dashboard.parts.addresses import filters_from_kept, filters_from_search, kept
from dashboard.parts.context import context
from dashboard.parts.ids import ADDRESS, FILTERS, LEDGER_STATE

__all__ = ["Choices", "bar", "choices", "offer_choices", "read_address", "register"]

BAR = "filter-bar"
RECIPES = "filter-recipes"
FORMAT = "filter-format"
SINCE = "filter-since"
UNTIL = "filter-until"
TANK = "filter-tank"
CLEAR = "filter-clear"
MORE = "filter-more"
WORDS = "filter-words"

_FORMAT_LABELS = {"can": "Cans", "bottle": "Bottles", "keg": "Kegs", "cask": "Casks"}


@dataclass(frozen=True)
class Choices:
    """What can be selected, from the pack table."""

    recipes: tuple[str, ...]
    formats: tuple[str, ...]
    tanks: tuple[str, ...]


def choices(table: PackTable) -> Choices:
    """Return what occurs in a pack table, in order."""
    present = {name: _present(table, name) for name in ("recipe", "format", "tank")}
    return Choices(present["recipe"], tuple(f for f in FORMATS if f in present["format"]), present["tank"])


def _present(table: PackTable, column: str) -> tuple[str, ...]:
    return tuple(sorted({str(value) for value in table.rows[column].dropna().unique() if str(value)}))


def bar() -> Component:
    """Return the bar with the selection's controls; they are filled from the address and the ledger."""
    return html.Section(
        id=BAR,
        className="filters",
        hidden=True,
        **{"aria-label": "Selection of packs"},
        children=[
            dcc.Store(id=FILTERS),
            dmc.MultiSelect(
                id=RECIPES,
                label="Recipes",
                placeholder="All recipes",
                data=[],
                searchable=True,
                clearable=True,
                hidePickedOptions=True,
                nothingFoundMessage="No such recipe on record",
                clearButtonProps={"aria-label": "Select all recipes again"},
                className="filters-recipes",
            ),
            html.Details(
                id=MORE,
                className="filters-more",
                children=[
                    html.Summary("Format, dates and tank"),
                    html.Div(className="filters-further", children=_further()),
                ],
            ),
            html.P(id=WORDS, className="filters-words", role="status"),
        ],
    )


def _further() -> list[Component]:
    return [
        dmc.Select(
            id=FORMAT,
            label="Format",
            placeholder="All formats",
            data=[],
            clearable=True,
            clearButtonProps={"aria-label": "Select all formats again"},
        ),
        dmc.TextInput(id=SINCE, label="Packed since", inputProps={"type": "date"}, debounce=600),
        dmc.TextInput(id=UNTIL, label="Packed until", inputProps={"type": "date"}, debounce=600),
        dmc.Select(
            id=TANK,
            label="Tank",
            placeholder="All tanks",
            data=[],
            clearable=True,
            searchable=True,
            clearButtonProps={"aria-label": "Select all tanks again"},
        ),
        dmc.Button("Select everything", id=CLEAR, variant="subtle", className="filters-clear"),
    ]


def read_address(search: str | None) -> tuple[list[str], str | None, str, str, str | None, bool]:
    """Return the controls' values for an address, and whether the further ones stand open."""
    filters = filters_from_search(search)
    data = kept(filters)
    further = any(data[name] for name in ("format", "since", "until", "tank"))
    return data["recipes"], data["format"], data["since"] or "", data["until"] or "", data["tank"], further


def offer_choices(
    _state: int | None, recipes: list[str] | None, tank: str | None
) -> tuple[list[str], list[dict[str, str]], list[str]]:
    """Return what the controls offer: what is on record, and what the address asks for besides."""
    found = choices(context().packs())
    formats = [{"value": name, "label": _FORMAT_LABELS[name]} for name in found.formats or FORMATS]
    return _with(found.recipes, recipes or []), formats, _with(found.tanks, [tank] if tank else [])


def _with(found: tuple[str, ...], asked: list[str]) -> list[str]:
    return sorted({*found, *(a for a in asked if isinstance(a, str))})


def say(data: dict[str, Any] | None) -> str:
    """Return the selection in words."""
    filters = filters_from_kept(data)
    return "" if filters == Filters() else f"Looking at {filters.in_words()}."


def register(app: Dash) -> None:
    """Wire the bar: address to controls, controls to what is kept and back to the address."""
    app.callback(
        Output(RECIPES, "value"),
        Output(FORMAT, "value"),
        Output(SINCE, "value"),
        Output(UNTIL, "value"),
        Output(TANK, "value"),
        Output(MORE, "open"),
        Input(ADDRESS, "search"),
    )(read_address)
    app.callback(
        Output(RECIPES, "data"),
        Output(FORMAT, "data"),
        Output(TANK, "data"),
        Input(LEDGER_STATE, "data"),
        Input(RECIPES, "value"),
        Input(TANK, "value"),
    )(offer_choices)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepFilters"),
        Output(FILTERS, "data"),
        Input(RECIPES, "value"),
        Input(FORMAT, "value"),
        Input(SINCE, "value"),
        Input(UNTIL, "value"),
        Input(TANK, "value"),
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "clearFilters"),
        Output(RECIPES, "value", allow_duplicate=True),
        Output(FORMAT, "value", allow_duplicate=True),
        Output(SINCE, "value", allow_duplicate=True),
        Output(UNTIL, "value", allow_duplicate=True),
        Output(TANK, "value", allow_duplicate=True),
        Input(CLEAR, "n_clicks"),
        prevent_initial_call=True,
    )
    app.callback(Output(WORDS, "children"), Input(FILTERS, "data"))(say)
