"""How is a setting of the whole process made for a while, whoever else asks for it at the same time?"""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import TracebackType

__all__ = ["SharedSetting"]


class SharedSetting:
    """A setting that the first to enter makes and the last to leave undoes.

    ``make`` makes it and returns what undoes it.
    """

    def __init__(self, make: Callable[[], Callable[[], object]]) -> None:
        self._make = make
        self._lock = threading.Lock()
        self._inside = 0

    def __enter__(self) -> None:
        with self._lock:
            if self._inside == 0:
                self._undo = self._make()
            self._inside += 1

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside == 0:
                self._undo()
