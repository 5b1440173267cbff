"""How is a matter of the weekly review told to a brewer?"""

from __future__ import annotations

import math
from dataclasses import replace

from analysis.findings.review_matters import Matter
from analysis.findings.review_seen import SeenMatter, SeenPoint
from analysis.findings.series import Move, Series
from analysis.findings.wording import amount, change, count, day, days_between, listing, percent

__all__ = ["cut", "cut_series", "headline", "limits_in_words", "seen", "since_in_words", "told"]

RUNS_BESIDE = 12


def headline(matter: Matter) -> str:
    """Return a matter's size in a few words: ``+25.3 µg/L (+35 %)``."""
    size = matter.size
    share = f" ({percent(size.percent)})" if math.isfinite(size.percent) else ""
    return f"{change(size.change, matter.measure.unit)}{share}"


def since_in_words(matter: Matter) -> str:
    """Return since when: ``21 January 2026 to 9 June 2026``, ``since 27 April 2026`` or the day of a single run."""
    began = matter.series.points[matter.stretch.first].at
    if matter.lasts and len(matter.runs) > 1:
        return f"since {day(began)}"
    ended = matter.stretch.ended_by
    if len(matter.runs) == 1:
        return day(began)
    return f"{day(began)} to {day(matter.series.points[matter.stretch.last].at if ended is None else ended.at)}"


def told(matter: Matter) -> str:
    """Return the matter in a sentence or two: how large, since when, and whether it is over."""
    move = matter.stretch.move
    if move is not None:
        return f"{_moved(matter, move)} {_end(matter)}"
    return _single(matter) if len(matter.runs) == 1 else f"{_stretch(matter)} {_end(matter)}"


def _moved(matter: Matter, move: Move) -> str:
    size, unit = matter.size, matter.measure.unit
    way = "rose" if size.change > 0 else "fell"
    by = f"by {_far(matter)}, from {amount(size.before)} to {amount(size.after, unit)}"
    if move.gradual:
        until = "" if move.ends is None else f" to about {day(move.ends)}"
        return f"The level {way} slowly {by}, from about {day(move.at)}{until}."
    when = f"about {day(move.at)} ({days_between(move.earliest, move.latest)})"
    return f"The level {way} {by}, {when}. {move.undecided()}".rstrip()


def _far(matter: Matter) -> str:
    """Return the size without its direction: ``25.3 µg/L (+35 %; 95 % interval +16.2 to +35.3 µg/L)``."""
    size, unit = matter.size, matter.measure.unit
    beside = [percent(size.percent)] if math.isfinite(size.percent) else []
    if math.isfinite(size.low):
        beside.append(f"95 % interval {change(size.low)} to {change(size.high, unit)}")
    brackets = f" ({'; '.join(beside)})" if beside else ""
    return f"{amount(abs(size.change), unit)}{brackets}"


def _usual(matter: Matter) -> str:
    way = "above" if matter.size.change > 0 else "below"
    return f"{way} the usual {amount(matter.size.before, matter.measure.unit)}"


def _single(matter: Matter) -> str:
    point = matter.series.points[matter.stretch.first]
    name = f"Run {point.run}" if point.run else f"Batch {point.batch}"
    read = amount(matter.size.after, matter.measure.unit)
    why = f": {_rules(matter)}" if matter.stretch.signals else ""
    return f"{name} of {day(point.at)} read {read}, {_far(matter)} {_usual(matter)}{why}."


def _stretch(matter: Matter) -> str:
    points = matter.series.points
    first, last = points[matter.stretch.first].at, points[matter.stretch.last].at
    runs = count(len(matter.runs), "run")
    return f"{runs} of {day(first)} to {day(last)} lie {_far(matter)} {_usual(matter)}: {_rules(matter)}."


def _rules(matter: Matter) -> str:
    return listing(list(dict.fromkeys(signal.says for signal in matter.stretch.signals)))


def _end(matter: Matter) -> str:
    ended = matter.stretch.ended_by
    runs = count(len(matter.runs), "run stood", "runs stood")
    if ended is not None:
        size = f" ({percent(ended.percent)})" if math.isfinite(ended.percent) else ""
        return f"It came back about {day(ended.at)}{size}; {runs} so until then."
    if matter.lasts and matter.stretch.move is None:
        return "The latest run belongs to it."
    if matter.lasts and matter.stretch.move is not None:
        until_now = count(len(matter.runs), "run")
        return "It has not come back." if matter.stretch.move.gradual else f"It still stands so: {until_now} until now."
    after = len(matter.series.points) - 1 - matter.stretch.last
    following = matter.series.points[matter.stretch.last + 1].at
    if any(phase.begins == following and phase.because is not None for phase in matter.series.phases):
        return f"A new phase was begun on {day(following)}: from there on the chart has limits of its own."
    if matter.stretch.move is not None:
        return f"After {count(len(matter.runs), 'run')} the level moved again."
    return f"{count(after, 'later run is', 'later runs are')} without it."


def limits_in_words(matter: Matter) -> str:
    """Return the centre and limits of a matter's chart, in its own unit."""
    series = matter.series
    if series.recipe is None:
        return "Each run counts in sigmas from its own recipe’s centre; the limits stand at three."
    unit = matter.measure.unit
    return f"Centre {amount(series.centre, unit)}, limits {amount(series.lower)} to {amount(series.upper, unit)}."


def cut(matter: Matter, beside: int = RUNS_BESIDE) -> tuple[SeenPoint, ...]:
    """Return the points of a matter's chart with some runs before it and after it."""
    first, last = matter.stretch.first, matter.stretch.last
    start = max(first - beside, 0)
    shown = matter.series.points[start : last + 1 + beside]
    return tuple(
        SeenPoint(
            point.run or point.batch, point.at.to_pydatetime(), point.value, *_lines(matter, place),
            first <= place <= last, bool(point.signals),
        )
        for place, point in enumerate(shown, start=start)
    )  # fmt: skip


def _lines(matter: Matter, place: int) -> tuple[float, float, float]:
    series, point = matter.series, matter.series.points[place]
    if math.isfinite(point.centre):
        return point.centre, point.lower, point.upper
    return series.centre, series.lower, series.upper


def seen(matter: Matter, done: tuple[str, ...] = (), meters: tuple[str, ...] = ()) -> SeenMatter:
    """Return what is kept of a matter when people speak about it."""
    across = matter.series.recipe is None
    return SeenMatter(
        key=matter.key,
        told=told(matter),
        runs=matter.runs,
        since=matter.series.points[matter.stretch.first].at.to_pydatetime(),
        change=matter.size.change,
        unit=matter.measure.unit,
        percent=matter.size.percent,
        lasts=matter.lasts,
        log=matter.series.scale == "log" and not across,
        chart_unit="σ" if across else matter.measure.unit,
        points=cut(matter),
        done=done,
        meters=meters,
    )


def cut_series(matter: Matter, beside: int = RUNS_BESIDE) -> Series:
    """Return a matter's chart with only some runs before it and after it."""
    first, last = matter.stretch.first, matter.stretch.last
    start, end = max(first - beside, 0), min(last + 1 + beside, len(matter.series.points))
    series = matter.series
    return replace(
        series,
        points=series.points[start:end],
        signals=tuple(
            replace(signal, start=max(signal.start - start, 0), at=signal.at - start)
            for signal in series.signals
            if start <= signal.at < end
        ),
        moves=tuple(replace(move, point=move.point - start) for move in series.moves if start <= move.point < end),
        after_memory=series.after_memory[start:end],
    )
