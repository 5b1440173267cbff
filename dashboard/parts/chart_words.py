"""What does a control chart say, told in words?"""

from __future__ import annotations

import math

from dash import dcc, html
from dash.development.base_component import Component

from analysis.charts import RULES
from analysis.findings.filters import Filters
from analysis.findings.series import Move, Point, Series
from analysis.findings.series_adjusted import WhatWasDone
from analysis.findings.series_batches import pattern_says
from analysis.findings.stability import Stability
from analysis.findings.wording import amount, change, count, day, days_between, percent
from dashboard.parts.addresses import query
from dashboard.parts.tables import Cell, Column, data_table, short_day

__all__ = [
    "caption",
    "points_table",
    "rules_words",
    "series_parts",
    "small_caption",
    "taken_out_part",
    "targets_words",
    "unit_of",
]

_MOST_POINTS = 120
_MOST_SIGNALS = 10
_ACROSS = "a fault of the line shows here before any one recipe has runs enough. Limits stand at three sigmas."


def unit_of(series: Series, finding: Stability) -> str:
    """Return the unit that a series is counted in."""
    return series.unit_of(finding.measure)


def caption(series: Series, finding: Stability) -> str:
    """Return what stands under the large chart: its centre, its limits and where they come from."""
    if series.why_not is not None:
        return f"No limits: {series.why_not}."
    if series.charted:
        unit = unit_of(series, finding)
        drawn = f"{series.charted[:1].upper()}{series.charted[1:]}"
        return f"{drawn}. {_limits(series, unit)}."
    if series.recipe is None:
        return f"Each run counts in sigmas from its own recipe’s centre: {_ACROSS}{_held(series)}"
    unit = unit_of(series, finding)
    limits = f"limits {amount(series.lower)} to {amount(series.upper, unit)}"
    baseline = series.baseline
    batches = series.phases[-1].batches if series.phases else 0
    of_batches = f" of {count(batches, 'batch', 'batches')}," if batches else " of"
    source = (
        f", from {count(len(baseline), 'run')}{of_batches} {day(baseline[0].at)} to {day(baseline[-1].at)}"
        if baseline
        else ""
    )
    last = " of its last phase" if len(series.phases) > 1 else ""
    at_baseline = "" if finding.done is None else " Each run as it would stand with the practices of these runs."
    return f"Centre{last} {amount(series.centre, unit)}, {limits}{source}.{at_baseline}"


def _held(series: Series) -> str:
    """Return which runs the centres of a line's recipes are held to, where somebody froze a baseline."""
    last = series.phases[-1] if series.phases else None
    if last is None or last.because is None or last.since is None or last.until is None:
        return ""
    runs = count(last.runs, "run")
    return f" The centres come from {runs} of {day(last.since)} to {day(last.until)}, a frozen baseline."


def _limits(series: Series, unit: str) -> str:
    """Return the limits in words; where each run has its own, those of the last."""
    of = " of the last run" if series.kinds_of_limits > max(len(series.phases), 1) else ""
    known = [(name, at) for name, at in (("lower", series.lower), ("upper", series.upper)) if math.isfinite(at)]
    if len(known) == 2:
        return f"Limits{of} {amount(series.lower)} to {amount(series.upper, unit)}"
    return f"{known[0][0].capitalize()} limit{of} {amount(known[0][1], unit)}" if known else "There is no limit"


def small_caption(series: Series) -> str:
    """Return what a small chart says in a few words."""
    if series.why_not is not None:
        return f"{count(len(series.points), 'run')}, too few for limits"
    if series.moves:
        last = series.moves[-1]
        size = percent(last.percent) if last.percent == last.percent else "moved"
        return f"{size} {'slowly from' if last.gradual else 'about'} {short_day(last.at)}"
    signals = len({signal.at for signal in series.signals})
    return count(signals, "signal") if signals else "no signal"


def series_parts(series: Series, finding: Stability) -> list[Component]:
    """Return what the chosen chart says: its cautions, its moves, its signals as a table, and its targets."""
    parts: list[Component] = [html.P(caution, className="caution") for caution in series.cautions]
    if series.several_runs is not None:
        said = series.several_runs.in_words(series.scale, unit_of(series, finding))
        parts.append(html.P(said, className="measure"))
    if series.moves:
        parts += [html.H3("When its level moved"), html.Ul([html.Li(_move(m, series, finding)) for m in series.moves])]
    if series.suggestion is not None:
        parts.append(html.P(series.suggestion, className="measure"))
    parts += [html.H3("Its signals"), _signals(series, finding)]
    return [*parts, *_targets_part(series, unit_of(series, finding))]


def _targets_part(series: Series, unit: str) -> list[Component]:
    said = targets_words(series, unit)
    if series.targets is None or not said:
        return []
    columns = (Column("Index"), Column("Value", kind="figures"), Column("95 % interval", kind="figures"))
    found = series.targets.capability
    named = (
        ("Cp, both limits, by what neighbouring runs differ", found.cp),
        ("Cpk, the nearer limit, by what neighbouring runs differ", found.cpk),
        ("Pp, both limits, by the spread over all runs", found.pp),
        ("Ppk, the nearer limit, by the spread over all runs", found.ppk),
        ("The nearer limit, by percentiles of the skewed measure", found.percentile),
    )
    rows = [
        (name, amount(one.value), f"{amount(one.low)} to {amount(one.high)}") for name, one in named if one is not None
    ]
    parts: list[Component] = [html.H3("Against its target"), html.P(said, className="measure")]
    if rows:
        table = data_table(f"How {series.name} keeps within its target", columns, rows)
        parts.append(html.Details([html.Summary("All indices"), table], className="more"))
    return parts


def targets_words(series: Series, unit: str) -> str:
    """Return how the runs keep within the targets on record, in words; nothing where there is none."""
    kept = series.targets
    if kept is None:
        return ""
    low, high, found = kept.limits.lower, kept.limits.upper, kept.capability
    sides = [f"at least {amount(low, unit)}"] if low is not None else []
    sides += [f"at most {amount(high, unit)}"] if high is not None else []
    target = f"Against your target ({' and '.join(sides)})"
    if found.why_not is not None:
        return f"{target} nothing can be said: {found.why_not}."
    shares = [
        f"{amount(100 * share, '%', digits=2)} of runs {side} it"
        for share, side in ((found.beyond_lower, "below"), (found.beyond_upper, "above"))
        if math.isfinite(share)
    ]
    said = f"{target} these runs let one expect {' and '.join(shares)}."
    if found.ppk is None:
        return said
    interval = f"95 % interval {amount(found.ppk.low, digits=2)} to {amount(found.ppk.high, digits=2)}"
    if found.ppk.value <= 0:
        return f"{said} Their mean itself lies beyond it (Ppk {amount(found.ppk.value, digits=2)}, {interval})."
    return (
        f"{said} The nearer limit lies {amount(found.ppk.value, digits=2)} times three sigmas from their mean "
        f"(Ppk, {interval}); more is better, and 1 means about one run in 740 beyond it."
    )


def taken_out_part(done: WhatWasDone | None) -> Component | None:
    """Return what the practices' model takes out of each run, as a table; nothing where the runs are as measured."""
    if done is None or not done.taken_out:
        return None
    columns = (
        Column("Practice"),
        Column("Step"),
        Column("What one step does within a recipe", kind="figures"),
    )
    rows = [
        (f"{each.spoken[:1].upper()}{each.spoken[1:]}", each.step_unit, _step(each.effect, each.relative))
        for each in done.taken_out
    ]
    return html.Details(
        [
            html.Summary("What was taken out"),
            html.P(
                "Each run is divided by what its practices let one expect against those of its baseline, by the model "
                "of the page Practices. Line, tank, format, meter and season stay in: a fault or a drift must show.",
                className="measure",
            ),
            data_table("What was taken out of each run", columns, rows),
        ],
        className="more",
    )


def _step(effect: float, relative: bool) -> str:
    return percent(effect) if relative else change(effect)


def _move(move: Move, series: Series, finding: Stability) -> list[Component | str]:
    unit = unit_of(series, finding)
    known = move.percent == move.percent
    size = percent(move.percent) if known else change(move.after - move.before, unit)
    between = f" (95 % interval {percent(move.low)} to {percent(move.high)})" if known else ""
    levels = "" if series.recipe is None else f", from {amount(move.before)} to {amount(move.after, unit)}"
    told = f"By {size}{between}{levels}. {_when(move)} {_mostly(move)}"
    begun = [phase for phase in series.phases[1:] if move.earliest <= phase.begins <= move.latest]
    told += "".join(f"A new phase begins within these dates: “{phase.because}”. " for phase in begun)
    if not move.coincides_with:
        return [told, f"Nothing {'else ' if begun else ''}on record changed then."]
    beside = "; ".join(move.coincides_with)
    return [told, f"It coincides with: {beside}. That is no proof of a cause."]


def _mostly(move: Move) -> str:
    if move.rests_on is None:
        return ""
    left = percent(move.rests_on.percent_without)
    of = (
        f"without it {left} would be left"
        if math.isfinite(move.rests_on.percent_without)
        else "without it little is left"
    )
    return f"Most of it is {move.rests_on.recipe}: {of}. "


def _when(move: Move) -> str:
    dates = days_between(move.earliest, move.latest)
    if move.gradual and move.ends is not None:
        return f"It moved slowly: it began about {day(move.at)}, {dates}, and was over about {day(move.ends)}."
    return f"It began about {day(move.at)}, {dates}. {move.undecided()}".rstrip()


def _signals(series: Series, finding: Stability) -> Component:
    if not series.signals:
        return html.P("None of the rules that are on has found anything.", className="soft")
    columns = (
        Column("Packed"),
        Column("Run"),
        Column("Batch"),
        Column("Value", kind="figures"),
        Column("What it says", kind="prose"),
    )
    rows: list[tuple[Cell, ...]] = []
    for signal in reversed(series.signals):
        point = series.points[signal.at]
        rows.append((*_point_cells(point, series, finding), _says(signal.says, signal.side)))
    latest = data_table(f"Signals of {series.name}", columns, rows[:_MOST_SIGNALS])
    if len(rows) <= _MOST_SIGNALS:
        return latest
    earlier = data_table(f"Earlier signals of {series.name}", columns, rows[_MOST_SIGNALS:])
    summary = html.Summary(f"{count(len(rows) - _MOST_SIGNALS, 'earlier signal')}")
    return html.Div([latest, html.Details([summary, earlier], className="more")])


def _says(words: str, side: int) -> str:
    where = {1: ", above", -1: ", below"}.get(side, "")
    return f"{words[:1].upper()}{words[1:]}{where}"


def _point_cells(point: Point, series: Series, finding: Stability) -> tuple[Cell, ...]:
    sign = {-1: "<", 1: ">"}.get(point.censored, "")
    run: Cell = dcc.Link(point.run, href=f"/packs{query(Filters(), run=point.run)}") if point.run else ""
    return short_day(point.at), run, point.batch, f"{sign}{amount(point.value, unit_of(series, finding))}"


def points_table(series: Series, finding: Stability) -> Component:
    """Return the chart's numbers as a table, the latest first."""
    columns = (
        Column("Packed"),
        Column("Run"),
        Column("Batch"),
        Column("Value", kind="figures"),
        Column("Signals", kind="prose"),
    )
    latest = series.points[::-1][:_MOST_POINTS]
    of_batches = series.several_runs is not None
    rows = [
        (*_point_cells(point, series, finding), ", ".join(pattern_says(code, of_batches) for code in point.signals))
        for point in latest
    ]
    table = data_table(f"All runs of {series.name}", columns, rows)
    left = len(series.points) - len(latest)
    return (
        html.Div([table, html.P(f"{left:,} earlier runs are in the file below.", className="soft")]) if left else table
    )


def rules_words(finding: Stability) -> str:
    """Return which rules are on and how often they cry wolf."""
    said = "; ".join(RULES[code].says for code in finding.rules)
    several = any(series.several_runs is not None for series in (*finding.series, *finding.across))
    batches = (
        " It is no more often where a batch is packaged in several runs: patterns of several points then count batches."
    )
    often = amount(finding.runs_between_alarms, "runs", digits=2)
    return (
        f"A point is a signal when it completes one of these: {said}. While nothing moves, that happens by chance "
        f"about once in {often} of a series.{batches if several else ''}"
    )
