"""Is it stable? What moved, when, and what was done differently?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from analysis.charts import FIRST_RULES, RULES, run_length
from analysis.findings.baselines import BASELINE_RUNS, FrozenPhase, phases_of
from analysis.findings.filters import Filters
from analysis.findings.practice_words import spoken
from analysis.findings.run_values import run_values
from analysis.findings.series import Move, Series
from analysis.findings.series_across import across_recipes
from analysis.findings.series_adjusted import WhatWasDone, made_alike
from analysis.findings.series_batches import SEVERAL_RUNS
from analysis.findings.series_charting import series_of
from analysis.findings.series_shown import shown
from analysis.findings.series_slow import SlowAsk, SlowMoves, slow_moves
from analysis.findings.series_targets import targets_on_record
from analysis.findings.wording import amount, change, count, day, days_between, listing, percent
from analysis.linking import PackTable
from analysis.vocabulary import Measure, Practice
from analysis.vocabulary import measure as measure_of

__all__ = ["Stability", "stability"]

_QUESTION = "Is {measure} stable?"
_METER = Practice("meter", "Meter", "", "category", 1, "", "category", source="readings")
_MOST_TOLD = 3


@dataclass(frozen=True)
class Stability:
    """The charts of a measure, one a recipe and format, and one a line across recipes.

    ``runs_between_alarms`` is how many runs pass on average between false alarms of ``rules`` while nothing moves.
    ``done`` says what was taken out of the runs by the practices' model, None where they are charted as measured.
    ``slow`` has, for each of ``series`` by name, which charts find a slow move, where that was asked.
    """

    question: str
    answer: str
    measure: Measure
    stage: str
    series: tuple[Series, ...]
    across: tuple[Series, ...]
    rules: tuple[str, ...]
    runs_between_alarms: float
    ledger_state: int
    filters: Filters
    cautions: tuple[str, ...]
    done: WhatWasDone | None = None
    slow: tuple[tuple[str, SlowMoves], ...] = ()

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        return {
            "question": self.question,
            "answer": self.answer,
            "measure": self.measure.name,
            "unit": self.measure.unit,
            "stage": self.stage,
            "adjusted": None if self.done is None else self.done.as_document(),
            "series": [self._series_document(series) for series in self.series],
            "across_recipes": [series.as_document() for series in self.across],
            "rules": [{"rule": code, "says": RULES[code].says, "source": RULES[code].source} for code in self.rules],
            "runs_between_alarms": self.runs_between_alarms,
            "cautions": list(self.cautions),
            "ledger_state": self.ledger_state,
            "filters": self.filters.as_document(),
        }

    def _series_document(self, series: Series) -> dict[str, object]:
        slow = dict(self.slow).get(series.name)
        return series.as_document() | ({} if slow is None else {"slow": slow.as_document()})

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return headers and one row a chart as text, for a terminal."""
        headers = ["series", "runs", "centre", "limits", "limits from", "signals", "moved"]
        return headers, [_row(series, series.unit_of(self.measure)) for series in (*self.series, *self.across)]


def stability(
    table: PackTable,
    measure: str,
    stage: str = "pack",
    filters: Filters | None = None,
    rules: Sequence[str] = FIRST_RULES,
    phases: Sequence[FrozenPhase] = (),
    *,
    done: WhatWasDone | None = None,
    slow: SlowAsk | None = None,
) -> Stability:
    """Return whether a measure is stable, by recipe and format, and when it moved.

    Parameters
    ----------
    table : PackTable
    measure : str
        A measure of the vocabulary, or a tasting attribute.
    stage : str
        Where it was read.
    filters : Filters, optional
        All runs where it is not given. Its dates choose what is shown: limits are made from the baseline all the same.
    rules : sequence of str
        Codes of the run rules that are on.
    phases : sequence of FrozenPhase
        The baselines that a person froze, of any measure; a series without one has its first runs for a baseline, a
        line all of its runs.
    done : WhatWasDone, optional
        What the practices did to each run: each is then charted as it would stand with the baseline's practices.
    slow : SlowAsk, optional
        A slow move that each recipe's chart should be able to find.

    Raises
    ------
    ValueError
        If the stage or a rule is unknown.
    """
    chosen = filters if filters is not None else Filters()
    asked = measure_of(measure)
    own_phases = tuple(phase for phase in phases if (phase.measure, phase.stage) == (asked.name, stage))
    found = run_values(table, measure, stage)
    at_any_time = replace(chosen, since=None, until=None)
    runs, practices = _with_practices(table, at_any_time.apply(found.runs, "at").reset_index(drop=True))
    groups = _groups(runs, asked, own_phases, done)
    ordered = runs if done is None else _in_order(groups, runs)
    series = shown(_by_recipe(table, groups, practices, asked, tuple(rules)), chosen)
    lines = across_recipes(ordered, practices, asked.scale, tuple(rules), own_phases)
    across = _named(shown(lines, chosen), chosen)
    return Stability(
        question=_QUESTION.format(measure=asked.label.lower()),
        answer=_answer(asked, series, across, done),
        measure=asked,
        stage=stage,
        series=series,
        across=across,
        rules=tuple(rules),
        runs_between_alarms=run_length(rules).mean,
        ledger_state=table.state,
        filters=chosen,
        cautions=(*table.remarks_on(measure, stage=stage), *found.cautions, *_cautions((*series, *across), done)),
        done=done,
        slow=() if slow is None else tuple((one.name, slow_moves(one, slow)) for one in series),
    )


def _in_order(groups: Sequence[_Group], runs: pd.DataFrame) -> pd.DataFrame:
    """Return the runs of all groups in the order of their moments."""
    together = pd.concat([group.runs for group in groups]) if groups else runs.head(0)
    return together.sort_values(["at", "run", "batch"], kind="stable").reset_index(drop=True)


@dataclass(frozen=True, eq=False)
class _Group:
    """The runs of one recipe and format, its own phases, and what must be known beside them."""

    recipe: str | None
    format: str | None
    runs: pd.DataFrame
    phases: tuple[FrozenPhase, ...]
    cautions: tuple[str, ...] = ()


def _groups(
    runs: pd.DataFrame, asked: Measure, phases: Sequence[FrozenPhase], done: WhatWasDone | None
) -> tuple[_Group, ...]:
    groups = []
    for (recipe, form), own in runs.groupby(["recipe", "format"], dropna=False, sort=True):
        called = _text(recipe), _text(form)
        group = _Group(*called, own.reset_index(drop=True), phases_of(phases, *called))
        if done is not None:
            alike, cautions = made_alike(group.runs, done, asked.scale, group.phases)
            group = replace(group, runs=alike, cautions=cautions)
        if len(group.runs):
            groups.append(group)
    return tuple(groups)


def _by_recipe(
    table: PackTable, groups: Sequence[_Group], practices: Sequence[Practice], asked: Measure, rules: Sequence[str]
) -> tuple[Series, ...]:
    """Return a chart a recipe and format, with all their runs."""
    series = []
    book = targets_on_record(table.targets, asked.name)
    for group in groups:
        made = series_of(
            group.runs,
            practices,
            asked.scale,
            rules,
            group.phases,
            book.limits(group.recipe, group.format),
            recipe=group.recipe,
            format=group.format,
        )
        series.append(replace(made, cautions=(*group.cautions, *made.cautions)))
    return tuple(series)


def _with_practices(table: PackTable, runs: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Practice, ...]]:
    """Return the runs with their practices beside, where the pack table has them; tank, line and meter always."""
    kept = tuple(p for p in table.practices if p.name not in ("format", "tank", "line") and p.name in table.rows)
    if not len(runs) or not (runs["row"] >= 0).all():
        kept = ()
    done = table.rows[[p.name for p in kept]].iloc[runs["row"].to_numpy()] if kept else pd.DataFrame(index=runs.index)
    beside = done.set_axis(runs.index, axis=0)
    known = tuple(p for p in table.practices if p.name in ("tank", "line"))
    return pd.concat([runs, beside], axis=1), (*kept, *known, _METER)


def _text(cell: object) -> str | None:
    return cell if isinstance(cell, str) and cell else None


def _named(across: Sequence[Series], chosen: Filters) -> tuple[Series, ...]:
    """Return the charts of the lines by the recipes that were asked for: they are not of all recipes then."""
    if not chosen.recipes:
        return tuple(across)
    asked = listing(chosen.recipes)
    return tuple(replace(series, title=f"line {series.line}, {asked}, all formats") for series in across)


def _answer(asked: Measure, series: Sequence[Series], across: Sequence[Series], done: WhatWasDone | None) -> str:
    if done is not None and done.why_not is not None:
        return f"What was done cannot be taken out: {done.why_not}."
    subject = asked.label if done is None else f"With what was done taken out, {spoken(asked.label)}"
    charted = [one for one in series if one.why_not is None]
    few = len(series) - len(charted)
    if not series:
        return f"There is no reading of {asked.label.lower()} in this selection."
    moved = sorted(
        ((one, move) for one in (*across, *series) for move in one.moves), key=lambda pair: -abs(pair[1].percent)
    )
    out = [one for one in charted if one.signals and not one.moves]
    parts = []
    if moved:
        told = listing([_moved(asked, one, move) for one, move in moved], most=_MOST_TOLD)
        parts.append(f"{subject} moved: {told}")
    else:
        parts.append(f"{subject} shows no move of its level")
    if out:
        parts.append(f"signals without a lasting move in {listing([one.name for one in out])}")
    if few:
        parts.append(f"{count(few, 'series has', 'series have')} too few runs for limits")
    return f"{'; '.join(parts)}."


def _moved(asked: Measure, one: Series, move: Move) -> str:
    size = amount(move.after - move.before, asked.unit) if math.isnan(move.percent) else percent(move.percent)
    mostly = "" if move.rests_on is None else f", mostly {move.rests_on.recipe}"
    if move.gradual and move.ends is not None:
        return f"{one.name}: {size} slowly, from about {day(move.at)} to about {day(move.ends)}{mostly}"
    how = "at once or slowly, " if move.may_be_gradual else ""
    between = f"({days_between(move.earliest, move.latest)})"
    return f"{one.name}: {size} {how}about {day(move.at)} {between}{mostly}"


def _cautions(series: Sequence[Series], done: WhatWasDone | None) -> tuple[str, ...]:
    said = [] if done is None else [*_turned(done)]
    several = any(one.several_runs is not None for one in series)
    if any(phase.because is None for one in series if one.line is None for phase in one.phases):
        first = "runs" if not several else "runs (batches, where one has several)"
        said.append(
            f"Where nobody has frozen a baseline, limits come from the first {BASELINE_RUNS} {first} of the series, "
            "whatever they were."
        )
    if several:
        said.append(SEVERAL_RUNS)
    if any(move.coincides_with for one in series for move in one.moves):
        said.append("What coincides with a move is not shown to be its cause.")
    return tuple(said)


def _turned(done: WhatWasDone) -> Iterator[str]:
    """Yield a sentence for each practice whose effect turns its sign where recipes are thrown together."""
    for each in done.turned:
        pooled = each.pooled if each.pooled is not None else math.nan
        more, less = (percent(pooled), percent(each.effect)) if each.relative else (change(pooled), change(each.effect))
        yield (
            f"{each.spoken[:1].upper()}{each.spoken[1:]}: over all recipes together {each.step_unit} more goes with "
            f"{more}, but that is the recipes, which differ in both. Within a recipe it is {less}, and that is what is "
            "taken out."
        )


def _row(series: Series, unit: str) -> list[str]:
    limits = series.why_not or f"{amount(series.lower, unit)} to {amount(series.upper, unit)}"
    signals = len({signal.at for signal in series.signals})
    moves = "; ".join(f"{percent(move.percent)} {day(move.at)}" for move in series.moves)
    centre = amount(series.centre, unit)
    return [series.name, str(len(series.points)), centre, limits, _source(series), str(signals), moves or "no"]


def _source(series: Series) -> str:
    """Return which runs the limits come from, of the last phase."""
    if series.why_not is not None or not series.phases:
        return ""
    last = series.phases[-1]
    runs = count(last.runs, "run") + (f" of {count(last.batches, 'batch', 'batches')}" if last.batches else "")
    return f"first {runs}" if last.because is None else f"{runs}, frozen by {last.by}"
