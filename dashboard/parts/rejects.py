"""How do the rejected rows get back to the person who can mend them?"""

from __future__ import annotations

from urllib.parse import urlencode

from flask import Flask, Response, abort, request

from analysis.findings.export import CONTENT_TYPES
from analysis.records import write_rejects
from dashboard.parts.context import context

__all__ = ["add_rejects_route", "rejects_address"]

PATH = "/intake/rejected.xlsx"


def rejects_address(token: str) -> str:
    """Return the address of the rejected rows of the files that wait under a token."""
    return f"{PATH}?{urlencode({'waiting': token})}"


def add_rejects_route(server: Flask) -> None:
    """Let ``server`` answer with the rejected rows of the files that wait under the query's token."""
    server.add_url_rule(PATH, "rejects", rejects)


def rejects() -> Response:
    """Return the workbook of rejected rows, in the layout they came in, each with its reason."""
    staging = context().stagings.find(request.args.get("waiting"))
    if staging is None or staging.taken is None:
        abort(404)
    place = staging.folder / "rejected.xlsx"
    write_rejects(staging.taken, place)
    answer = Response(place.read_bytes(), content_type=CONTENT_TYPES["xlsx"])
    answer.headers["Content-Disposition"] = 'attachment; filename="dropbright-rejected.xlsx"'
    return answer
