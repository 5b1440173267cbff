"""Which requests does the dashboard refuse, and what does it forbid the browser?"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Collection
from urllib.parse import urlsplit

from dash import Dash
from flask import Response, abort, request

__all__ = ["content_policy", "guard", "is_foreign_post", "is_known_host"]

_SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
_A_YEAR = 31_536_000
# A file whose address says which version it is may be kept; Dash marks ours by the moment of their last change.
_VERSION_MARKS = ("m", "v")
_OWN_SITES = ("same-origin", "none")

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


def guard(app: Dash, hosts: Collection[str] = ()) -> None:
    """Refuse foreign requests to ``app`` and give each of its answers the headers that hem the browser in.

    Parameters
    ----------
    app : Dash
        With all its callbacks registered but its first request still to come.
    hosts : collection of str
        Names by which people reach this machine, beside its own name and its addresses.
    """
    own = socket.gethostname().casefold()
    known = {"localhost", own, f"{own}.local", *(host.casefold() for host in hosts)}

    def refuse() -> None:
        if not is_known_host(request.host, known):
            abort(421)
        sender = request.headers.get("Sec-Fetch-Site"), request.headers.get("Origin")
        if is_foreign_post(request.method, *sender, request.host):
            abort(403)

    def hem_in(answer: Response) -> Response:
        answer.headers.setdefault("Content-Security-Policy", content_policy(app.csp_hashes()))
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        if not request.path.startswith(("/assets/", "/_dash-component-suites/")):
            answer.headers["Cache-Control"] = "no-store"
        elif answer.status_code == 200 and any(mark in request.args for mark in _VERSION_MARKS):
            answer.headers["Cache-Control"] = f"private, max-age={_A_YEAR}, immutable"
        return answer

    # Before Dash's own: what is refused costs nothing.
    app.server.before_request_funcs.setdefault(None, []).insert(0, refuse)
    app.server.after_request(hem_in)


def content_policy(script_hashes: Collection[str]) -> str:
    """Return the content policy: nothing from another origin, and no script but our files and the named ones."""
    return "; ".join(
        (
            "default-src 'none'",
            " ".join(("script-src 'self'", *script_hashes)),
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "connect-src 'self'",
            "worker-src 'self' blob:",
            "manifest-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "object-src 'none'",
        )
    )


def is_known_host(host: str, known: Collection[str]) -> bool:
    """Return whether a request's Host is an address, or a name by which people reach this machine.

    A name that someone else gave to this machine's address must not open the ledger to their page; an address in
    figures cannot be given away so.
    """
    name = (urlsplit(f"//{host}").hostname or "").casefold()
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name in known
    return True


def is_foreign_post(method: str, fetch_site: str | None, origin: str | None, host: str) -> bool:
    """Return whether a request that changes something was sent by another site's page.

    A browser names the site in ``Sec-Fetch-Site``; an older one at least its ``Origin``. A program sends neither and
    is let through: it has no person's browser to abuse.
    """
    if method in _SAFE_METHODS:
        return False
    if fetch_site is not None:
        return fetch_site not in _OWN_SITES
    return origin is not None and urlsplit(origin).netloc != host
