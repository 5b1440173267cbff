"""Which packs and which practices can be compared for a measure, and why not the others?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.practice_recorded import seldom_recorded
from analysis.findings.practice_words import named, quoted_level, spoken, spoken_measure
from analysis.findings.wording import count
from analysis.linking import PackTable
from analysis.vocabulary import Measure, Practice

__all__ = [
    "Candidate",
    "ComparedRows",
    "LeftOut",
    "NotAssessed",
    "Standing",
    "compare_rows",
    "nothing_read",
    "where_it_varies",
]

Floats = npt.NDArray[np.float64]

# Oxygen is used up in the closed pack: a reading taken later than this says little of the oxygen at closing.
LATEST_OXYGEN_READING_DAYS = 3.0
FEWEST_BATCHES = 6
FEWEST_ON_A_SIDE = 3
# From this many levels on a category is allowed for as a spread between its levels, not held level against level.
SPREAD_FROM_LEVELS = 5
# What linking writes where a batch or a run has several levels of one category.
MIXED = "mixed"
_ALLOWED_FOR = "has many levels: the spread between them is allowed for, and no one of them is held against another"
OXYGEN = ("dissolved_oxygen", "headspace_oxygen", "total_oxygen")
# Counted from the clock rather than decided by the brewer alone: a tank that is not clear is left longer.
MAY_FOLLOW_THE_BEER = ("hours_since_rouse", "hours_since_finings", "days_since_dump", "cold_hours", "dry_hop_days")


@dataclass(frozen=True)
class Candidate:
    """One contrast that a verdict can be given on.

    ``column`` names its column in the compared rows, counted in steps of ``step`` [``step_unit``]; ``level`` is the
    level of a category that is held against ``against``, both empty for a number.
    """

    practice: Practice
    column: str
    step: float
    step_unit: str
    level: str = ""
    against: str = ""

    @property
    def name(self) -> str:
        """The practice's name, with the level of a category behind it."""
        return f"{self.practice.name}: {self.level}" if self.level else self.practice.name

    @property
    def label(self) -> str:
        """The practice as a brewer says it."""
        if not self.level:
            return self.practice.label
        return f"{self.practice.label} {self.level}" if self._of_the_category else self.level

    @property
    def spoken(self) -> str:
        """The label as it stands inside a sentence: "rouse time", "line 2", "bottle"."""
        if not self.level:
            return spoken(self.practice.label, self.practice.unit)
        return self.level if self.practice.name == "format" else f"{self._of_the_category}{quoted_level(self.level)}"

    @property
    def subject(self) -> str:
        """What is said to raise or lower something: "rouse time", "“Air bled”", "bottle instead of can"."""
        if self.practice.type == "yes_no":
            return f"“{named(self.practice.label)}”"
        if not self.level:
            return self.spoken
        against = self.against if self.practice.name == "format" else quoted_level(self.against)
        return f"{self.spoken} instead of {against}"

    @property
    def _of_the_category(self) -> str:
        """The category before its level, unless the level says it itself: "Line 2" of the category "Line"."""
        own = named(self.practice.label)
        return "" if self.level.casefold().startswith(own.casefold()) else f"{spoken(self.practice.label)} "


@dataclass(frozen=True)
class NotAssessed:
    """A practice on which nothing is said, and why; ``label`` is what it is called where that is not its name's own."""

    practice: str
    reason: str
    label: str = ""


@dataclass(frozen=True)
class LeftOut:
    """Rows that the comparison does without, and why."""

    reason: str
    rows: int


@dataclass(frozen=True)
class Standing:
    """How a practice stood over the batches that are compared."""

    low: float
    high: float
    batches: int
    batches_changed: int
    first_change: pd.Timestamp | None
    changes: int


@dataclass(frozen=True)
class ComparedRows:
    """The rows of one comparison.

    ``frame`` has ``y`` [the measure's kept unit], ``censored`` (−1 below the value, 0, 1 above it), ``recipe``,
    ``batch``, ``run``, ``meter``, ``packed_at``, ``format``, ``day`` (days since the first pack), ``age_days``, for a
    tasting attribute ``panellist`` and ``session`` (the day it was tasted), and a column for each candidate; missing
    cells stay missing. ``spreads`` names the columns of categories with many levels, which are allowed for as a spread
    between the levels; ``remarks`` what was done to readings, in words.
    """

    frame: pd.DataFrame
    candidates: tuple[Candidate, ...]
    not_assessed: tuple[NotAssessed, ...]
    left_out: tuple[LeftOut, ...]
    spreads: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def batches(self) -> int:
        """How many batches are compared."""
        return int(self.frame["batch"].nunique())

    @property
    def runs(self) -> int:
        """How many runs are compared."""
        return int(self.frame["run"].nunique())


def compare_rows(table: PackTable, rows: pd.DataFrame, measure: Measure) -> ComparedRows:
    """Return the rows and practices that can be compared for a measure.

    Parameters
    ----------
    table : PackTable
    rows : DataFrame
        The chosen rows of ``table.rows``, or of ``table.tastings`` for a tasting attribute.
    measure : Measure

    Returns
    -------
    ComparedRows
        Each of ``table.practices`` is among its candidates or among its ``not_assessed``, never both and never neither.
    """
    frame, left_out = _measured(rows, measure)
    if not len(frame):
        empty = ComparedRows(frame, (), (), left_out)
        reason = nothing_read(empty).replace("of it", f"of {spoken_measure(measure)}")
        return replace(empty, not_assessed=tuple(NotAssessed(p.name, reason, p.label) for p in table.practices))
    keyed = frame.assign(recipe=pd.factorize(frame["recipe"])[0], batch=pd.factorize(frame["batch"])[0])
    candidates: list[Candidate] = []
    not_assessed: list[NotAssessed] = []
    columns: dict[str, Floats] = {}
    spreads: dict[str, pd.Series] = {}
    done = rows.loc[frame.index, list(dict.fromkeys(practice.name for practice in table.practices))]
    for practice in table.practices:
        values = done[practice.name]
        if practice.type == "category" and _usable_levels(keyed, values) >= SPREAD_FROM_LEVELS:
            spreads[f"level_{practice.name}"] = values.fillna("not noted")
            not_assessed.append(NotAssessed(practice.name, _ALLOWED_FOR, practice.label))
            continue
        made = _candidates(keyed, values, practice)
        if isinstance(made, NotAssessed):
            not_assessed.append(made)
        else:
            candidates += [candidate for candidate, _ in made]
            columns |= {candidate.column: values for candidate, values in made}
    full = pd.concat([frame, pd.DataFrame({**columns, **spreads}, index=frame.index)], axis=1)
    return ComparedRows(
        full.reset_index(drop=True), tuple(candidates), tuple(not_assessed), left_out,
        spreads=tuple(spreads), remarks=_zeros_told(rows, measure),
    )  # fmt: skip


def nothing_read(compared: ComparedRows) -> str:
    """Return why there is nothing to compare, of a comparison without rows."""
    that_counts = " that counts" if compared.left_out else ""
    return f"no finished pack in this selection has a reading of it{that_counts}"


def where_it_varies(frame: pd.DataFrame, column: str) -> npt.NDArray[np.bool_]:
    """Return which rows are of recipes in which a practice took more than one value.

    Slopes are within recipes: a recipe that never gets finings says nothing of a dose of 0, however often it was
    brewed. All rows where it varied within none.

    Parameters
    ----------
    frame : DataFrame
        ``recipe`` and the practice's column.
    column : str
    """
    codes = pd.factorize(frame["recipe"])[0]
    x = frame[column].to_numpy(dtype=np.float64)
    low, high = np.full(codes.max(initial=0) + 1, np.inf), np.full(codes.max(initial=0) + 1, -np.inf)
    np.fmin.at(low, codes, x)
    np.fmax.at(high, codes, x)
    varied = np.asarray((high > low)[codes])
    return varied if varied.any() else np.ones(len(frame), dtype=np.bool_)


def _measured(rows: pd.DataFrame, measure: Measure) -> tuple[pd.DataFrame, tuple[LeftOut, ...]]:
    """Return the rows that have a reading which counts, with the columns that every model needs."""
    value = rows["score"] if measure.is_tasting else rows[measure.name]
    if measure.is_tasting:
        value = value.where(rows["attribute"] == measure.name)
    frame = pd.DataFrame(
        {
            "y": value.astype(np.float64),
            "censored": rows.get(f"{measure.name}_censored", pd.Series(0, index=rows.index)).fillna(0).astype(np.int8),
            "recipe": rows["recipe"],
            "batch": rows["batch"],
            "run": rows["run"],
            "meter": rows.get(f"{measure.name}_meter", pd.Series("", index=rows.index)).fillna(""),
            "packed_at": rows["packed_at"],
            "format": rows["format"],
            "age_days": rows["age_days"].astype(np.float64),
        }
    )
    if measure.is_tasting:
        frame["panellist"] = rows["panellist"]
        frame["session"] = rows["tasted_on"]
    left_out: list[LeftOut] = []
    frame = frame[frame["y"].notna()]
    unknown = frame["recipe"].isna() | frame["batch"].isna()
    frame = _without(frame, unknown, "of batches whose recipe is not known", left_out)
    if measure.name in OXYGEN:
        late = frame["age_days"] > LATEST_OXYGEN_READING_DAYS
        frame = _without(frame, late, "read more than 3 days after closing, when oxygen has been used up", left_out)
    if measure.scale == "log":
        frame = _zeros_as_limits(_without(frame, frame["y"] < 0, "read as less than 0, which cannot be", left_out))
    frame = _without(frame, frame["packed_at"].isna(), "of runs without a packing date", left_out)
    days = (frame["packed_at"] - frame["packed_at"].min()) / pd.Timedelta(days=1)
    return frame.assign(day=days), tuple(left_out)


def _zeros_as_limits(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with each 0 as what it means: less than the least that was read. Leaving zeros out would leave
    the best packs out."""
    zero = frame["y"] == 0
    if not zero.any() or zero.all():
        return frame[~zero]
    least = float(frame.loc[~zero, "y"].min())
    return frame.assign(y=frame["y"].where(~zero, least), censored=frame["censored"].where(~zero, np.int8(-1)))


def _zeros_told(rows: pd.DataFrame, measure: Measure) -> tuple[str, ...]:
    if measure.is_tasting or measure.scale != "log":
        return ()
    if not (rows[measure.name] == 0).any():
        return ()
    known = rows.loc[rows["batch"].notna() & rows["recipe"].notna(), measure.name]
    found = int((known == 0).sum())
    if not found or not (known > 0).any():
        return ()
    return (f"{count(found, 'reading of 0 stands', 'readings of 0 stand')} as less than the least that was read.",)


def _without(frame: pd.DataFrame, out: pd.Series, reason: str, left_out: list[LeftOut]) -> pd.DataFrame:
    if out.any():
        left_out.append(LeftOut(reason, int(out.sum())))
    return frame[~out]


def _candidates(
    frame: pd.DataFrame, values: pd.Series, practice: Practice
) -> list[tuple[Candidate, Floats]] | NotAssessed:
    noted = values.notna().to_numpy()
    recorded = len(np.unique(frame["batch"].to_numpy(dtype=np.int64)[noted]))
    if not recorded:
        return NotAssessed(practice.name, "not recorded for any batch", practice.label)
    if recorded < FEWEST_BATCHES:
        reason = f"recorded for {count(recorded, 'batch', 'batches')} only; at least {FEWEST_BATCHES} are needed"
        return NotAssessed(practice.name, reason, practice.label)
    why_not = "" if noted.all() else seldom_recorded(frame, values, practice)
    if why_not:
        return NotAssessed(practice.name, why_not, practice.label)
    if practice.type == "category":
        return _level_candidates(frame, values, practice)
    numbers = values.astype(np.float64)
    numbers = numbers.where(np.isfinite(numbers))
    why_not = _does_not_vary(frame, numbers)
    if why_not:
        return NotAssessed(practice.name, why_not, practice.label)
    candidate = Candidate(practice, f"x_{practice.name}", practice.step, practice.step_unit)
    return [(candidate, np.asarray(numbers / practice.step, dtype=np.float64))]


def _level_candidates(
    frame: pd.DataFrame, values: pd.Series, practice: Practice
) -> list[tuple[Candidate, Floats]] | NotAssessed:
    by_level = frame["batch"].groupby(values).nunique().sort_values(ascending=False, kind="stable")
    usable = [str(level) for level in by_level.index[by_level >= FEWEST_ON_A_SIDE]]
    if usable == [MIXED] and len(by_level) < 2:
        return NotAssessed(
            practice.name, "has several in every batch, so that no batch can be held against another", practice.label
        )
    if len(usable) < 2:
        other = "never varies" if len(by_level) < 2 else f"no second level has at least {FEWEST_ON_A_SIDE} batches"
        return NotAssessed(practice.name, other, practice.label)
    against = usable[0]
    kept = values.where(values.isin(usable))
    made: list[tuple[Candidate, Floats]] = []
    for place, level in enumerate(usable[1:], start=1):
        indicator = (kept == level).astype(np.float64).where(kept.notna())
        if not _does_not_vary(frame, indicator):
            step_unit = f"{level} against {against}"
            candidate = Candidate(practice, f"x_{practice.name}_{place}", 1.0, step_unit, level, against)
            made.append((candidate, np.asarray(indicator, dtype=np.float64)))
    return made or NotAssessed(
        practice.name, "differs only between recipes, so that it cannot be told from the recipe", practice.label
    )


def _usable_levels(frame: pd.DataFrame, values: pd.Series) -> int:
    return int((frame["batch"].groupby(values).nunique() >= FEWEST_ON_A_SIDE).sum())


def _does_not_vary(frame: pd.DataFrame, numbers: pd.Series) -> str:
    """Return why a practice cannot be compared within recipes, or an empty text where it can.

    ``frame`` has the codes of recipes and batches, whole numbers.
    """
    known = numbers.notna().to_numpy()
    values, x = np.unique(numbers.to_numpy(dtype=np.float64)[known], return_inverse=True)
    if len(values) < 2:
        return "never varies"
    recipe, batch = (frame[key].to_numpy(dtype=np.int64)[known] for key in ("recipe", "batch"))
    several = batch.max() + 1
    pair, own = np.divmod(np.unique((recipe * len(values) + x) * several + batch), several)
    of, value = np.divmod(pair, len(values))
    counts = np.bincount(pair, minlength=(recipe.max() + 1) * len(values)).reshape(-1, len(values))
    changed = len(np.unique(own[value != counts.argmax(axis=1)[of]]))
    if changed == 0:
        return "differs only between recipes, so that it cannot be told from the recipe"
    if changed < FEWEST_ON_A_SIDE:
        batches = count(changed, "batch", "batches")
        return f"differs from the usual in {batches} only; at least {FEWEST_ON_A_SIDE} are needed"
    return ""
