"""How do the parts of a page hear that the ledger changed?"""

from __future__ import annotations

from dash import set_props

from dashboard.parts.ids import LEDGER_STATE

__all__ = ["announce"]


def announce(state: int) -> None:
    """Tell every part of the page that listens to the ledger's state; only within a callback.

    The state is set beside the callback's outputs. As an output it would hold every listener back whenever a page that
    can change the ledger is opened.
    """
    set_props(LEDGER_STATE, {"data": state})
