"""What was seen and decided in one review that was closed?"""

from __future__ import annotations

import dash
from dash import ClientsideFunction, Dash, Input, Output, html
from dash.development.base_component import Component

from analysis.findings.review_closings import SUBJECT, closed_reviews
from dashboard.parts.context import context
from dashboard.parts.review_record import PRINT, no_record, record

__all__ = ["layout", "register"]

PLACE = "review-record"


def layout(number: str = "", **_address: object) -> Component:
    """Return the record of the review of that number."""
    found = next((one for one in closed_reviews(context().ledger.journal(SUBJECT)) if str(one.number) == number), None)
    parts = no_record(number) if found is None else record(found)
    return html.Div(parts, id=PLACE, className="page record")


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__,
        path_template="/review/<number>",
        name="Record of a review",
        title="Record of a review · Dropbright",
        layout=layout,
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "printPage"),
        Output(PLACE, "title"),
        Input(PRINT, "n_clicks"),
        prevent_initial_call=True,
    )
