"""What have we on record, and how do our spreadsheets get there?"""

from __future__ import annotations

import dash
from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.development.base_component import Component

__all__ = ["layout", "register"]

DROP = "intake-drop"
WAITING = "waiting"
READY = "intake-ready"


def layout(**_address: object) -> Component:
    return html.Div(
        className="page",
        children=[
            html.H1("Intake", tabIndex=-1),
            html.P("Drop the spreadsheets as you keep them.", className="answer"),
            html.Div(id=DROP, className="upload"),
            dcc.Store(id=WAITING),
            html.Div(id=READY, hidden=True),
        ],
    )


def register(app: Dash) -> None:
    dash.register_page(
        __name__,
        path="/",
        name="Intake",
        title="Intake · Dropbright",
        order=1,
        icon="intake",
        group="records",
        layout=layout,
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "prepareUpload"), Output(READY, "children"), Input(DROP, "id")
    )
