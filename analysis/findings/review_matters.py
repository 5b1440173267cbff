"""Which matters are on the charts: every signal of every measure, stage, recipe, format and line, worst first?

Worst is what does most harm. What goes the worse way in the finished pack comes first, then what goes the worse way
before the pack, then what goes the better way. Within each, harm is the runs concerned times their distance from the
usual level, counted in the smallest difference that matters (the brewery's own margin, or the working default). The
runs of a slow climb count half: that is how far they stand on average.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from analysis.findings.baselines import FrozenPhase
from analysis.findings.margins import margin_for, margins_on_record
from analysis.findings.review_seen import MatterKey
from analysis.findings.review_sizes import Size, chart_runs, size_of
from analysis.findings.review_stretches import Stretch, harms, stretches
from analysis.findings.run_values import run_values
from analysis.findings.series import Series
from analysis.findings.stability import stability
from analysis.linking import PackTable
from analysis.vocabulary import MEASURES, STAGES, Measure

__all__ = ["Matter", "charted", "matters_on_record"]


@dataclass(frozen=True, eq=False)
class Matter:
    """One matter: signals of one chart that belong together.

    ``chart`` has one row a point of the chart, as from ``chart_runs``. ``harm`` is what the order goes by: runs times
    margins, negative where it goes the better way.
    """

    key: MatterKey
    measure: Measure
    series: Series
    stretch: Stretch
    size: Size
    chart: pd.DataFrame
    margin: float
    harm: float

    @cached_property
    def runs(self) -> tuple[str, ...]:
        """Its runs in order, from first to last."""
        return tuple(self.chart["label"].iloc[self.stretch.first : self.stretch.last + 1])

    @property
    def lasts(self) -> bool:
        """Whether the latest run of the chart belongs to it."""
        return self.stretch.last == len(self.series.points) - 1

    @property
    def harmful(self) -> bool:
        """Whether it goes the worse way."""
        return self.harm >= 0

    @property
    def recipes(self) -> frozenset[str]:
        """The recipes of its runs."""
        own = self.chart["recipe"].iloc[self.stretch.first : self.stretch.last + 1]
        return frozenset(str(recipe) for recipe in own.dropna())


def charted(table: PackTable) -> tuple[tuple[str, str], ...]:
    """Return every measure and stage with a reading, the panel's scores last."""
    found = [(name, "pack") for name in table.measures]
    if len(table.readings):
        read = table.readings[["quantity", "stage"]].astype("str").drop_duplicates()
        pairs = set(read.itertuples(index=False, name=None))
        found += [(name, stage) for stage in STAGES[:-1] for name in MEASURES if (name, stage) in pairs]
    if len(table.tastings):
        found += [(str(name), "pack") for name in sorted(table.tastings["attribute"].dropna().unique())]
    return tuple(dict.fromkeys(found))


def matters_on_record(table: PackTable, phases: Sequence[FrozenPhase] = ()) -> tuple[Matter, ...]:
    """Return every matter on the charts, worst first.

    Parameters
    ----------
    table : PackTable
    phases : sequence of FrozenPhase
        The baselines that a person froze.
    """
    found = [matter for name, stage in charted(table) for matter in _matters(table, name, stage, phases)]
    return tuple(sorted(found, key=lambda one: (_part(one), -abs(one.harm), one.key.title, one.key.first)))


def _part(matter: Matter) -> int:
    if not matter.harmful:
        return 2
    return 0 if matter.key.stage == "pack" else 1


def _matters(table: PackTable, name: str, stage: str, phases: Sequence[FrozenPhase]) -> list[Matter]:
    finding = stability(table, name, stage, phases=phases)
    charts = [one for one in (*finding.series, *finding.across) if one.signals or one.moves]
    if not charts:
        return []
    runs = run_values(table, name, stage).runs
    made = []
    for series in charts:
        own = chart_runs(series, runs)
        made += [
            _matter(table, finding.measure, stage, series, stretch, own)
            for stretch in stretches(series, finding.measure)
        ]
    return [matter for matter in made if matter is not None]


def _matter(
    table: PackTable, asked: Measure, stage: str, series: Series, stretch: Stretch, chart: pd.DataFrame
) -> Matter | None:
    size = size_of(series, stretch, chart, log=asked.scale == "log")
    if size is None:
        return None
    first = str(chart["label"].iloc[stretch.first])
    key = MatterKey(asked.name, stage, series.recipe, series.format, series.line, first, stretch.side)
    margin = _margin(table, asked, series, size)
    climbs = stretch.move is not None and stretch.move.gradual
    concerned = (stretch.last - stretch.first + 1) * (0.5 if climbs else 1.0)
    weight = concerned * abs(size.on_scale) / margin
    return Matter(key, asked, series, stretch, size, chart, margin, weight if _goes_worse(asked, size) else -weight)


def _goes_worse(asked: Measure, size: Size) -> bool:
    return harms(1 if size.change > 0 else -1, asked)


def _margin(table: PackTable, asked: Measure, series: Series, size: Size) -> float:
    """Return the smallest difference that matters at the usual level, on the measure's scale."""
    on_record = margins_on_record(table.targets, asked.name, series.format)
    log = asked.scale == "log"
    level = size.before if size.before > 0 or not log else 1.0
    return margin_for(on_record, asked.name, {series.recipe or "": level}, log=log).above
