"""Does the command line answer at once?"""

import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark_floor

ROUNDS = 9
COMMAND = Path(sys.executable).with_name("dropbright")


def best_of(*command: str) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - start)
    return min(times)


def test_help_costs_at_most_eight_bare_starts(benchmark):
    floor = best_of(sys.executable, "-c", "pass")
    benchmark.pedantic(
        lambda: subprocess.run([str(COMMAND), "--help"], check=True, stdout=subprocess.DEVNULL), rounds=ROUNDS
    )
    ratio = benchmark.stats.stats.min / floor
    benchmark.extra_info["ratio"] = ratio
    assert ratio <= 8
