"""Does the page of charts answer within a tenth of a second on the server, and each command's charts with it?"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from analysis.findings.stability import stability
from analysis.ledger import Ledger
from analysis.records import SourceFile, take_in
from dashboard.app import create_app
from dashboard.pages import charts
from dashboard.parts.context import context
from dashboard.settings import Settings
from data_demo.workbooks import write_workbooks

FLOORS_IN_A_TENTH_OF_A_SECOND = 0.100 / 0.0060
"""The floor (below) takes 6.0 ms on the machine that the tenth of a second was asked for: told as a ratio, it holds on
others. Processor time, with nothing kept from an earlier answer."""
ROUNDS = 12
MEASURES = ("total_oxygen", "haze")


def best_of(times: int, work: Callable[[], object]) -> float:
    """Return the shortest of several timings [s]."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return min(taken)


@pytest.fixture(scope="module")
def points():
    return np.random.default_rng(1).normal(size=1_000_000)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A request to the dashboard on the invented brewery, its pack table linked."""
    folder: Path = tmp_path_factory.mktemp("charts-page")
    with pytest.MonkeyPatch.context() as patch, Ledger.open(f"sqlite:///{folder / 'demo.sqlite'}") as ledger:
        patch.setenv("DROPBRIGHT_CACHE", str(folder / "cache"))
        ledger.commit(take_in([SourceFile(path, path.name) for path in write_workbooks(folder)]), by="demo")
        app = create_app(ledger, Settings(demo=True))
        with app.server.test_request_context("/charts"):
            context().packs()
            yield


def asked_anew(measure: str) -> tuple[object, ...]:
    """Answer the page's callback with no earlier answer in memory."""
    context()._answers.clear()
    return charts.show({}, measure, "pack", "", "light")


@pytest.mark.benchmark_floor
@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("measure", MEASURES)
def test_the_pages_callback_on_the_demo(benchmark, page, points, measure):
    bare = best_of(ROUNDS, lambda: (np.cumsum(points), np.std(points)))
    shown = benchmark.pedantic(asked_anew, args=(measure,), rounds=ROUNDS, warmup_rounds=1)
    bare = min(bare, best_of(ROUNDS, lambda: (np.cumsum(points), np.std(points))))
    ratio = benchmark.stats.stats.min / bare
    benchmark.extra_info.update(ratio=ratio, floor_seconds=bare)
    assert shown[4]["data"] and stability(context().packs(), measure).answer == shown[0]
    assert ratio <= FLOORS_IN_A_TENTH_OF_A_SECOND
