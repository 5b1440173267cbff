"""Which chart stands large on the page of charts, and as what is it drawn?"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.findings.series import Series
from analysis.findings.series_after_memory import after_memory_chart
from analysis.findings.series_slow import SlowMoves, slow_moves
from analysis.findings.series_within import within_chart
from analysis.findings.stability import Stability
from analysis.linking import PackTable
from dashboard.parts.chart_choices import Asked

__all__ = ["ChartsView", "view"]


@dataclass(frozen=True)
class ChartsView:
    """The charts of one measure with one of them chosen; ``chosen`` is None where there is none.

    ``large`` is the chosen chart as it is drawn large: itself, or what was made of it. ``said`` are sentences that go
    with that, such as why it is drawn as it is.
    """

    finding: Stability
    chosen: Series | None
    large: Series | None
    slow: SlowMoves | None = None
    said: tuple[str, ...] = ()

    @property
    def all_series(self) -> tuple[Series, ...]:
        """Every chart: by recipe and format, then by line across recipes."""
        return (*self.finding.series, *self.finding.across)


def view(finding: Stability, name: object, asked: Asked | None = None, table: PackTable | None = None) -> ChartsView:
    """Return the charts with the named one chosen, or the one that moved most where the name is none of theirs.

    Parameters
    ----------
    finding : Stability
    name : object
        What the browser says that is chosen.
    asked : Asked, optional
        How it is drawn large; as measured where it is not given.
    table : PackTable, optional
        Where single packs are looked up.
    """
    series = (*finding.series, *finding.across)
    named = next((one for one in series if one.name == name), None)
    chosen = named or max(series, key=_standing_out, default=None)
    if chosen is None or asked is None:
        return ChartsView(finding, chosen, chosen)
    if asked.drawn == "memory":
        left = after_memory_chart(chosen)
        return ChartsView(finding, chosen, left or chosen, None, () if left is not None else (_no_memory(chosen),))
    if asked.drawn == "within" and table is not None:
        within = within_chart(table, finding.measure, finding.stage, chosen)
        return ChartsView(finding, chosen, within.chart or chosen, None, within.sentences)
    if asked.drawn == "slow":
        return _slow_view(finding, chosen, asked)
    return ChartsView(finding, chosen, chosen)


def _slow_view(finding: Stability, chosen: Series, asked: Asked) -> ChartsView:
    if asked.slow is None:
        return ChartsView(finding, chosen, chosen, None, (f"This cannot be asked: {asked.why_not}.",))
    slow = slow_moves(chosen, asked.slow)
    if slow.chart is None:
        return ChartsView(finding, chosen, chosen, slow, (f"The runs are drawn as measured: {slow.why_not}.",))
    return ChartsView(finding, chosen, slow.chart, slow, slow.sentences)


def _no_memory(series: Series) -> str:
    drawn = "the runs are drawn as measured."
    if series.recipe is None:
        return f"Across recipes the run before is another beer: choose a chart of one recipe. Until then {drawn}"
    one, many = ("run", "runs") if series.several_runs is None else ("batch", "batches")
    if series.correlation != series.correlation:
        return f"There are too few {many} to tell whether a {one} is like the one before it: {drawn}"
    if any(point.censored for point in series.points):
        return f"Some runs lie beyond the meter’s range, and how far the next lies from those is not known: {drawn}"
    like = f"{series.correlation:.2f}".replace("-", "−")
    return (
        f"It is not shown that a {one} is like the one before it (correlation {like}), so there is nothing to take "
        f"out: {drawn}"
    )


def _standing_out(series: Series) -> tuple[float, bool, int, int]:
    """Return by how much a series stands out: its largest move; then one recipe's before a line's, by its signals."""
    moved = max((abs(move.percent) for move in series.moves if move.percent == move.percent), default=0.0)
    return moved, series.recipe is not None, len(series.signals), len(series.points)
