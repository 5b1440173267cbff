"""Which signals of one chart are one and the same matter?

A run of nine on one side is nine patterns, and a move of the level brings a handful of rules with it: people answer
them once. What was decided, each with a test:

- A move of the level and every pattern on its side, until the next move, are one stretch. A move that brings a harmful
  level back by half or more ends the stretch before it and is no matter of its own; any other move begins a new one.
- A phase that a person begins ends the stretch before it: what comes after has limits of its own.
- Where the limits were made from runs on both sides of a move, patterns before it on the other side say the same thing
  and belong to it; so do those in the first half of a slow climb.
- What is left are patterns without a lasting move: those on the same side with no more than four runs between them are
  one stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.findings.series import Move, Series, SignalFound
from analysis.vocabulary import Measure

__all__ = ["MOST_RUNS_BETWEEN", "Stretch", "harms", "stretches"]

MOST_RUNS_BETWEEN = 4
_BACK = 0.5


@dataclass(frozen=True)
class Stretch:
    """The points ``first`` to ``last`` of a chart (from 0, both included), what said so, and the move that ended it.

    ``move`` is None where it is made of patterns alone; ``before`` is the point where the level before the move begins.
    """

    first: int
    last: int
    side: int
    move: Move | None
    ended_by: Move | None
    signals: tuple[SignalFound, ...]
    before: int = 0

    @property
    def middle(self) -> float:
        """The middle of its points."""
        return (self.first + self.last) / 2


def harms(side: int, measure: Measure) -> bool:
    """Return whether going to a side is for the worse."""
    return measure.worse == "outside" or side == (1 if measure.worse == "higher" else -1)


def stretches(series: Series, measure: Measure) -> tuple[Stretch, ...]:
    """Return the stretches of a chart, in the order of their first runs; none where it has no limits."""
    if series.why_not is not None:
        return ()
    moved = [_until_a_new_phase(one, series) for one in _of_moves(series, measure)]
    taken: list[list[SignalFound]] = [[] for _ in moved]
    left: list[SignalFound] = []
    for signal in series.signals:
        place = next((n for n, one in enumerate(moved) if _belongs(signal, one, series)), None)
        (left if place is None else taken[place]).append(signal)
    joined = [replace(one, signals=tuple(own)) for one, own in zip(moved, taken, strict=True)]
    return tuple(sorted([*joined, *_of_patterns(left)], key=lambda one: (one.first, one.last)))


def _of_moves(series: Series, measure: Measure) -> list[Stretch]:
    """Return a stretch for every move that begins something."""
    end = len(series.points)
    edges = [0, *(move.point for move in series.moves), end]
    found: list[Stretch] = []
    for place, move in enumerate(series.moves):
        side = 1 if move.after > move.before else -1
        last = edges[place + 2] - 1
        previous = found[-1] if found and found[-1].last == move.point - 1 else None
        if previous is not None and previous.side != side and harms(previous.side, measure) and _back(previous, move):
            found[-1] = replace(previous, ended_by=move)
            continue
        found.append(Stretch(move.point, last, side, move, None, (), edges[place]))
    return found


def _until_a_new_phase(stretch: Stretch, series: Series) -> Stretch:
    """Return a stretch without the runs of a phase that a person began after it: those have limits of their own."""
    begins = [phase.begins for phase in series.phases[1:] if phase.because is not None]
    places = [place for place in range(stretch.first, stretch.last + 1) if series.points[place].at in begins]
    return replace(stretch, last=max(places[0] - 1, stretch.first)) if places else stretch


def _back(stretch: Stretch, move: Move) -> bool:
    """Return whether a move takes back at least half of what a stretch brought."""
    if stretch.move is None:
        return False
    gone = stretch.move.after - stretch.move.before
    return (move.before - move.after) / gone >= _BACK if gone else False


def _belongs(signal: SignalFound, stretch: Stretch, series: Series) -> bool:
    if signal.side == stretch.side:
        return signal.at >= stretch.first and signal.start <= stretch.last
    if stretch.move is not None and stretch.move.gradual:
        return signal.side == -stretch.side and signal.start >= stretch.before and signal.at < stretch.middle
    reaches = not series.baseline or series.baseline[-1].at >= series.points[stretch.first].at
    return reaches and signal.side == -stretch.side and stretch.before <= signal.start and signal.at < stretch.first


def _of_patterns(signals: Sequence[SignalFound]) -> list[Stretch]:
    found: list[Stretch] = []
    for side in (1, -1, 0):
        own: Stretch | None = None
        for signal in sorted((one for one in signals if one.side == side), key=lambda one: (one.start, one.at)):
            if own is not None and signal.start - own.last - 1 <= MOST_RUNS_BETWEEN:
                own = replace(own, last=max(own.last, signal.at), signals=(*own.signals, signal))
                found[-1] = own
                continue
            own = Stretch(signal.start, signal.at, side, None, None, (signal,))
            found.append(own)
    return found
