"""How is the dashboard served until somebody stops it?"""

from __future__ import annotations

import socket

from waitress import serve as serve_forever

from analysis.ledger import Ledger
from dashboard.app import create_app
from dashboard.commands.options import complain, refuse
from dashboard.settings import Settings

__all__ = ["serve"]

THREADS = 8


def serve(ledger: Ledger, host: str, port: int, *, demo: bool = False) -> None:
    """Serve the dashboard on ``host`` and ``port``; ends on Ctrl-C."""
    fault = _fault_of(host, port)
    if fault:
        refuse(f"The dashboard cannot answer on {host}:{port}: {fault}. Choose another --host or --port.")
    app = create_app(ledger, Settings(demo=demo))
    complain(f"Dropbright is open on http://{host}:{port} (stop it with Ctrl-C).")
    try:
        serve_forever(app.server, host=host, port=port, threads=THREADS, ident=None)
    except KeyboardInterrupt:
        complain("Stopped.")
    except OSError as error:
        refuse(f"The dashboard cannot answer on {host}:{port}: {error.strerror}. Choose another --host or --port.")


def _fault_of(host: str, port: int) -> str:
    """Return why nothing can be served there, "" where it can."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.settimeout(0.5)
            if probe.connect_ex((host, port)) == 0:
                return "something answers there already"
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, port))
    except OSError as error:
        return (error.strerror or str(error)).lower()
    return ""
