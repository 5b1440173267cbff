"""Which chart finds a rise of so much within so many runs, at so few false alarms, and what does it find here?

"Find a 30 % rise within 5 runs at one false alarm a year" is a shift in sigmas of this series, a delay in runs, and as
many runs between false alarms as the series has in a year. Each kind of chart is set to that, and the quickest is
drawn: single runs against a limit, a running mean that forgets slowly, or a running sum of what lies off. Where a batch
is packaged in several runs, which resemble each other, all of this counts batches by the mean of their runs; what a
batch does stands at each of its runs, and delays are told in runs all the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from analysis.charts import Cusum, Design, chart_designs, cusum, ewma, individuals, smallest_shift_found
from analysis.findings.series import Point, Series, SignalFound
from analysis.findings.wording import amount, count, percent, percent_of_ratio

__all__ = ["SlowAsk", "SlowKind", "SlowMoves", "slow_moves"]

Floats = npt.NDArray[np.float64]
SlowKind = str

_CALLED = {"individuals": "single runs", "ewma": "running mean", "cusum": "running sum"}
_SAYS = {
    "individuals": "one run beyond the limit",
    "ewma": "the running mean leaves its limits",
    "cusum": "the running sum passes its bound",
}
_DAYS_A_YEAR = 365.25
_FEWEST_BETWEEN_ALARMS = 5.0
_SMALLEST_SHIFT = 0.1


@dataclass(frozen=True)
class SlowAsk:
    """What should be found: a change of so many percent [%], within so many runs, at a false alarm in so many years."""

    percent: float = 30.0
    within: float = 5.0
    years: float = 1.0

    def __post_init__(self) -> None:
        if not (-90 <= self.percent <= 1000 and abs(self.percent) >= 1):
            raise ValueError(f"SlowAsk: percent must lie from -90 to 1000 and be at least 1 off 0, got {self.percent}")
        if not 1 < self.within <= 200:
            raise ValueError(f"SlowAsk: within must be above 1 and at most 200 runs, got {self.within}")
        if not 0 < self.years <= 50:
            raise ValueError(f"SlowAsk: years must be above 0 and at most 50, got {self.years}")

    @property
    def words(self) -> str:
        """The request as a person says it."""
        kind = "rise" if self.percent > 0 else "fall"
        often = "one a year" if self.years == 1 else f"one in {amount(self.years, digits=2)} years"
        return f"a {abs(self.percent):g} % {kind} within {self.within:g} runs at false alarms of {often}"


@dataclass(frozen=True)
class SlowMoves:
    """The designs for one series, the quickest first, and what the chosen one finds.

    ``shift`` is what was asked for in sigmas of the series, ``in_control`` the runs between false alarms.
    ``smallest`` is the smallest change [%] that could be found in that time, NaN where what was asked for is found in
    it. ``chart`` has the chosen design's points and signals; it is None, as all of this is empty, where ``why_not``
    says why there is no answer.
    """

    ask: SlowAsk
    shift: float
    in_control: float
    smallest: float
    designs: tuple[Design, ...]
    chosen: Design | None
    chart: Series | None
    sentences: tuple[str, ...]
    why_not: str | None = None

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        return {
            "asked": {"percent": self.ask.percent, "within": self.ask.within, "years": self.ask.years},
            "why_not": self.why_not,
            "shift_in_sigmas": self.shift if math.isfinite(self.shift) else None,
            "runs_between_alarms": self.in_control if math.isfinite(self.in_control) else None,
            "smallest_percent_in_time": self.smallest if math.isfinite(self.smallest) else None,
            "designs": [_design_document(design) for design in self.designs],
            "chosen": None if self.chosen is None else _CALLED[self.chosen.kind],
            "signals": [] if self.chart is None else [_signal_document(s, self.chart) for s in self.chart.signals],
            "says": list(self.sentences),
        }


def _design_document(design: Design) -> dict[str, object]:
    settings = ("width", "weight", "allowance", "bound")
    return {
        "chart": _CALLED[design.kind],
        "delay": design.delay,
        "in_time": design.in_time,
        **{name: getattr(design, name) for name in settings if math.isfinite(getattr(design, name))},
    }


def _signal_document(signal: SignalFound, chart: Series) -> dict[str, object]:
    point = chart.points[signal.at]
    return {**signal.as_document(), "run": point.run, "batch": point.batch, "packed_at": point.at.isoformat()}


def slow_moves(series: Series, ask: SlowAsk, kind: SlowKind = "") -> SlowMoves:
    """Return which charts find a slow move in a series, and what the quickest (or the named one) finds.

    Parameters
    ----------
    series : Series
        With limits; one of single runs.
    ask : SlowAsk
    kind : {"", "individuals", "ewma", "cusum"}
        The chart to draw, the quickest where it is empty.

    Raises
    ------
    ValueError
        If ``kind`` is none of these.
    """
    if kind and kind not in _CALLED:
        raise ValueError(f"kind must be one of {', '.join(_CALLED)} or empty, got {kind!r}")
    units = _Units(series)
    found = _why_not(series) or _asked_in_sigmas(series, units, ask)
    if isinstance(found, str):
        return SlowMoves(ask, math.nan, math.nan, math.nan, (), None, None, (), found)
    within = max(ask.within / units.runs_each, 1.0)
    designs = chart_designs(found.shift, found.in_control / units.runs_each, within)
    chosen = next((design for design in designs if design.kind == kind), designs[0])
    told = tuple(replace(design, delay=design.delay * units.runs_each) for design in designs)
    smallest = math.nan if designs[0].in_time or within <= 1 else _smallest(found, units, within, ask)
    said = _sentences(ask, found, told, series, smallest)
    drawn = _drawn(series, units, chosen)
    return SlowMoves(
        ask, found.shift, found.in_control, smallest, told, told[designs.index(chosen)], drawn, tuple(said)
    )


class _Units:
    """What a series counts: its runs, or its batches by the mean of their runs where one has several."""

    def __init__(self, series: Series) -> None:
        self.series = series
        self.log = series.scale == "log"
        several = series.several_runs
        places = np.arange(len(series.points)) if several is None else np.array(several.batch, dtype=np.int64)
        _, self.of_run = np.unique(places, return_inverse=True)

    @property
    def runs_each(self) -> float:
        """How many runs a unit has on average."""
        return self.of_run.size / max(self.last.size, 1)

    @cached_property
    def last(self) -> npt.NDArray[np.int64]:
        """The last run of each unit."""
        last = np.zeros(int(self.of_run.max(initial=-1)) + 1, dtype=np.int64)
        np.maximum.at(last, self.of_run, np.arange(self.of_run.size))
        return last

    @cached_property
    def sigma(self) -> Floats:
        """The sigma of what is counted, at each run: of the run, or of the mean of its batch."""
        if self.series.several_runs is not None:
            return np.array(self.series.several_runs.sigma)
        return np.array([_sigma(point, self.log) for point in self.series.points])

    @cached_property
    def z(self) -> Floats:
        """The distance of each unit from its centre in its own sigmas."""
        off = np.array([_off(point, self.log) for point in self.series.points])
        mean = np.bincount(self.of_run, off) / np.bincount(self.of_run)
        sigma = self.sigma[self.last]
        with np.errstate(invalid="ignore", divide="ignore"):
            z: Floats = np.where(sigma > 0, mean / sigma, np.nan)
        return z


@dataclass(frozen=True)
class _InSigmas:
    shift: float
    in_control: float
    runs_a_year: float
    sigma: float
    log: bool
    centre: float


def _why_not(series: Series) -> str:
    if series.why_not is not None:
        return f"no limits: {series.why_not}"
    if series.recipe is None:
        return "ask it of one recipe: across recipes there is no level of which a share could be taken"
    return ""


def _asked_in_sigmas(series: Series, units: _Units, ask: SlowAsk) -> _InSigmas | str:
    log, years = series.scale == "log", _years(series)
    sigma = float(units.sigma[-1]) if series.several_runs is None else float(np.median(units.sigma))
    if not sigma > 0 or years <= 0:
        return "the runs of the baseline are all alike or of one day: there is no spread to count in"
    runs_a_year = len(series.points) / years
    in_control = ask.years * runs_a_year
    if in_control < _FEWEST_BETWEEN_ALARMS * units.runs_each:
        least = math.ceil(_FEWEST_BETWEEN_ALARMS * units.runs_each / runs_a_year)
        return f"there are only {runs_a_year:.0f} runs a year: allow one false alarm in {least} years or more"
    off = math.log1p(ask.percent / 100) if log else series.centre * ask.percent / 100
    shift = abs(off) / sigma
    if shift < _SMALLEST_SHIFT:
        return f"{ask.percent:g} % is less than a tenth of this series’ run-to-run spread: no chart finds it in time"
    return _InSigmas(shift, in_control, runs_a_year, sigma, log, series.centre)


def _years(series: Series) -> float:
    days = (series.points[-1].at - series.points[0].at).total_seconds() / 86_400
    return days / _DAYS_A_YEAR


def _sigma(point: Point, log: bool) -> float:
    above = math.log(point.upper / point.centre) if log else point.upper - point.centre
    return above / 3


def _smallest(found: _InSigmas, units: _Units, within: float, ask: SlowAsk) -> float:
    in_control = found.in_control / units.runs_each
    least = smallest_shift_found(in_control, within) * math.copysign(1.0, ask.percent) * found.sigma
    return percent_of_ratio(least) if found.log else 100 * least / abs(found.centre)


def _drawn(series: Series, units: _Units, design: Design) -> Series:
    """Return the chosen chart, in the measure's unit for single runs and running mean, in sigmas for a running sum."""
    phase = _phase_numbers(series)[units.last]
    if design.kind == "cusum":
        sums = cusum(units.z, allowance=design.allowance, bound=design.bound, phases=phase, centre=0.0, sigma=1.0)
        return _of_sums(series, units, sums)
    if design.kind == "ewma":
        # steady limits: the run length that was asked for is theirs
        chart = ewma(
            units.z, weight=design.weight, width=design.width, phases=phase, centre=0.0, sigma=1.0, steady_limits=True
        )
        points = _in_unit(units, chart.values, chart.upper)
        newest = "run" if series.several_runs is None else "batch"
        charted = f"a running mean that forgets slowly: the newest {newest} counts {100 * design.weight:.0f} % of it"
    else:  # counted so that the limit that was asked for stands at three
        z = units.z * 3 / design.width
        chart = individuals(z, centre=0.0, sigma=1.0, phases=phase, rules=("beyond-limit",)).values
        points = _in_unit(units, units.z, np.full(units.z.size, design.width))
        each = "each run" if series.several_runs is None else "the mean of each batch’s runs"
        charted = f"{each}, with limits at the distance asked for"
    found = [(signal.at, signal.at, signal.side) for signal in chart.signals.listed()]
    return _chart(series, points, _at_runs(_first_of_each(found), units), design.kind, charted, None)


def _off(point: Point, log: bool) -> float:
    return math.log(point.value / point.centre) if log else point.value - point.centre


def _phase_numbers(series: Series) -> npt.NDArray[np.int64]:
    begins = [phase.begins for phase in series.phases]
    return np.array([max(sum(begin <= point.at for begin in begins) - 1, 0) for point in series.points], dtype=np.int64)


def _in_unit(units: _Units, values: Floats, reach: Floats) -> list[Point]:
    """Return the points whose units lie ``values`` sigmas from their centre, with limits ``reach`` sigmas from it."""
    sigma, log, of_run = units.sigma, units.log, units.of_run
    made = []
    for place, point in enumerate(units.series.points):
        at, limit = float(values[of_run[place]]), float(reach[of_run[place]])
        value, lower, upper = (
            point.centre * math.exp(off * sigma[place]) if log else point.centre + off * float(sigma[place])
            for off in (at, -limit, limit)
        )
        made.append(replace(point, value=value, lower=lower, upper=upper, signals=()))
    return made


def _at_runs(found: Sequence[tuple[int, int, int]], units: _Units) -> list[tuple[int, int, int]]:
    """Return what was found of units as found of runs: from the first run of the first to the last of the last."""
    first = np.full(units.last.size, units.of_run.size, dtype=np.int64)
    np.minimum.at(first, units.of_run, np.arange(units.of_run.size))
    return [(int(first[start]), int(units.last[end]), side) for start, end, side in found]


def _of_sums(series: Series, units: _Units, sums: Cusum) -> Series:
    """Return the larger of the two sums at each run, the one of low runs counted downward."""
    larger = np.where(sums.upper >= sums.lower, sums.upper, -sums.lower)[units.of_run]
    points = [
        replace(point, value=value, centre=0.0, lower=-sums.bound, upper=sums.bound, signals=(), censored=0)
        for point, value in zip(series.points, larger.tolist(), strict=True)
    ]
    found = [(signal.start, signal.at, signal.side) for signal in sums.signals]
    each = "run" if series.several_runs is None else "batch"
    charted = f"a running sum of how far {'runs' if each == 'run' else 'batches'} lie off, less "
    charted += f"{amount(sums.allowance, digits=2)} σ a {each}"
    return _chart(series, points, _at_runs(found, units), "cusum", charted, "σ")


def _first_of_each(found: Sequence[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Return only the run that begins each stay beyond a limit: the runs after it tell nothing new."""
    return [one for place, one in enumerate(found) if place == 0 or found[place - 1][1:] != (one[1] - 1, one[2])]


def _chart(
    series: Series,
    points: Sequence[Point],
    found: Sequence[tuple[int, int, int]],
    kind: SlowKind,
    charted: str,
    unit: str | None,
) -> Series:
    at = {place for _, place, _ in found}
    marked = tuple(replace(p, signals=("beyond-limit",)) if place in at else p for place, p in enumerate(points))
    return series.charted_as(
        marked,
        (SignalFound("beyond-limit", _SAYS[kind], start, end, side) for start, end, side in found),
        charted=charted,
        unit=unit,
        scale="linear" if kind == "cusum" else series.scale,
    )


def _sentences(ask: SlowAsk, found: _InSigmas, designs: Sequence[Design], drawn: Series, smallest: float) -> list[str]:
    best = designs[0]
    said = [
        f"Asked for: {ask.words}. This series has about {found.runs_a_year:.0f} runs a year, and {ask.percent:g} % is "
        f"{amount(found.shift, digits=2)} times its spread from {_each(drawn)} to {_each(drawn)}."
    ]
    if drawn.several_runs is not None:
        said.append(
            "A batch has several runs, which resemble each other: these charts count batches, by the mean of their "
            "runs."
        )
    called = _CALLED if drawn.several_runs is None else {**_CALLED, "individuals": "single batches"}
    delays = "; ".join(f"{called[d.kind]} {amount(d.delay, digits=2)} runs" for d in designs)
    if best.in_time:
        said.append(f"A {called[best.kind]} chart finds it soonest. On average it takes: {delays}.")
    else:
        said.append(
            f"No chart finds it that soon at so few false alarms. On average it takes: {delays}. Within "
            f"{ask.within:g} runs a change of {percent(smallest)} is found: allow more runs, or more false alarms."
        )
    censored = sum(point.censored != 0 for point in drawn.points)
    if censored:
        said.append(
            f"{count(censored, 'run')} beyond the meter’s range {'counts' if censored == 1 else 'count'} at it."
        )
    return said


def _each(series: Series) -> str:
    return "run" if series.several_runs is None else "batch"
