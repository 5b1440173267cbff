"""Which points say that something changed?

What was decided, each with a test:

- A point on a limit is inside it; a point on the centre line is on neither side and breaks a run. "On" means nearer
  than 1e-9 sigma.
- The rules that count some of the last few points want them on the same side, and the newest of them in the zone. A
  point beyond three sigma counts toward them (the form that the run-length theory uses).
- A tie breaks a trend and an alternation.
- The point that completes a pattern is marked; the pattern behind it is kept, so that it can be shaded.
- A gap (a missing run) and a new phase start every pattern anew.
- Every rule that fired is kept, not only the worst.

Source: Shewhart 1931, "Economic Control of Quality of Manufactured Product"; Western Electric 1956, "Statistical
Quality Control Handbook"; Nelson 1984, "The Shewhart control chart: tests for special causes", J. Qual. Technol. 16.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, as_flags, as_phases, as_series
from analysis.charts.run_patterns import FINDERS, Completed, Stretch

__all__ = [
    "ALL_RULES",
    "FIRST_RULES",
    "LIMIT_ONLY",
    "RULES",
    "WESTERN_ELECTRIC",
    "RuleSignals",
    "RunRule",
    "Signal",
    "Signals",
    "checked_rules",
    "run_signals",
]

_SHEWHART = "Shewhart 1931"
_WESTERN_ELECTRIC = "Western Electric 1956"
_NELSON = "Nelson 1984"


@dataclass(frozen=True)
class RunRule:
    """One rule: its kept ``code``, what it ``says`` in words, how many points its pattern has, where it was published.

    ``zones_only`` is false for the rules that look at the order of neighbours and not at zones: their run length in
    control has no finite Markov chain and is simulated.
    """

    code: str
    says: str
    points: int
    source: str
    zones_only: bool = True


@dataclass(frozen=True)
class Signal:
    """One pattern: the point that completes it, the point that it starts with (both from 0), the rule, the side.

    ``side`` is 1 above, -1 below, 0 where the pattern has no side.
    """

    at: int
    start: int
    rule: str
    side: int


@dataclass(frozen=True, eq=False)
class RuleSignals:
    """Every pattern that one rule found: ``at``, ``start`` and ``side``, shape (k,), as in ``Signal``."""

    rule: str
    at: IntArray
    start: IntArray
    side: IntArray


@dataclass(frozen=True, eq=False)
class Signals:
    """What each rule found over n points; ``by_rule`` has an entry for each rule that was on, also if it found none."""

    n: int
    by_rule: tuple[RuleSignals, ...]

    @property
    def rules(self) -> tuple[str, ...]:
        """The codes of the rules that were on."""
        return tuple(found.rule for found in self.by_rule)

    @property
    def points(self) -> IntArray:
        """The points that complete at least one pattern, in order, from 0."""
        if not self.by_rule:
            return np.empty(0, dtype=np.int64)
        return np.unique(np.concatenate([found.at for found in self.by_rule]))

    @property
    def first(self) -> int | None:
        """The first point that completes a pattern, or None."""
        points = self.points
        return int(points[0]) if points.size else None

    def of(self, rule: str) -> RuleSignals:
        """Return what one rule found; raise ``ValueError`` where that rule was not on."""
        for found in self.by_rule:
            if found.rule == rule:
                return found
        raise ValueError(f"Signals.of: rule must be one of {', '.join(self.rules)}, got {rule!r}")

    def codes(self) -> tuple[tuple[str, ...], ...]:
        """Return, for each of the n points, the codes of the rules that it completes."""
        codes: list[list[str]] = [[] for _ in range(self.n)]
        for found in self.by_rule:
            for at in found.at.tolist():
                codes[at].append(found.rule)
        return tuple(tuple(point) for point in codes)

    def listed(self) -> tuple[Signal, ...]:
        """Return the patterns one by one, in the order of their completing points."""
        signals = [
            Signal(at, start, found.rule, side)
            for found in self.by_rule
            for at, start, side in zip(found.at.tolist(), found.start.tolist(), found.side.tolist(), strict=True)
        ]
        return tuple(sorted(signals, key=lambda signal: signal.at))


_RULES = (
    RunRule("beyond-limit", "one point beyond a limit", 1, _SHEWHART),
    RunRule("two-of-three", "two of three points beyond two sigma on one side", 3, _WESTERN_ELECTRIC),
    RunRule("four-of-five", "four of five points beyond one sigma on one side", 5, _WESTERN_ELECTRIC),
    RunRule("eight-on-a-side", "eight points in a row on one side of the centre", 8, _WESTERN_ELECTRIC),
    RunRule("nine-on-a-side", "nine points in a row on one side of the centre", 9, _NELSON),
    RunRule("six-in-a-trend", "six points in a row rising or falling", 6, _NELSON, zones_only=False),
    RunRule("fourteen-alternating", "fourteen points in a row alternating up and down", 14, _NELSON, zones_only=False),
    RunRule("fifteen-inside", "fifteen points in a row within one sigma of the centre", 15, _NELSON),
    RunRule("eight-outside", "eight points in a row beyond one sigma, on both sides", 8, _NELSON),
)

RULES: Mapping[str, RunRule] = MappingProxyType({rule.code: rule for rule in _RULES})
LIMIT_ONLY = ("beyond-limit",)
FIRST_RULES = ("beyond-limit", "nine-on-a-side")
WESTERN_ELECTRIC = ("beyond-limit", "two-of-three", "four-of-five", "eight-on-a-side")
ALL_RULES = (
    "beyond-limit",
    "two-of-three",
    "four-of-five",
    "nine-on-a-side",
    "six-in-a-trend",
    "fourteen-alternating",
    "fifteen-inside",
    "eight-outside",
)


def run_signals(
    z: ArrayLike,
    rules: Iterable[str] = FIRST_RULES,
    *,
    phases: ArrayLike | None = None,
    above: ArrayLike | None = None,
    below: ArrayLike | None = None,
) -> Signals:
    """Return the patterns that the chosen rules find.

    Parameters
    ----------
    z : array, shape (n,)
        Distance of each point from its centre line in sigmas; NaN where a run is missing.
    rules : iterable of str
        Codes of ``RULES``; each is switched on by being named.
    phases : array of int, shape (n,), optional
        Phase of each point; patterns start anew with each phase.
    above, below : array of bool, shape (n,), optional
        Which points are beyond their own limits, where those are not at three sigma (probability limits, a limit that
        there is not). Without them, beyond three sigma.

    Raises
    ------
    ValueError
        If a rule is not one of ``RULES``.
    """
    series = as_series(z, "z")
    n = series.size
    chosen = checked_rules(rules)
    beyond = _beyond_limits(above, below, n)
    found: dict[str, list[RuleSignals]] = {rule: [] for rule in chosen}
    for start, stop in _stretches(series, as_phases(phases, n)):
        limits = None if beyond is None else (beyond[0][start:stop], beyond[1][start:stop])
        stretch = Stretch(series[start:stop], limits)
        for rule in chosen:
            found[rule].append(_located(rule, start, FINDERS[rule](stretch)))
    return Signals(n, tuple(_joined(rule, parts) for rule, parts in found.items()))


def checked_rules(rules: Iterable[str]) -> tuple[str, ...]:
    """Return the codes of the rules that are on, each once; raise ``ValueError`` where one is not in ``RULES``."""
    chosen = tuple(dict.fromkeys(rules))
    unknown = [rule for rule in chosen if rule not in RULES]
    if unknown:
        raise ValueError(f"rules must be among {', '.join(RULES)}, got {', '.join(map(repr, unknown))}")
    return chosen


def _stretches(z: FloatArray, phases: IntArray) -> list[tuple[int, int]]:
    """Return (start, stop) of the stretches that neither a gap nor a new phase interrupts."""
    present = ~np.isnan(z)
    if present.all() and (phases.size == 0 or phases[0] == phases[-1]):
        return [(0, z.size)] if z.size else []
    joined = present[1:] & present[:-1] & (phases[1:] == phases[:-1])
    starts = np.flatnonzero(present & np.concatenate([[True], ~joined]))
    stops = np.flatnonzero(present & np.concatenate([~joined, [True]])) + 1
    return list(zip(starts.tolist(), stops.tolist(), strict=True))


def _beyond_limits(above: ArrayLike | None, below: ArrayLike | None, n: int) -> tuple[BoolArray, BoolArray] | None:
    if above is None and below is None:
        return None
    return as_flags(above, n, "above", default=False), as_flags(below, n, "below", default=False)


def _located(rule: str, offset: int, sides: tuple[Completed, ...]) -> RuleSignals:
    """Return where the patterns of one stretch stand in the whole series."""
    reach = RULES[rule].points - 1
    at = np.concatenate([np.flatnonzero(flags) for _, flags in sides])
    side = np.concatenate([np.full(int(np.count_nonzero(flags)), sign) for sign, flags in sides])
    if len(sides) > 1:
        order = np.argsort(at, kind="stable")
        at, side = at[order], side[order]
    return RuleSignals(rule, at + offset, np.maximum(at - reach, 0) + offset, side)


def _joined(rule: str, parts: list[RuleSignals]) -> RuleSignals:
    if len(parts) == 1:
        return parts[0]
    nothing = np.empty(0, dtype=np.int64)
    return RuleSignals(
        rule,
        np.concatenate([nothing, *(part.at for part in parts)]),
        np.concatenate([nothing, *(part.start for part in parts)]),
        np.concatenate([nothing, *(part.side for part in parts)]),
    )
