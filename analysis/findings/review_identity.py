"""Which matter on the charts today is the one that people spoke about before?

Later runs and corrected records move a matter's edges: a single run beyond a limit turns out to be the third run of a
shift. A matter is the one spoken of before if it is on the same chart and the same side and begins with the same run,
or else if it shares most runs with it. It then keeps the name under which it was first spoken of, and every answer
given under any name of it. A run whose number was used again since goes by another name, and is known all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from analysis.findings.review_matters import Matter
from analysis.findings.review_seen import MatterKey, SeenMatter
from analysis.findings.run_names import names_today

__all__ = ["Named", "named", "runs_today"]


@dataclass(frozen=True)
class Named:
    """A matter under the name that it was first spoken of by, or its own, and all codes that it has gone by.

    ``matter`` is None for one that was spoken of and is on no chart any more; ``last_seen`` is None for a new one.
    """

    key: MatterKey
    codes: frozenset[str]
    matter: Matter | None
    last_seen: SeenMatter | None


def named(matters: Sequence[Matter], spoken_of: Iterable[SeenMatter]) -> tuple[Named, ...]:
    """Return today's matters by their lasting names, in order, and then those that are gone.

    Parameters
    ----------
    matters : sequence of Matter
        Today's, worst first.
    spoken_of : iterable of SeenMatter
        What was seen with every answer and closed review, in the order in which people spoke.
    """
    known: dict[str, list[SeenMatter]] = {}
    for seen in spoken_of:
        known.setdefault(seen.key.code, []).append(seen)
    taken: dict[int, list[str]] = {}
    gone: list[str] = []
    for code, times in known.items():
        place = _match(matters, times)
        if place is None:
            gone.append(code)
        else:
            taken.setdefault(place, []).append(code)
    found = [_named(matter, taken.get(place, []), known) for place, matter in enumerate(matters)]
    lost = [Named(known[code][-1].key, frozenset({code}), None, known[code][-1]) for code in gone]
    return (*found, *lost)


def _named(matter: Matter, codes: Sequence[str], known: dict[str, list[SeenMatter]]) -> Named:
    if not codes:
        return Named(matter.key, frozenset({matter.key.code}), matter, None)
    first = known[codes[0]][0].key
    kept = replace(matter, key=first)
    latest = max((known[code][-1] for code in codes), key=lambda seen: len(seen.runs))
    return Named(first, frozenset({*codes, matter.key.code}), kept, latest)


def _match(matters: Sequence[Matter], times: Sequence[SeenMatter]) -> int | None:
    key = times[0].key
    best, most = None, 0
    for place, matter in enumerate(matters):
        if matter.key.chart != key.chart or matter.key.side != key.side:
            continue
        runs = {run for seen in times for run in runs_today(seen, matter)}
        if runs_today(times[0], matter, (key.first,)) == (matter.key.first,):
            return place
        shared = len(runs.intersection(matter.runs))
        if shared > most:
            best, most = place, shared
    return best


def runs_today(seen: SeenMatter, matter: Matter, runs: Sequence[str] | None = None) -> tuple[str, ...]:
    """Return what a matter's runs, as they were seen, are called today on another matter's chart."""
    named = seen.runs if runs is None else tuple(runs)
    today = names_today(named, matter.chart["label"], matter.chart["at"], since=seen.since.date())
    return tuple(today[run] for run in named)
