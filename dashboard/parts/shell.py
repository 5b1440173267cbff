"""What surrounds every page?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard.parts import filters
from dashboard.parts.context import context
from dashboard.parts.faults import fault_place
from dashboard.parts.ids import ADDRESS, BUSY, FILTERS, LEDGER_STATE, SCHEME
from dashboard.theme import MANTINE_THEME

__all__ = ["NavigationEntry", "entries", "icon", "layout", "register"]

MENU_BUTTON = "menu-button"
RAIL = "rail"
STATE_WORDS = "ledger-state-words"

_GROUPS = (("records", "Records"), ("questions", "Questions"))


@dataclass(frozen=True)
class NavigationEntry:
    """A page as the navigation names it; ``group`` is the part of the rail it stands in."""

    path: str
    name: str
    icon: str
    group: str

    @property
    def link_id(self) -> str:
        """The id of its link."""
        return f"link-{self.icon}"


def entries(registry: Mapping[str, Mapping[str, Any]] = dash.page_registry) -> tuple[NavigationEntry, ...]:
    """Return the pages that have a place in the navigation, in order."""
    return tuple(
        NavigationEntry(page["path"], page["name"], page["icon"], page["group"])
        for page in registry.values()
        if page.get("icon")
    )


def icon(name: str) -> Component:
    """Return one of our own icons, drawn in the colour of the text it stands in."""
    return html.Span(className=f"icon icon-{name}", **{"aria-hidden": "true"})


def layout() -> Component:
    """Return the shell: the rail, the bar of selection, the place of faults, and the place of the page."""
    here = context()
    return dmc.MantineProvider(
        id="mantine",
        theme=dict(MANTINE_THEME),
        defaultColorScheme="auto",
        children=html.Div(
            className="shell",
            children=[
                dcc.Store(id=SCHEME),
                dcc.Store(id=LEDGER_STATE, data=here.ledger.state),
                html.Div(id="arrival", hidden=True),
                _rail(entries()),
                html.Div(
                    className="stage",
                    children=[
                        *([_invented()] if here.settings.demo else []),
                        filters.bar(),
                        html.Main(id="main", children=[fault_place(), _busy(), dash.page_container]),
                    ],
                ),
            ],
        ),
    )


def _rail(pages: Sequence[NavigationEntry]) -> Component:
    return html.Header(
        id=RAIL,
        className="rail",
        children=[
            html.Div(
                className="rail-top",
                children=[
                    html.A(
                        [html.Span(className="mark", **{"aria-hidden": "true"}), "Dropbright"],
                        href="/",
                        className="brand",
                    ),
                    html.Button(
                        [icon("menu"), html.Span("Pages")],
                        id=MENU_BUTTON,
                        className="rail-menu",
                        type="button",
                        **{"aria-expanded": "false", "aria-controls": "navigation"},
                    ),
                ],
            ),
            html.Nav(
                id="navigation",
                **{"aria-label": "Pages"},
                children=[
                    html.Div(
                        className="rail-group", children=[html.P(title, className="rail-title"), _links(pages, name)]
                    )
                    for name, title in _GROUPS
                    if any(page.group == name for page in pages)
                ],
            ),
            html.Div(
                className="rail-foot",
                children=[
                    dmc.ColorSchemeToggle(
                        lightIcon=icon("sun"),
                        darkIcon=icon("moon"),
                        variant="subtle",
                        size="lg",
                        color="gray",
                        **{"aria-label": "Change between light and dark"},
                    ),
                    html.P(id=STATE_WORDS, className="rail-state"),
                ],
            ),
        ],
    )


def _links(pages: Sequence[NavigationEntry], group: str) -> Component:
    return html.Ul(
        [
            html.Li(
                dcc.Link(
                    [icon(page.icon), html.Span(page.name)], href=page.path, id=page.link_id, className="rail-link"
                )
            )
            for page in pages
            if page.group == group
        ]
    )


def _busy() -> Component:
    return html.P("Working it out…", id=BUSY, className="busy", role="status", hidden=True)


def _invented() -> Component:
    said = [html.Strong("Invented data."), " Marram Lock Brewery does not exist; nothing here was measured."]
    return html.Section(html.P(said, role="note"), className="invented", **{"aria-label": "About this data"})


def say_state(state: int | None) -> str:
    """Return the ledger's state in words."""
    return f"Ledger state {state:,}" if state else "Nothing on record yet"


def register(app: Dash) -> None:
    """Wire the shell: links keep the selection, focus follows navigation, the menu opens on a narrow screen."""
    app.callback(Output(STATE_WORDS, "children"), Input(LEDGER_STATE, "data"))(say_state)
    for page in entries():
        app.clientside_callback(
            ClientsideFunction("dropbright", "keepInLink"),
            Output(page.link_id, "href"),
            Input(FILTERS, "data"),
            State(page.link_id, "href"),
        )
    app.clientside_callback(
        ClientsideFunction("dropbright", "arrive"),
        Output("arrival", "children"),
        Input("_pages_store", "data"),
        State(ADDRESS, "pathname"),
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "openMenu"),
        Output(RAIL, "className"),
        Output(MENU_BUTTON, "aria-expanded"),
        Input(MENU_BUTTON, "n_clicks"),
        Input(ADDRESS, "pathname"),
        State(RAIL, "className"),
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "watchScheme"), Output(SCHEME, "data"), Input(ADDRESS, "pathname")
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "showFilters"),
        Output(filters.BAR, "hidden"),
        Input(ADDRESS, "pathname"),
        Input(ADDRESS, "search"),
    )
