"""Are counted faults stable, and do tasters tell packs apart more often than by guessing?

A column of a brewery's own beside its runs that holds whole numbers (leakers, dents, returned packs) counts faults. Of
two such columns one may be what the other is a part of (leakers out of packs looked at): the share is then charted. A
pack may also have several faults, so that there are more faults than packs looked at: they are then charted per pack.
Counts spread by chance as a binomial or Poisson does; where runs spread more than that among themselves, limits are
widened by how much. Rare faults are charted by how many runs lie between them. A taste test is held against guessing.
Limits come from all runs until a person freezes a baseline; guessing needs none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import (
    FIRST_RULES,
    Chart,
    CountChart,
    CountLimits,
    defects,
    defects_per_unit,
    failed_shares,
    good_between_faults,
    run_length,
)
from analysis.findings.baselines import FrozenPhase, SeriesPhases, phases_of, series_phases
from analysis.findings.filters import Filters
from analysis.findings.series import Series
from analysis.findings.series_batches import (
    SEVERAL_RUNS,
    SeveralRuns,
    batch_numbers,
    batches_of,
    counted_in,
    several_runs,
)
from analysis.findings.series_charting import FEWEST_RUNS, chart_points, chart_signals, last_baseline, phases_shown
from analysis.findings.series_shown import shown
from analysis.findings.stability import Stability
from analysis.findings.wording import amount, count, listing
from analysis.linking import PackTable
from analysis.vocabulary import PRACTICES, Measure

__all__ = ["PREFIX", "TASTE_TESTS", "Counted", "countable", "counted"]

PREFIX = "counted:"
TASTE_TESTS = "counted:taste_tests"

Floats = npt.NDArray[np.float64]

_GUESSED = {"triangle": 1 / 3, "duo_trio": 1 / 2, "paired": 1 / 2}
_TESTS = {"triangle": "Triangle tests", "duo_trio": "Duo-trio tests", "paired": "Paired tests"}
_SPREADS_MORE = 1.3
_RARE = 0.5
_LOOKED_AT = ("looked", "checked", "inspected", "examined", "sampled", "tested", "opened")
_DESCRIBED = ("run", "batch", "recipe", "format", "line", "tank", "packed_at")


@dataclass(frozen=True)
class Counted:
    """Something that is counted: its ``name`` for an address, its ``label``, its columns in the pack table.

    ``out_of`` is how many were looked at, None where that is not known; ``per_unit`` is true where one of those may
    have several faults: it is then no share.
    """

    name: str
    label: str
    faults: str
    out_of: str | None
    per_unit: bool = False


def countable(table: PackTable) -> tuple[Counted, ...]:
    """Return what can be charted by counting: taste tests, each column of faults, and each as a share of another."""
    found = [Counted(TASTE_TESTS, "Taste tests", "", None)] if (table.evidence["kind"] == "taste_tests").any() else []
    columns = [p for p in table.practices if p.source == "pack_runs" and p.name not in PRACTICES]
    whole = [(p.name, p.label) for p in columns if p.type in ("number", "count") and _is_whole(table.rows[p.name])]
    found += [Counted(f"{PREFIX}{name}", label, name, None) for name, label in whole]
    for name, label in whole:
        for other, of in whole:
            if other != name and _is_part(table.rows[name], table.rows[other]):
                found.append(Counted(f"{PREFIX}{name}/{other}", f"{label} out of {of}", name, other))
            elif other != name and _is_looked_at(of, table.rows[other]) and not _is_looked_at(label, table.rows[name]):
                found.append(Counted(f"{PREFIX}{name}/{other}", f"{label} per {of}", name, other, per_unit=True))
    return tuple(found)


def _is_looked_at(label: str, column: pd.Series) -> bool:
    """Return whether a column says by its name how many were looked at, and is never 0."""
    return any(word in label.lower() for word in _LOOKED_AT) and bool((column.dropna() > 0).all())


def _is_whole(column: pd.Series) -> bool:
    values = column.dropna().to_numpy(np.float64)
    return bool(values.size and (values >= 0).all() and (values == np.round(values)).all())


def _is_part(part: pd.Series, whole: pd.Series) -> bool:
    both = part.notna() & whole.notna()
    a, b = part[both].to_numpy(np.float64), whole[both].to_numpy(np.float64)
    return bool(a.size and (b > 0).all() and (a <= b).all() and (a < b).any())


def counted(
    table: PackTable,
    name: str,
    tests: pd.DataFrame,
    filters: Filters | None = None,
    rules: Sequence[str] = FIRST_RULES,
    phases: Sequence[FrozenPhase] = (),
) -> Stability:
    """Return the charts of what is counted: a chart a line, or one a kind of taste test.

    Parameters
    ----------
    table : PackTable
    name : str
        The name of one of ``countable(table)``.
    tests : DataFrame
        The taste tests on record; only looked at where those are asked for.
    filters : Filters, optional
    rules : sequence of str
    phases : sequence of FrozenPhase
        The baselines that a person froze, of anything: those whose measure is ``name`` count.

    Raises
    ------
    ValueError
        If nothing of that name is counted.
    """
    what = next((each for each in countable(table) if each.name == name), None)
    if what is None:
        known = ", ".join(each.name for each in countable(table)) or "nothing"
        raise ValueError(f"counted: name must be one of what is counted ({known}), got {name!r}")
    chosen = filters if filters is not None else Filters()
    runs = table.rows.drop_duplicates("run")
    frozen = [phase for phase in phases if phase.measure == name]
    made = (
        _of_tests(_tested(runs, _under_their_runs(table, tests), chosen), rules)
        if name == TASTE_TESTS
        else _of_faults(runs, what, chosen, rules, frozen)
    )
    series = shown(tuple(made), chosen)
    unit = "%" if name == TASTE_TESTS or (what.out_of is not None and not what.per_unit) else ""
    measure = Measure(name, what.label, unit, 0, math.inf, "higher", "linear", "counted")
    return Stability(
        question=f"Is what is counted stable: {what.label.lower()}?",
        answer=_answer(what, series),
        measure=measure,
        stage="pack",
        series=(),
        across=series,
        rules=tuple(rules),
        runs_between_alarms=run_length(rules).mean,
        ledger_state=table.state,
        filters=chosen,
        cautions=(SEVERAL_RUNS,) if any(one.several_runs is not None for one in series) else (),
    )


def _answer(what: Counted, series: Sequence[Series]) -> str:
    if not series:
        return f"There is nothing counted of {what.label.lower()} in this selection."
    out = [f"{one.name} ({count(len({s.at for s in one.signals}), 'signal')})" for one in series if one.signals]
    few = sum(one.why_not is not None for one in series)
    parts = [f"{what.label}: {f'signals in {listing(out)}' if out else 'no signal'}"]
    if few:
        parts.append(f"{count(few, 'series has', 'series have')} too few runs for limits")
    return f"{'; '.join(parts)}."


def _of_faults(
    runs: pd.DataFrame, what: Counted, filters: Filters, rules: Sequence[str], phases: Sequence[FrozenPhase]
) -> Iterator[Series]:
    at_any_time = Filters(filters.recipes, filters.format, None, None, filters.tank)
    own = at_any_time.apply(runs[runs[what.faults].notna()]).sort_values("packed_at", kind="stable")
    if what.out_of is not None:
        own = own[own[what.out_of].notna()]
    for line, here in own.groupby(own["line"].fillna("").astype(str), sort=True):
        called = str(line) or None
        yield _of_line(_frame(here), here, what, called, _Asked(tuple(rules), phases_of(phases, None, None, called)))


@dataclass(frozen=True)
class _Asked:
    """The rules that are on, and the phases of one chart that a person froze."""

    rules: tuple[str, ...]
    frozen: tuple[FrozenPhase, ...]

    def marks(self, frame: pd.DataFrame) -> SeriesPhases | None:
        """Return the phase and baseline of each run; None where nobody froze one: all runs are the baseline then."""
        return series_phases(self.frozen, frame, first=None) if self.frozen else None


def _of_line(frame: pd.DataFrame, here: pd.DataFrame, what: Counted, line: str | None, asked: _Asked) -> Series:
    faults = here[what.faults].to_numpy(np.float64)
    sizes = None if what.out_of is None else here[what.out_of].to_numpy(np.float64)
    if len(here) < FEWEST_RUNS:
        values = faults if sizes is None else (1.0 if what.per_unit else 100.0) * faults / sizes
        return _series(frame, values, None, line, _what(what), f"only {count(len(here), 'run')}")
    held = asked.marks(frame)
    known = np.ones(faults.size, dtype=np.bool_) if held is None else held.marks.baseline
    if sizes is None and np.mean(faults[known] == 0) > _RARE:
        return _between(frame, faults, line, asked)
    baseline, phase = _marks(held)
    numbers = batch_numbers(frame)

    def chart(form: CountLimits) -> CountChart:
        if sizes is None:
            return defects(faults, limits=form, rules=asked.rules, baseline=baseline, phases=phase, batches=numbers)
        if what.per_unit:
            return defects_per_unit(
                faults, sizes, limits=form, rules=asked.rules, baseline=baseline, phases=phase, batches=numbers
            )
        return failed_shares(
            faults, sizes, limits=form, rules=asked.rules, baseline=baseline, phases=phase, batches=numbers
        )

    return _charted(frame, chart, line, what, held)


def _what(what: Counted) -> str:
    """Return what a point is, in words."""
    if what.out_of is None:
        return "faults of each run"
    return "faults of each run for each pack looked at" if what.per_unit else "share of each run [%]"


def _marks(held: SeriesPhases | None) -> tuple[npt.NDArray[np.bool_] | None, npt.NDArray[np.int64] | None]:
    return (None, None) if held is None else (held.marks.baseline, held.marks.phase)


def _charted(
    frame: pd.DataFrame,
    chart: Callable[[CountLimits], CountChart],
    line: str | None,
    what: Counted,
    held: SeriesPhases | None,
) -> Series:
    """Return the chart by chance alone, or widened where runs spread plainly more than chance lets them."""
    plain = chart("probability")
    dispersion = float(plain.dispersion[-1])
    times = 1.0 if what.out_of is None or what.per_unit else 100.0
    if dispersion > _SPREADS_MORE:
        much = f"{amount(dispersion, digits=2)} times as much as by chance"
        wider = f"{_what(what)}; runs spread {much}, and limits are widened by that"
        return _series(frame, None, _times(chart("over-dispersed").chart, times), line, wider, held=held)
    said = f"{_what(what)}, with the limits that chance alone gives"
    return _series(frame, None, _times(plain.chart, times), line, said, held=held)


def _between(frame: pd.DataFrame, faults: Floats, line: str | None, asked: _Asked) -> Series:
    """Return how many runs without a fault lie before each run that has one; batches, where one has several runs."""
    batches = batches_of(batch_numbers(frame), len(frame))
    if batches is not None:
        frame = frame.iloc[batches.last].reset_index(drop=True)
        faults = np.bincount(batches.of_run, faults).astype(np.float64)
    _, one, many = counted_in(batches, len(frame))
    at = np.flatnonzero(faults > 0)
    own = frame.iloc[at[1:]].reset_index(drop=True)
    gaps = np.diff(at).astype(np.float64) - 1
    charted = f"faults are rare: {many} without a fault before each {one} that has one; few between them is worse"
    if gaps.size < FEWEST_RUNS:
        return _series(own, gaps, None, line, charted, f"only {count(int(at.size), one, many)} with a fault")
    held = asked.marks(own)
    baseline, phase = _marks(held)
    chart = good_between_faults(gaps, rules=asked.rules, baseline=baseline, phases=phase)
    return _series(own, None, chart, line, charted, held=held)


def _times(chart: Chart, times: float) -> Chart:
    scaled = {name: times * getattr(chart, name) for name in ("values", "centre", "lower", "upper", "sigma")}
    return replace(chart, **scaled)


def _under_their_runs(table: PackTable, tests: pd.DataFrame) -> pd.DataFrame:
    """Return the taste tests under their runs' own names: a number that is used again each year has one a year."""
    if "record" not in tests:
        return tests
    linked = table.evidence[table.evidence["kind"] == "taste_tests"].set_index("record")["run"]
    own = tests["record"].map(linked)
    return tests.assign(run=own.where(own.notna(), tests["run"]))


def _tested(runs: pd.DataFrame, tests: pd.DataFrame, filters: Filters) -> pd.DataFrame:
    """Return the taste tests of the runs that were asked about, in order."""
    known = runs.set_index("run")[[name for name in _DESCRIBED if name != "run"]]
    asked = tests[["run", "test", "tasted_on", "tasters", "correct"]].dropna(subset=["tasters", "correct"])
    own = asked.join(known, on="run")
    at_any_time = Filters(filters.recipes, filters.format, None, None, filters.tank)
    own = own.assign(packed_at=own["tasted_on"].fillna(own["packed_at"]))
    return at_any_time.apply(own[own["packed_at"].notna()]).sort_values("packed_at", kind="stable")


def _of_tests(tests: pd.DataFrame, rules: Sequence[str]) -> Iterator[Series]:
    for kind, own in tests.groupby("test", sort=True):
        guessed = _GUESSED.get(str(kind))
        if guessed is None:
            continue
        made = failed_shares(
            own["correct"].to_numpy(np.float64), own["tasters"].to_numpy(np.float64), limits="probability",
            centre=guessed, rules=rules,
        ).chart  # fmt: skip
        charted = f"tasters who told the packs apart [%], against the {100 * guessed:.0f} % who would by guessing alone"
        yield _series(_frame(own), None, _times(made, 100), None, charted, title=_TESTS[str(kind)])


def _frame(here: pd.DataFrame) -> pd.DataFrame:
    frame = here[["run", "batch"]].assign(at=here["packed_at"], censored=0, packs=1)
    return frame.reset_index(drop=True)


def _series(
    frame: pd.DataFrame,
    values: Floats | None,
    chart: Chart | None,
    line: str | None,
    charted: str,
    why_not: str = "",
    title: str = "",
    held: SeriesPhases | None = None,
) -> Series:
    shown_values = chart.values if chart is not None else values if values is not None else np.empty(0)
    last = [math.nan] * 3 if chart is None else [float(each[-1]) for each in (chart.centre, chart.lower, chart.upper)]
    points = chart_points(frame, shown_values, chart)
    return Series(
        recipe=None,
        format=None,
        line=line,
        scale="linear",
        centre=last[0],
        lower=last[1],
        upper=last[2],
        points=points,
        baseline=() if chart is None else points if held is None else last_baseline(points, chart),
        signals=chart_signals(chart),
        moves=(),
        phases=() if held is None else phases_shown(held.frozen, frame, shown_values, chart),
        why_not=f"{why_not}: limits want at least {FEWEST_RUNS}" if why_not else None,
        correlation=math.nan,
        after_memory=(),
        suggestion=None,
        targets=None,
        cautions=() if chart is None else chart.cautions,
        charted=charted,
        unit="%" if "%" in charted else "",
        title=title,
        several_runs=_of_batches(chart),
    )


def _of_batches(chart: Chart | None) -> SeveralRuns | None:
    """Return what a chart of counts knows of its batches; the parts of its spread are in units of chance, and not told
    as a spread of runs."""
    found = several_runs(chart)
    return None if found is None else replace(found, between=math.nan, within=math.nan)
