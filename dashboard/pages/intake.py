"""What have we on record, and how do our spreadsheets get there?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.ledger import LedgerError
from dashboard.parts import conflicts, exports, intake_history
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY
from dashboard.parts.ledger_state import announce
from dashboard.parts.taken import taken_parts
from dashboard.parts.waiting import GONE, answers_so_far, look, read, token_of

__all__ = ["TAKE_AWAY", "layout", "look_closer", "put_aside", "read_files", "register", "take_them_in"]

DROP = "intake-drop"
READY = "intake-ready"
WAITING = "waiting"
SECTION = "intake-waiting"
ANSWERS = "intake-answers"
REVIEW = "intake-review"
REMARKS = "intake-remarks"
CLOSER = "intake-closer"
READ_AGAIN = "intake-read-again"
WHO = "intake-who"
TAKE_IN = "intake-take-in"
ASIDE = "intake-aside"
DONE = "intake-done"
ENDED = "intake-ended"
ANY_ANSWER = {"type": "answer", "sheet": ALL, "slot": ALL, "header": ALL}
ANY_SHEET = {"type": "look-closer", "sheet": ALL}

_WHAT_CAN_BE_READ = (
    "Workbooks (xlsx, xlsm, xlsb, xls, ods) and text tables (csv, tsv). Batches, "
    "transfers, cellar operations, packaging runs, readings, tastings, meter checks and targets are recognised by "
    "their headers, also behind banner rows and in wide sheets with a row for each can. A column that is not known is "
    "kept with its rows and offered as a practice."
)


def layout(**_address: object) -> Component:
    """Return the page: a place to drop files, what was read from them, and what was taken in before."""
    return html.Div(
        className="page",
        children=[
            html.H1("Intake", tabIndex=-1),
            html.P(
                "Drop your spreadsheets as you keep them. You see what each column was taken for before anything is "
                "stored.",
                className="answer",
            ),
            html.Div(id=DROP, className="upload"),
            html.Details([html.Summary("What can be read"), html.P(_WHAT_CAN_BE_READ)], className="more"),
            html.Div(id=READY, hidden=True),
            dcc.Store(id=WAITING),
            dcc.Store(id=ANSWERS),
            dcc.Store(id=ENDED),
            html.Section(_waiting(), id=SECTION, className="waiting", hidden=True),
            html.Div(id=DONE, role="status"),
            *conflicts.places(),
            *intake_history.places(),
        ],
    )


def _waiting() -> list[Component]:
    return [
        html.H2("Before it is stored"),
        html.Div(id=REVIEW),
        html.Div(id=CLOSER),
        html.Div(id=REMARKS),
        html.Div(
            className="decide",
            children=[
                dmc.Button("Read again with these answers", id=READ_AGAIN, variant="default"),
                dmc.TextInput(
                    id=WHO,
                    label="Your name, kept with the intake",
                    persistence=True,
                    persistence_type="local",
                    autoComplete="name",
                ),
                dmc.Button("Take in", id=TAKE_IN),
                dmc.Button("Put aside", id=ASIDE, variant="subtle"),
            ],
        ),
    ]


def read_files(waiting: object, _again: int | None, said: object, values: list[Any], ids: list[Any]):
    """Read the waiting files with what was said about them, and show what would be taken in."""
    if waiting is None:
        raise PreventUpdate
    staging = context().stagings.find(token_of(waiting))
    if staging is None:
        return html.P(GONE, className="caution"), None, None, None, False, True, None
    reading = read(context(), staging, answers_so_far(staging, said, values, ids))
    return reading.parts, reading.remarks, None, reading.answers, False, not reading.ready, None


def look_closer(clicks: list[int | None], waiting: object, said: object, values: list[Any], ids: list[Any]):
    """Show one sheet's headers with the controls that correct them."""
    staging = context().stagings.find(token_of(waiting))
    if staging is None or not any(clicks) or ctx.triggered_id is None:
        raise PreventUpdate
    answers = answers_so_far(staging, said, values, ids)
    return look(staging, ctx.triggered_id["sheet"], answers), answers


def take_them_in(clicks: int | None, waiting: object, who: object):
    """Put the reading that was shown on record, in the name of the person who says so."""
    if not clicks:
        raise PreventUpdate
    if not isinstance(who, str) or not who.strip():
        return html.P("Say your name first: it is kept with the intake.", className="caution"), *[no_update] * 4
    here = context()
    staging = here.stagings.claim(token_of(waiting))
    if staging is None or staging.taken is None:
        return html.P(GONE, className="caution"), *[no_update] * 4
    try:
        commit = here.ledger.commit(staging.taken, who[:120])
    except LedgerError as error:
        here.stagings.keep(staging)
        return html.P(f"Nothing was stored. {error}", className="caution"), *[no_update] * 4
    here.stagings.discard(staging)
    announce(commit.state)
    return taken_parts(commit), True, None, None, {"token": staging.token}


def put_aside(clicks: int | None, waiting: object):
    """Throw the waiting files away; nothing of them is on record."""
    if not clicks:
        raise PreventUpdate
    token = token_of(waiting)
    context().stagings.drop(token)
    return html.P("Put aside. Nothing was stored."), True, None, None, {"token": token}


TAKE_AWAY: Mapping[str, exports.Maker] = {"intakes": intake_history.take_away}


def register(app: Dash) -> None:
    """Register the page and wire it."""
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
    _register_upload(app)
    busy = [(Output(BUSY, "hidden"), False, True)]
    app.callback(
        Output(REVIEW, "children"),
        Output(REMARKS, "children"),
        Output(CLOSER, "children"),
        Output(ANSWERS, "data"),
        Output(SECTION, "hidden"),
        Output(TAKE_IN, "disabled"),
        Output(DONE, "children", allow_duplicate=True),
        Input(WAITING, "data"),
        Input(READ_AGAIN, "n_clicks"),
        State(ANSWERS, "data"),
        State(ANY_ANSWER, "value"),
        State(ANY_ANSWER, "id"),
        running=busy,
        prevent_initial_call=True,
    )(read_files)
    app.callback(
        Output(CLOSER, "children", allow_duplicate=True),
        Output(ANSWERS, "data", allow_duplicate=True),
        Input(ANY_SHEET, "n_clicks"),
        State(WAITING, "data"),
        State(ANSWERS, "data"),
        State(ANY_ANSWER, "value"),
        State(ANY_ANSWER, "id"),
        prevent_initial_call=True,
    )(look_closer)
    _register_decisions(app)
    conflicts.register(app)
    intake_history.register(app)


def _register_upload(app: Dash) -> None:
    app.clientside_callback(
        ClientsideFunction("dropbright", "focusIn"), Output(CLOSER, "title"), Input(CLOSER, "children")
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "prepareUpload"), Output(READY, "children"), Input(DROP, "id")
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "beginAnew"), Output(READY, "className"), Input(ENDED, "data")
    )


def _register_decisions(app: Dash) -> None:
    ends = (
        Output(DONE, "children", allow_duplicate=True),
        Output(SECTION, "hidden", allow_duplicate=True),
    )
    cleared = (
        Output(WAITING, "data", allow_duplicate=True),
        Output(ANSWERS, "data", allow_duplicate=True),
        Output(ENDED, "data", allow_duplicate=True),
    )
    app.callback(
        *ends,
        *cleared,
        Input(TAKE_IN, "n_clicks"),
        State(WAITING, "data"),
        State(WHO, "value"),
        running=[(Output(BUSY, "hidden"), False, True)],
        prevent_initial_call=True,
    )(take_them_in)
    asked = (Input(ASIDE, "n_clicks"), State(WAITING, "data"))
    app.callback(*ends, *cleared, *asked, prevent_initial_call=True)(put_aside)
