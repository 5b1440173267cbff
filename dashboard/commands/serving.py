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
    if not _is_free(host, port):
        refuse(f"Something answers on {host}:{port} already. Choose another port: --port {port + 1}")
    app = create_app(ledger, Settings(demo=demo))
    complain(f"Dropbright is open on http://{host}:{port} (stop it with Ctrl-C).")
    try:
        serve_forever(app.server, host=host, port=port, threads=THREADS, ident=None)
    except KeyboardInterrupt:
        complain("Stopped.")
    except OSError as error:
        refuse(f"The dashboard cannot answer on {host}:{port}: {error.strerror}. Choose another --host or --port.")


def _is_free(host: str, port: int) -> bool:
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.settimeout(0.5)
        return probe.connect_ex((host, port)) != 0
