"""What is said where there is no page?"""

from __future__ import annotations

import dash
from dash import Dash, dcc, html
from dash.development.base_component import Component

__all__ = ["layout", "register"]


def register(_app: Dash) -> None:
    """Register the page; it is found by its module's name."""
    dash.register_page(
        __name__, path="/not-found", name="No such page", title="No such page · Dropbright", layout=layout
    )


def layout(**_address: object) -> Component:
    """Return the page."""
    return html.Div(
        [
            html.H1("There is no page here", tabIndex=-1),
            html.P(
                "The address may be old, or a letter in it wrong. Nothing is lost: everything on record is still there."
            ),
            html.P(dcc.Link("Go to Intake", href="/")),
        ],
        className="page",
    )
