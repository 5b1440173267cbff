"""On how many threads do a model's matrices fare best?

On one: where other work keeps the processors busy, as on a server it does, handing a 50 × 50 product to a second thread
took a hundred times the product, and a 1,100 × 1,100 Cholesky factor ten times as long as on one thread.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController

from analysis.models.shared_setting import SharedSetting

__all__ = ["one_thread"]


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController().select(user_api="blas")


def _limited() -> Callable[[], object]:
    restore: Callable[[], object] = _controller().limit(limits=1).restore_original_limits
    return restore


_SINGLE = SharedSetting(_limited)


@contextmanager
def one_thread() -> Iterator[None]:
    """Run the linear algebra inside on one thread."""
    with _SINGLE:
        yield
