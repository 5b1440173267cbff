"""On which ledger and with which settings does this dashboard answer?"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from threading import Lock
from typing import TypeVar

from flask import Flask, current_app

from analysis.findings.table_in_use import table_in_use
from analysis.ledger import Ledger
from analysis.linking import PackTable
from dashboard.parts.staging import Stagings
from dashboard.settings import Settings

__all__ = ["Context", "context", "install"]

_KEY = "DROPBRIGHT"
_MOST_ANSWERS = 48

Answer = TypeVar("Answer")


@dataclass
class Context:
    """What every page needs: the ledger, the settings, the uploaded files that wait.

    The pack table of the ledger's present state and the last answers are kept in memory, so that a page's callbacks,
    and people who ask the same, share them.
    """

    ledger: Ledger
    settings: Settings
    stagings: Stagings
    _packs: PackTable | None = None
    _answers: OrderedDict[Hashable, object] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def packs(self) -> PackTable:
        """Return the pack table of the ledger's present state, with the standing decisions about meters applied."""
        with self._lock:
            if self._packs is None or self._packs.state != self.ledger.state:
                self._packs = table_in_use(self.ledger)
            return self._packs

    def answer(self, question: Callable[..., Answer], *about: Hashable) -> Answer:
        """Return what ``question(pack table, *about)`` answers, from memory where it was asked of the same records."""
        table = self.packs()
        key = (question, table.state, *about)
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key]  # type: ignore[return-value]
        found = question(table, *about)
        with self._lock:
            self._answers[key] = found
            while len(self._answers) > _MOST_ANSWERS:
                self._answers.popitem(last=False)
        return found


def install(server: Flask, ledger: Ledger, settings: Settings) -> None:
    """Give a server its context."""
    server.config[_KEY] = Context(ledger, settings, Stagings.open(settings.staging))


def context() -> Context:
    """Return the context of the server that answers the present request."""
    found = current_app.config[_KEY]
    assert isinstance(found, Context)
    return found
