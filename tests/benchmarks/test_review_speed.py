"""Does the review open at once, and is an answer kept without all charts being worked out again?

The floor of the first opening is the charts that it looks through; that of what follows is the first opening. Both are
measured in the same run, in processor time.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from analysis.findings.filters import Filters
from analysis.findings.review_matters import charted, matters_on_record
from analysis.findings.stability import stability
from analysis.ledger import Ledger
from analysis.linking import pack_table
from analysis.records import SourceFile, take_in
from dashboard.app import create_app
from dashboard.pages import review
from dashboard.parts.review_memory import held
from dashboard.settings import Settings
from data_demo.workbooks import write_workbooks

MATTERS_IN_CHARTS = 2.0
AFTER_AN_ANSWER_IN_OPENINGS = 0.35


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    folder = tmp_path_factory.mktemp("review_speed")
    files = tuple(SourceFile(path, path.name) for path in write_workbooks(folder))
    with Ledger.open(f"sqlite:///{folder / 'ledger.sqlite'}") as opened:
        opened.commit(take_in(files), by="the demo")
        yield opened


def timed(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


@pytest.mark.benchmark_floor
@pytest.mark.benchmark(timer=time.process_time)
def test_all_matters_against_the_charts_that_they_stand_on(benchmark, ledger):
    table = pack_table(ledger)
    floors: list[float] = []

    def charts() -> None:
        floors.append(timed(lambda: [stability(table, name, stage) for name, stage in charted(table)]))

    assert len(matters_on_record(table)) > 5
    benchmark.pedantic(lambda: matters_on_record(table), setup=charts, rounds=5)
    ratio = benchmark.stats.stats.min / min(floors)
    benchmark.extra_info.update(ratio=ratio, floor_seconds=min(floors))
    assert ratio <= MATTERS_IN_CHARTS


@pytest.mark.benchmark_floor
@pytest.mark.benchmark(timer=time.process_time)
def test_a_page_after_an_answer_against_the_first_opening(benchmark, ledger):
    app = create_app(ledger, Settings())
    with app.server.test_request_context("/"):
        first = timed(lambda: held(Filters()))
        answers = iter(range(100))

        def answer() -> None:
            content = {"what": "done", "answer": next(answers), "on": "2026-01-01"}
            ledger.decide("signal", content, "the action was done", "Ann")

        benchmark.pedantic(lambda: review.show({}, None, ""), setup=answer, rounds=5)
    ratio = benchmark.stats.stats.min / first
    benchmark.extra_info.update(ratio=ratio, floor_seconds=first)
    assert ratio <= AFTER_AN_ANSWER_IN_OPENINGS
