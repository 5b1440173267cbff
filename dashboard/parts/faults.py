"""What does a person see when the server fails, and where does the trace go?"""

from __future__ import annotations

import logging
import secrets

from dash import html, set_props
from dash.development.base_component import Component
from flask import Flask, Response
from werkzeug.exceptions import HTTPException

__all__ = ["FAULT", "fault_place", "plain_errors", "report"]

FAULT = "fault"

_log = logging.getLogger("dropbright")


def fault_place() -> Component:
    """Return the place in the shell where a fault is told."""
    return html.Div(id=FAULT, className="fault", role="alert", **{"aria-live": "assertive"})


def report(error: Exception) -> None:
    """Tell a person in one plain sentence that a callback failed; its trace goes to the server's log only."""
    reference = secrets.token_hex(3)
    _log.error("A callback failed (reference %s).", reference, exc_info=error)
    set_props(FAULT, {"children": fault_message(reference)})


def fault_message(reference: str) -> list[Component]:
    """Return what is said of a fault that the log keeps under ``reference``."""
    return [
        html.Strong("This could not be worked out."),
        html.Span(
            " The fault is ours, not your data's, and nothing was stored by it. Reload the page to try again. "
            f"If it comes back, tell whoever looks after this machine: the server's log has it under {reference}."
        ),
    ]


def plain_errors(server: Flask) -> None:
    """Have ``server`` answer every failure with a short text, never with a trace."""

    @server.errorhandler(HTTPException)
    def refused(error: HTTPException) -> Response:
        return Response(f"{error.code} {error.name}\n", status=error.code, mimetype="text/plain")

    @server.errorhandler(Exception)
    def failed(error: Exception) -> Response:
        reference = secrets.token_hex(3)
        _log.error("A request failed (reference %s).", reference, exc_info=error)
        return Response(f"500 This request failed. Reference: {reference}\n", status=500, mimetype="text/plain")
