"""What was taken in, when and by whom, and how is it taken back?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.ledger_changes import history_frame, standing, withdrawal_in_words
from analysis.findings.wording import day, listing
from analysis.ledger import IntakeEntry, LedgerError
from analysis.records.kinds import KINDS
from dashboard.parts import exports
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, LEDGER_STATE
from dashboard.parts.ledger_state import announce
from dashboard.parts.tables import Column, data_table

__all__ = ["consequence", "history_table", "places", "register", "take_away"]

PLACE = "history-place"
DIALOG = "withdraw-dialog"
NUMBER = "withdraw-number"
CONSEQUENCE = "withdraw-consequence"
BECAUSE = "withdraw-because"
WHO = "withdraw-who"
CONFIRM = "withdraw-confirm"
FAULT = "withdraw-fault"
DONE = "withdraw-done"
ANY_BUTTON = {"type": "withdraw", "intake": ALL}

_LONGEST = 500


def places() -> list[Component]:
    """Return the parts of the page: the history, and the dialog that takes an intake back."""
    return [
        html.H2("Taken in before"),
        html.Div(id=DONE, role="status"),
        html.Div(id=PLACE),
        dcc.Store(id=NUMBER),
        dmc.Modal(
            id=DIALOG,
            title="Take an intake back",
            closeButtonProps={"aria-label": "Close without taking it back"},
            children=html.Div(
                className="dialog",
                children=[
                    html.P(id=CONSEQUENCE),
                    dmc.TextInput(id=BECAUSE, label="Why it is taken back", placeholder="wrong file, wrong year …"),
                    dmc.TextInput(
                        id=WHO, label="Your name", persistence=True, persistence_type="local", autoComplete="name"
                    ),
                    html.Div(id=FAULT, role="alert"),
                    dmc.Button("Take it back", id=CONFIRM),
                ],
            ),
        ),
    ]


def history_table(entries: Sequence[IntakeEntry]) -> Component:
    """Return the history, the latest intake first."""
    if not entries:
        return html.P("Nothing has been taken in yet.", className="soft")
    columns = (
        Column("Intake", kind="figures"),
        Column("When"),
        Column("By"),
        Column("Files", kind="prose"),
        Column("Rows", kind="figures"),
        Column("Standing", kind="prose"),
        Column("Change"),
    )
    latest = sorted(entries, key=lambda entry: entry.intake, reverse=True)
    return html.Div(
        [
            data_table("Intakes", columns, [_entry_row(entry) for entry in latest], class_name="history"),
            exports.links("intakes", "this history", Filters()),
        ]
    )


def take_away(_filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return the history of intakes as a file."""
    ledger = context().ledger
    note = ExportNote("What was taken in", ledger.state, Filters().in_words(), made_at=datetime.now())
    return export_table(history_frame(ledger.history()), note, form)


def _entry_row(entry: IntakeEntry) -> tuple[Component | str, ...]:
    button = html.Button(
        ["Take back…", html.Span(f" intake {entry.intake}", className="sr-only")],
        id={"type": "withdraw", "intake": entry.intake},
        type="button",
        className="link-button",
    )
    return (
        f"{entry.intake}",
        f"{day(entry.at)}, {entry.at:%H:%M}",
        entry.by,
        listing([file.file for file in entry.files], most=3),
        f"{sum(counts.rows for counts in entry.counts.values()):,}",
        standing(entry),
        button if entry.withdrawn is None else "",
    )


def consequence(entry: IntakeEntry) -> str:
    """Return what taking an intake back will change, in words."""
    added = listing([_told(kind, c.added) for kind, c in entry.counts.items() if c.added])
    updated = listing([_told(kind, c.updated) for kind, c in entry.counts.items() if c.updated])
    parts = [f"Intake {entry.intake} of {day(entry.at)} brought {added or 'nothing new'}."]
    if added:
        parts.append("What stands on no other file will no longer count anywhere.")
    if updated:
        parts.append(f"It corrected {updated}; there the earlier values will stand again.")
    parts.append("The history keeps it, with your reason.")
    return " ".join(parts)


def _told(kind: str, number: int) -> str:
    label = KINDS[kind].label.lower() if kind in KINDS else kind
    return f"{number:,} {label}"


def show_history(_state: int | None) -> Component:
    """Show what was taken in."""
    return history_table(context().ledger.history())


def ask(clicks: list[int | None]):
    """Open the dialog for the intake whose button was pressed."""
    if not any(clicks) or ctx.triggered_id is None:
        raise PreventUpdate
    entry = next((e for e in context().ledger.history() if e.intake == ctx.triggered_id["intake"]), None)
    if entry is None:
        raise PreventUpdate
    return True, entry.intake, consequence(entry), None, ""


def take_back(clicks: int | None, number: object, because: object, who: object):
    """Withdraw the intake, in the name of the person who says so and for the reason given."""
    if not clicks:
        raise PreventUpdate
    fault, stay = _missing(because, who), (True, no_update)
    if fault:
        return html.P(fault, className="caution"), *stay
    if not isinstance(number, int):
        raise PreventUpdate
    try:
        done = context().ledger.withdraw(number, str(because)[:_LONGEST], str(who)[:120])
    except (LedgerError, ValueError) as error:
        return html.P(f"It was not taken back. {error}", className="caution"), *stay
    announce(done.state)
    return None, False, html.P(withdrawal_in_words(done))


def _missing(because: object, who: object) -> str:
    if not isinstance(because, str) or not because.strip():
        return "Say why: the reason is kept with the intake."
    if not isinstance(who, str) or not who.strip():
        return "Say your name: it is kept with the reason."
    return ""


def register(app: Dash) -> None:
    """Wire the history and its dialog."""
    app.callback(Output(PLACE, "children"), Input(LEDGER_STATE, "data"))(show_history)
    app.callback(
        Output(DIALOG, "opened"),
        Output(NUMBER, "data"),
        Output(CONSEQUENCE, "children"),
        Output(FAULT, "children"),
        Output(BECAUSE, "value"),
        Input(ANY_BUTTON, "n_clicks"),
        prevent_initial_call=True,
    )(ask)
    app.callback(
        Output(FAULT, "children", allow_duplicate=True),
        Output(DIALOG, "opened", allow_duplicate=True),
        Output(DONE, "children"),
        Input(CONFIRM, "n_clicks"),
        State(NUMBER, "data"),
        State(BECAUSE, "value"),
        State(WHO, "value"),
        running=[(Output(BUSY, "hidden"), False, True)],
        prevent_initial_call=True,
    )(take_back)
