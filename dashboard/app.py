"""How is the dashboard put together for one ledger?"""

from __future__ import annotations

import re
from pathlib import Path

import dash
from dash import Dash
from flask import Flask, Response, make_response, request

from analysis.ledger import Ledger
from dashboard.pages import (
    charts,
    gas_figures,
    intake,
    meters,
    not_found_404,
    oxygen,
    packs,
    practices,
    readiness,
    review,
    review_record,
)
from dashboard.parts import exports, filters, shell
from dashboard.parts.context import install
from dashboard.parts.faults import plain_errors, report
from dashboard.parts.rejects import add_rejects_route
from dashboard.security import guard
from dashboard.settings import Settings
from dashboard.upload import add_upload_route

__all__ = ["create_app"]

PAGES = (
    intake,
    packs,
    review,
    review_record,
    charts,
    practices,
    oxygen,
    gas_figures,
    readiness,
    meters,
    not_found_404,
)

_INDEX = """<!DOCTYPE html>
<html lang="en-GB">
<head>
{%metas%}
<title>{%title%}</title>
<link rel="icon" type="image/svg+xml" href="/assets/favicon.svg">
{%css%}
</head>
<body>
<a class="skip" href="#main">Skip to the page</a>
<noscript>Dropbright draws its pages with its own scripts. Please allow scripts for this address.</noscript>
{%app_entry%}
<div hidden>
{%config%}
{%scripts%}
{%renderer%}
</div>
</body>
</html>
"""


def create_app(ledger: Ledger, settings: Settings | None = None) -> Dash:
    """Return the dashboard on a ledger, ready to be served.

    Parameters
    ----------
    ledger : Ledger
    settings : Settings, optional
        The defaults where none are given.
    """
    chosen = settings or Settings()
    server = Flask("dashboard", static_folder=None)
    server.config["MAX_CONTENT_LENGTH"] = chosen.request_limit
    install(server, ledger, chosen)
    plain_errors(server)
    add_upload_route(server)
    add_rejects_route(server)
    app = _dash_on(server)
    for page in PAGES:
        page.register(app)
    with server.app_context():
        app.layout = shell.layout
    filters.register(app)
    shell.register(app)
    exports.add_export_route(
        server, {name: maker for page in PAGES for name, maker in getattr(page, "TAKE_AWAY", {}).items()}
    )
    _answer_404(app)
    guard(app, chosen.hosts)
    _first_request(app)
    return app


def _dash_on(server: Flask) -> Dash:
    dash.page_registry.clear()
    return Dash(
        "dashboard",
        server=server,
        assets_folder=str(Path(__file__).parent / "assets"),
        assets_ignore=r"plotly-cartesian.*",
        use_pages=True,
        pages_folder="",
        title="Dropbright",
        update_title="",
        index_string=_INDEX,
        include_assets_files=True,
        include_pages_meta=False,
        serve_locally=True,
        compress=True,
        on_error=report,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "color-scheme", "content": "light dark"},
        ],
    )


def _answer_404(app: Dash) -> None:
    """Have an unknown path answer 404 with the page that says so, where Dash would answer 200."""
    endpoint = "/<path:path>"
    shown = app.server.view_functions[endpoint]

    def view(path: str) -> Response:
        known = {page["path"] for page in dash.page_registry.values()} - {"/not-found"}
        answer = make_response(shown(path=path))
        answer.status_code = 200 if request.path in known or _fits_a_template(request.path) else 404
        return answer

    app.server.view_functions[endpoint] = view


def _fits_a_template(path: str) -> bool:
    """Return whether a path is that of a page whose address names one thing of many."""
    templates = (str(page.get("path_template") or "") for page in dash.page_registry.values())
    return any(re.fullmatch(re.sub(r"<\w+>", r"\\d+", one), path) for one in templates if one)


def _first_request(app: Dash) -> None:
    """Ask for the first page here, so that a fault in the wiring shows at the start and not to the first person."""
    answer = app.server.test_client().get("/", headers={"Host": "localhost"})
    if answer.status_code != 200:
        raise RuntimeError(f"create_app: the first page answered {answer.status_code}: {answer.text.strip()}")
