"""On how many threads do a model's matrices fare best?

On one: where other work keeps the processors busy, as on a server it does, handing a 50 × 50 product to a second thread
took a hundred times the product, and a 1,100 × 1,100 Cholesky factor ten times as long as on one thread.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController

__all__ = ["one_thread"]


class _Single:
    """Counts who asked for one thread, so that the last to leave restores what there was."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.inside = 0
        self.controller = ThreadpoolController().select(user_api="blas")

    def enter(self) -> None:
        with self.lock:
            if self.inside == 0:
                self.limiter = self.controller.limit(limits=1)
            self.inside += 1

    def leave(self) -> None:
        with self.lock:
            self.inside -= 1
            if self.inside == 0:
                self.limiter.restore_original_limits()


@cache
def _single() -> _Single:
    return _Single()


@contextmanager
def one_thread() -> Iterator[None]:
    """Run the linear algebra inside on one thread."""
    _single().enter()
    try:
        yield
    finally:
        _single().leave()
