"""How many runs pass, on average, before a set of rules gives a signal?

With nothing wrong this is the price of the rules (runs between false alarms), with a shift their delay. Rules that look
at zones are followed exactly, as a Markov chain over what each rule remembers; rules that compare neighbours are
simulated, with a Monte Carlo interval.

Source: Champ and Woodall 1987, "Exact results for Shewhart control charts with supplementary runs rules",
Technometrics 29.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from scipy.sparse import csr_array, eye_array
from scipy.sparse.linalg import spsolve
from scipy.special import ndtr

from analysis.charts.run_length_simulation import simulated_run_lengths
from analysis.charts.run_rules import RULES, checked_rules

__all__ = ["RunLength", "run_length"]

HISTORIES = 10_000
SEED = 20_260_512
_EDGES = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
_HEIGHTS = (-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5)
_HALF = 1.959963984540054

State = tuple[int, ...]
Step = Callable[[State, float], State | None]


@dataclass(frozen=True)
class RunLength:
    """The average run length of a set of rules [runs].

    ``low`` and ``high`` bound it at 95 %: both equal ``mean`` where it was computed exactly, else the Monte Carlo
    interval. ``exact`` says which.
    """

    rules: tuple[str, ...]
    shift: float
    mean: float
    low: float
    high: float
    exact: bool


def run_length(rules: Iterable[str], shift: float = 0.0) -> RunLength:
    """Return the average number of runs until the rules first give a signal, the signalling run included.

    Parameters
    ----------
    rules : iterable of str
        Codes of ``RULES``.
    shift : float
        How far the level lies from the centre from the first run on [sigma]; 0 for false alarms.

    Raises
    ------
    ValueError
        If there is no rule, or an unknown one.

    Notes
    -----
    Runs are independent and normal, centre and sigma are known. Limits made from a small baseline alarm at other rates.
    """
    chosen = tuple(sorted(checked_rules(rules)))
    if not chosen:
        raise ValueError("rules must name at least one rule, got none")
    return _run_length(chosen, float(shift))


@lru_cache(maxsize=256)
def _run_length(rules: tuple[str, ...], shift: float) -> RunLength:
    if all(RULES[rule].zones_only for rule in rules):
        mean = _markov_mean(rules, shift)
        return RunLength(rules, shift, mean, mean, mean, True)
    lengths = simulated_run_lengths(rules, shift, HISTORIES, np.random.default_rng(SEED))
    mean, reach = float(lengths.mean()), _HALF * float(lengths.std(ddof=1)) / math.sqrt(HISTORIES)
    return RunLength(rules, shift, mean, mean - reach, mean + reach, False)


def _markov_mean(rules: tuple[str, ...], shift: float) -> float:
    """Return the expected number of steps to absorption, from the state in which no rule remembers anything."""
    below = np.concatenate([[0.0], ndtr(np.array(_EDGES) - shift), [1.0]])
    chances = np.diff(below).tolist()
    steps = [_STEPS[rule] for rule in rules]
    start: tuple[State, ...] = tuple(_EMPTY for _ in rules)
    number = {start: 0}
    rows: list[int] = []
    columns: list[int] = []
    weights: list[float] = []
    waiting = [start]
    while waiting:
        state = waiting.pop()
        for height, chance in zip(_HEIGHTS, chances, strict=True):
            following = _follow(steps, state, height)
            if following is None:
                continue
            if following not in number:
                number[following] = len(number)
                waiting.append(following)
            rows.append(number[state])
            columns.append(number[following])
            weights.append(chance)
    size = len(number)
    stays = csr_array((weights, (rows, columns)), shape=(size, size))
    expected = spsolve((eye_array(size) - stays).tocsc(), np.ones(size))
    return float(np.atleast_1d(expected)[0])


def _follow(steps: list[Step], state: tuple[State, ...], height: float) -> tuple[State, ...] | None:
    following = []
    for step, remembered in zip(steps, state, strict=True):
        after = step(remembered, height)
        if after is None:
            return None
        following.append(after)
    return tuple(following)


_EMPTY: State = (0, 0)


def _beyond_limit(_: State, height: float) -> State | None:
    return None if abs(height) > 3 else _EMPTY


def _some_of_the_last(least: int, window: int, sigmas: float) -> Step:
    """Remember, a bit a point, which of the last ``window - 1`` lay beyond on either side."""
    kept = (1 << (window - 1)) - 1

    def step(state: State, height: float) -> State | None:
        above, below = state
        if height > sigmas and above.bit_count() >= least - 1:
            return None
        if height < -sigmas and below.bit_count() >= least - 1:
            return None
        return ((above << 1) | (height > sigmas)) & kept, ((below << 1) | (height < -sigmas)) & kept

    return step


def _on_a_side(points: int) -> Step:
    """Remember the side and how many points in a row lie on it."""

    def step(state: State, height: float) -> State | None:
        side = 1 if height > 0 else -1
        count = state[1] + 1 if state[0] == side else 1
        return None if count >= points else (side, count)

    return step


def _fifteen_inside(state: State, height: float) -> State | None:
    count = state[0] + 1 if abs(height) <= 1 else 0
    return None if count >= 15 else (count, 0)


def _eight_outside(state: State, height: float) -> State | None:
    """Remember how many in a row lie outside (7 stands for 7 or more) and on which sides: 1 above, 2 below, 3 both."""
    if abs(height) <= 1:
        return _EMPTY
    count, sides = state[0] + 1, state[1] | (1 if height > 0 else 2)
    return None if count >= 8 and sides == 3 else (min(count, 7), sides)


_STEPS: Mapping[str, Step] = MappingProxyType(
    {
        "beyond-limit": _beyond_limit,
        "two-of-three": _some_of_the_last(2, 3, 2),
        "four-of-five": _some_of_the_last(4, 5, 1),
        "eight-on-a-side": _on_a_side(8),
        "nine-on-a-side": _on_a_side(9),
        "fifteen-inside": _fifteen_inside,
        "eight-outside": _eight_outside,
    }
)
