"""How is what a page shows taken away as a file?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, abort, request

from analysis.findings.export import CONTENT_TYPES, FORMS, Form
from analysis.findings.filters import Filters
from dashboard.parts.addresses import filters_from_search, query
from dashboard.parts.shell import icon

__all__ = ["Maker", "NothingToTakeError", "add_export_route", "links"]

# What a page offers: the selection, what else the address says, the form of file → the file's bytes.
Maker = Callable[[Filters, Mapping[str, str], Form], bytes]


class NothingToTakeError(LookupError):
    """The address asks for something that the page does not show."""


_WORDS: Mapping[str, str] = {"xlsx": "xlsx", "csv": "csv", "parquet": "parquet"}


def add_export_route(server: Flask, offers: Mapping[str, Maker]) -> None:
    """Let ``server`` answer ``/take-away/NAME.FORM`` with a file for the selection that the query states.

    A maker raises ``NothingToTakeError`` where the rest of the query makes no sense: the answer is 404.
    """

    def take_away(name: str, form: str) -> Response:
        if name not in offers or form not in FORMS:
            abort(404)
        asked = request.query_string.decode("utf-8", "replace")
        try:
            body = offers[name](filters_from_search(asked), request.args.to_dict(), cast("Form", form))
        except NothingToTakeError:
            abort(404)
        answer = Response(body, content_type=CONTENT_TYPES[form])
        answer.headers["Content-Disposition"] = f'attachment; filename="dropbright-{name}.{form}"'
        return answer

    server.add_url_rule("/take-away/<name>.<form>", "take_away", take_away)


def links(name: str, what: str, filters: Filters, **further: str) -> Component:
    """Return links that take ``what`` away in each form, for a selection and what else the page shows."""
    asked = query(filters, **further)
    return html.P(
        [
            icon("take-away"),
            html.Span(f"Take {what} away as "),
            *_between(
                [
                    html.A(_WORDS[form], href=f"/take-away/{name}.{form}{asked}", download=f"dropbright-{name}.{form}")
                    for form in FORMS
                ]
            ),
        ],
        className="take-away",
    )


def _between(links: list[Component]) -> list[Component | str]:
    parts: list[Component | str] = []
    for place, link in enumerate(links):
        parts += [link] if place == 0 else [" or " if place == len(links) - 1 else ", ", link]
    return parts
