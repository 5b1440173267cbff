"""On which ledger and with which settings does this dashboard answer?"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, replace
from threading import Lock
from typing import TypeVar

from flask import Flask, current_app

from analysis.findings.table_in_use import Contents, contents_in_use, table_in_use
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
    _contents: Contents | None = None
    _answers: OrderedDict[Hashable, object] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def packs(self) -> PackTable:
        """Return the pack table of the ledger's present state, with the standing decisions about meters applied."""
        with self._lock:
            state = self.ledger.state
            if self._packs is None or self._packs.state != state:
                contents = contents_in_use(self.ledger, state)
                same = self._packs if contents == self._contents else None
                self._packs = table_in_use(self.ledger, state) if same is None else _in_state(same, state)
                self._contents = contents
            return self._packs

    def answer(self, question: Callable[..., Answer], *about: Hashable) -> Answer:
        """Return what ``question(pack table, *about)`` answers, from memory where it was asked in the same state."""
        table = self.packs()
        return self._remembered((question, table.state, *about), table, question, *about)

    def answer_of_table(self, question: Callable[..., Answer], *about: Hashable) -> Answer:
        """Return the same for a question that asks nothing but the pack table.

        An answer is then remembered over states between which nothing changed that the table is made of, such as those
        that the answers of a review make; ``ledger_state`` is the present one's all the same.
        """
        table = self.packs()
        same = self._contents if table is self._packs else table.state
        found = self._remembered((question, same, *about), table, question, *about)
        return _in_state(found, table.state)

    def _remembered(
        self, key: tuple[Hashable, ...], table: PackTable, question: Callable[..., Answer], *about: Hashable
    ) -> Answer:
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


def _in_state(found: Answer, state: int) -> Answer:
    """Return a table or a finding as that of another state that it holds for too."""
    if isinstance(found, PackTable):
        as_read = None if found.as_read is None else replace(found.as_read, state=state)
        return replace(found, state=state, as_read=as_read)
    if getattr(found, "ledger_state", state) == state:
        return found
    return replace(found, ledger_state=state)  # type: ignore[type-var]


def install(server: Flask, ledger: Ledger, settings: Settings) -> None:
    """Give a server its context."""
    server.config[_KEY] = Context(ledger, settings, Stagings.open(settings.staging))


def context() -> Context:
    """Return the context of the server that answers the present request."""
    found = current_app.config[_KEY]
    assert isinstance(found, Context)
    return found
