"""How do large files get from a browser to the server without passing through memory?"""

from __future__ import annotations

from typing import Any
from urllib.parse import unquote

from flask import Flask, Response, jsonify, request
from werkzeug.exceptions import HTTPException

from dashboard.parts.context import context
from dashboard.parts.staging import TooLargeError

__all__ = ["UPLOAD_PATH", "add_upload_route"]

UPLOAD_PATH = "/intake/files"


def add_upload_route(server: Flask) -> None:
    """Let ``server`` take a file as the raw body of a POST, its name in ``X-File-Name`` (percent-encoded).

    The query's ``waiting`` names the staging that the file joins; without one a new staging begins and its token is
    in the answer: ``{"token", "name", "bytes"}``, or ``{"error"}``, a sentence for the person who uploads.
    """
    server.add_url_rule(UPLOAD_PATH, "upload", receive, methods=["POST"])


def receive() -> tuple[Response, int]:
    """Take one file into its staging and say what came."""
    here = context()
    limit = here.settings.upload_limit
    request.max_content_length = limit
    name = unquote(request.headers.get("X-File-Name", ""))
    if not name:
        return _refusal("The file came without a name. Choose it again."), 400
    token = request.args.get("waiting")
    staging = here.stagings.begin() if token is None else here.stagings.find(token)
    if staging is None:
        return _refusal("The earlier files no longer wait on the server. Reload the page and drop them all again."), 410
    try:
        size = here.stagings.receive(staging, name, request.stream, limit)
    except (TooLargeError, HTTPException):
        return _refusal(f"{name} is too large: at most {limit // 1024**2} MB a file and 60 files at once."), 413
    return _answer({"token": staging.token, "name": name, "bytes": size}), 200


def _refusal(message: str) -> Response:
    return _answer({"error": message})


def _answer(document: dict[str, Any]) -> Response:
    return jsonify(document)
