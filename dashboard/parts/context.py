"""On which ledger and with which settings does this dashboard answer?"""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Lock

from flask import Flask, current_app

from analysis.ledger import Ledger
from analysis.linking import PackTable, pack_table
from dashboard.parts.staging import Stagings
from dashboard.settings import Settings

__all__ = ["Context", "context", "install"]

_KEY = "DROPBRIGHT"


@dataclass
class Context:
    """What every page needs: the ledger, the settings, the uploaded files that wait.

    The pack table of the ledger's present state is kept in memory, so that a page's callbacks share one.
    """

    ledger: Ledger
    settings: Settings
    stagings: Stagings
    _packs: PackTable | None = None
    _lock: Lock = field(default_factory=Lock)

    def packs(self) -> PackTable:
        """Return the pack table of the ledger's present state."""
        with self._lock:
            if self._packs is None or self._packs.state != self.ledger.state:
                self._packs = pack_table(self.ledger)
            return self._packs


def install(server: Flask, ledger: Ledger, settings: Settings) -> None:
    """Give a server its context."""
    server.config[_KEY] = Context(ledger, settings, Stagings.open(settings.staging))


def context() -> Context:
    """Return the context of the server that answers the present request."""
    found = current_app.config[_KEY]
    assert isinstance(found, Context)
    return found
