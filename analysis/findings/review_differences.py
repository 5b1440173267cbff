"""What was done differently in the runs of a matter, and which share of the move does it explain?

Each practice's deviation from what was usual in the runs that the matter is held against, times its slope from the
practices' model (within recipes, all practices together), is its share of the move. The shares and the part left
unexplained add up to the move. A share whose interval holds zero, or whose practice cannot be told yet, is said to be
not certain. Nothing here proves a cause.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.practice_verdicts import PracticeEffect, PracticesFinding
from analysis.findings.practice_words import spoken
from analysis.findings.review_matters import Matter
from analysis.findings.review_sizes import weights_of
from analysis.findings.review_usual import Standing, standings
from analysis.findings.wording import amount, count, listing
from analysis.linking import PackTable
from analysis.verdicts import Verdict

__all__ = ["Difference", "Differences", "NotExplaining", "differences"]

NOT_THE_PACK = "the model of practices is made for the finished pack: of this stage it says nothing"
_WORTH_TELLING = 0.02  # of the move
_NO_CAUSE = "What was done differently is not shown to be the cause."
_NOTHING_READ = "none of these runs has all its practices written down"

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """One practice: how it stood in the matter's runs (``here``) and usually, in words, and its share of the move.

    ``share``, ``low`` and ``high`` are in the measure's kept unit, ``percent`` the share of the whole move [%] (NaN
    where there is hardly a move). ``uncertain`` says why the share is not certain, "" where it is.
    """

    practice: str
    label: str
    here: str
    usually: str
    share: float
    low: float
    high: float
    percent: float
    uncertain: str

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document has it."""
        numbers = {"share": self.share, "low": self.low, "high": self.high, "percent": self.percent}
        return {
            "practice": self.practice,
            "label": self.label,
            "here": self.here,
            "usually": self.usually,
            **{name: value if math.isfinite(value) else None for name, value in numbers.items()},
            "certain": not self.uncertain,
            "uncertain_because": self.uncertain or None,
        }


@dataclass(frozen=True)
class NotExplaining:
    """A practice that the model could not assess: how it stood, and why it could not."""

    practice: str
    label: str
    here: str
    usually: str
    reason: str


@dataclass(frozen=True)
class Differences:
    """The move [kept unit] as the sum of the shares of ``lines`` and ``unexplained``.

    ``lines`` are largest first. ``why_not`` says why there are no shares, "" where there are. ``cautions`` say what the
    shares rest on.
    """

    move: float
    unit: str
    lines: tuple[Difference, ...]
    unexplained: float
    not_assessed: tuple[NotExplaining, ...]
    why_not: str
    cautions: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document has it."""
        return {
            "move": self.move,
            "unit": self.unit,
            "lines": [line.as_document() for line in self.lines],
            "unexplained": self.unexplained,
            "not_assessed": [{"practice": one.practice, "reason": one.reason} for one in self.not_assessed],
            "why_not": self.why_not or None,
            "cautions": list(self.cautions),
        }

    @property
    def telling(self) -> tuple[Difference, ...]:
        """The lines that are worth a row: those of at least 2 % of the move."""
        least = _WORTH_TELLING * max(abs(self.move), abs(self.unexplained))
        return tuple(line for line in self.lines if abs(line.share) >= least)

    @property
    def in_sentences(self) -> tuple[str, ...]:
        """The answer in a few sentences, for a record."""
        if self.why_not:
            return (f"What was done differently cannot be weighed: {self.why_not}.",)
        sure = [line for line in self.telling if not line.uncertain][:3]
        told = listing(
            [
                f"{spoken(line.label)} {line.here} instead of {line.usually} ({signed(line.share, self.unit)})"
                for line in sure
            ]
        )
        parts = [f"Done differently, with a share that is certain: {told}." if sure else
                 "No practice has a share of the move that is certain."]  # fmt: skip
        return (*parts, f"{signed(self.unexplained, self.unit)} of {signed(self.move, self.unit)} is left unexplained.")


def signed(value: float, unit: str) -> str:
    """Return a change with its sign."""
    return amount(value, unit) if value <= 0 else f"+{amount(value, unit)}"


def differences(matter: Matter, table: PackTable, finding: PracticesFinding | None) -> Differences:
    """Return what was done differently in the runs of a matter.

    Parameters
    ----------
    matter : Matter
    table : PackTable
    finding : PracticesFinding or None
        The practices' model of the matter's measure over all packs; None at a stage before the pack.
    """
    stood = standings(matter, table)
    why_not = NOT_THE_PACK if matter.key.stage != "pack" else _why_no_model(finding)
    if why_not or finding is None or finding.grounds is None:
        return _unweighed(matter, stood, why_not)
    weights = _weights(matter, finding.grounds.frame)
    if weights is None:
        return _unweighed(matter, stood, _NOTHING_READ)
    lines = [*_of_practices(matter, finding, weights, stood), *_of_readings(matter, finding, weights)]
    unexplained = matter.size.change - sum(line.share for line in lines)
    return Differences(
        move=matter.size.change,
        unit=matter.measure.unit,
        lines=tuple(sorted(lines, key=lambda line: -abs(line.share))),
        unexplained=unexplained,
        not_assessed=_not_assessed(finding, stood),
        why_not="",
        cautions=_cautions(matter, weights, lines, unexplained),
    )


def _why_no_model(finding: PracticesFinding | None) -> str:
    if finding is None:
        return "there is no model of practices for this measure"
    if finding.grounds is None or not finding.practices:
        return finding.answer.rstrip(".")
    return ""


def _unweighed(matter: Matter, stood: dict[str, Standing], why_not: str) -> Differences:
    rest = tuple(
        NotExplaining(name, one.label, one.here, one.usually, why_not) for name, one in stood.items() if one.differs
    )
    return Differences(matter.size.change, matter.measure.unit, (), matter.size.change, rest, why_not, ())


def _weights(matter: Matter, frame: pd.DataFrame) -> pd.Series | None:
    """Return the weight of each run whose practices are known, by run; None where they cannot be held together."""
    known = matter.chart["label"].isin(frame["run"]).to_numpy(np.bool_)
    size = matter.size
    groups = matter.chart["group"].to_numpy(np.int64)
    weights = weights_of(groups, size.inside & known, size.against & known)
    return None if weights is None else pd.Series(weights, index=matter.chart["label"])[weights != 0]


def _moved(frame: pd.DataFrame, column: pd.Series, weights: pd.Series) -> float:
    """Return how far a column of the model stood from its usual, over runs."""
    by_run = column.groupby(frame["run"]).mean().reindex(weights.index)
    return float(weights.to_numpy(np.float64) @ by_run.to_numpy(np.float64))


def _of_practices(
    matter: Matter, finding: PracticesFinding, weights: pd.Series, stood: dict[str, Standing]
) -> list[Difference]:
    assert finding.grounds is not None
    frame = finding.grounds.frame
    columns = {candidate.name: candidate for candidate in finding.grounds.design.candidates}
    lines = []
    for effect in finding.practices:
        candidate = columns.get(effect.practice.split(" + ")[0])
        if candidate is None:
            continue
        steps = _moved(frame, frame[candidate.column], weights)
        standing = stood.get(candidate.practice.name)
        here, usually = ("", "") if standing is None else (standing.here, standing.usually)
        lines.append(_line(matter, effect, effect.practice, effect.label, here, usually, steps))
    return lines


def _line(
    matter: Matter, effect: PracticeEffect, name: str, label: str, here: str, usually: str, steps: float
) -> Difference:
    judged = effect.judgement
    low, high = sorted((steps * judged.low, steps * judged.high))
    uncertain = ""
    if effect.verdict is Verdict.CANNOT_TELL_YET:
        uncertain = "what this practice does cannot be told yet"
    elif low <= 0 <= high:
        uncertain = "it may as well be nothing"
    return _told(matter, (name, label, here, usually), steps * judged.effect.estimate, low, high, uncertain)


def _told(
    matter: Matter, words: tuple[str, str, str, str], share: float, low: float, high: float, uncertain: str
) -> Difference:
    unit, move = matter.size.unit_a_log, matter.size.on_scale
    of_move = 100 * share / move if abs(move) > 1e-9 else math.nan
    return Difference(*words, share * unit, low * unit, high * unit, of_move, uncertain)


def _of_readings(matter: Matter, finding: PracticesFinding, weights: pd.Series) -> list[Difference]:
    """Return what the model puts down to how the packs were read: another meter, older packs, another panellist."""
    assert finding.grounds is not None
    grounds = finding.grounds
    fit, frame = grounds.workings, grounds.frame
    lines = []
    for name, slope, error in zip(fit.names, fit.coefficients.tolist(), fit.standard_errors.tolist(), strict=True):
        told = _reading_column(name, frame)
        if told is None:
            continue
        label, column, unit = told
        steps = _moved(frame, column, weights)
        if abs(steps) < 1e-9:
            continue
        here, usually = _two_levels(frame, column, weights, unit)
        ends = sorted((steps * (slope - 1.96 * error), steps * (slope + 1.96 * error)))
        uncertain = "it may as well be nothing" if ends[0] <= 0 <= ends[1] else ""
        lines.append(_told(matter, (name, label, here, usually), steps * slope, ends[0], ends[1], uncertain))
    return lines


def _reading_column(name: str, frame: pd.DataFrame) -> tuple[str, pd.Series, str] | None:
    """Return the label, values and unit of a model column that tells how packs were read; None for any other."""
    if name == "age_days":
        return "Age of the packs when read", frame["age_days"].astype(np.float64), "d"
    if name.startswith("not_x_") and name in frame:
        label = name.removeprefix("not_x_").replace("_", " ")
        return f"No {label} to note", frame[name].astype(np.float64), "%"
    factor, _, level = name.partition("[T.")
    if factor not in ("meter", "panellist") or not level:
        return None
    level = level.removesuffix("]")
    label = f"Read on {level}" if factor == "meter" else f"Scored by {level}"
    return label, (frame[factor].astype("str") == level).astype(np.float64), "%"


def _two_levels(frame: pd.DataFrame, column: pd.Series, weights: pd.Series, unit: str) -> tuple[str, str]:
    by_run = column.groupby(frame["run"]).mean().reindex(weights.index).to_numpy(np.float64)
    own = weights.to_numpy(np.float64)
    levels = float(own[own > 0] @ by_run[own > 0]), float(-own[own < 0] @ by_run[own < 0])
    if unit == "%":
        here, usually = (f"{100 * level:.0f} % of runs" for level in levels)
        return here, usually
    return amount(levels[0], unit, digits=2), amount(levels[1], unit, digits=2)


def _not_assessed(finding: PracticesFinding, stood: dict[str, Standing]) -> tuple[NotExplaining, ...]:
    rest = []
    for one in finding.not_assessed:
        name = one.practice.split(":")[0]
        standing = stood.get(name)
        label = standing.label if standing is not None else name.replace("_", " ")
        here, usually = ("", "") if standing is None else (standing.here, standing.usually)
        rest.append(NotExplaining(one.practice, label, here, usually, one.reason))
    return tuple(rest)


def _cautions(matter: Matter, weights: pd.Series, lines: Sequence[Difference], unexplained: float) -> tuple[str, ...]:
    said = []
    inside = int(matter.size.inside.sum())
    known = int((weights > 0).sum())
    if known < inside:
        said.append(f"The practices of {count(inside - known, 'run')} of these {inside} are not all written down: "
                    "the others stand for them.")  # fmt: skip
    if matter.stretch.move is not None and matter.stretch.move.gradual:
        said.append("The level moved slowly: the runs at the end of the climb are held against those at its beginning.")
        return (*said, _NO_CAUSE)
    aside = matter.stretch.last - matter.stretch.first + 1 - inside
    if aside > 0:
        said.append(
            f"{count(aside, 'run')} left aside: there is no earlier one of the same recipe and format to hold "
            f"{'it' if aside == 1 else 'them'} against."
        )
    if any(line.uncertain and abs(line.share) > abs(unexplained) for line in lines):
        said.append("A share that is not certain is large here: read the part left unexplained with care.")
    return (*said, _NO_CAUSE)
