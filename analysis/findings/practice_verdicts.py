"""What is said of each practice, in numbers and in words?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from analysis.estimate import Estimate
from analysis.findings.finding import Finding
from analysis.findings.practice_censored import CensoredModel
from analysis.findings.practice_controls import Controls
from analysis.findings.practice_design import PracticeDesign
from analysis.findings.practice_joint import JointStatement
from analysis.findings.practice_one_answer import BENDS, DEPENDS, RECIPES_DIFFER, why_apart
from analysis.findings.practice_rows import ComparedRows, LeftOut, NotAssessed
from analysis.findings.wording import change, percent, span
from analysis.models import BatchesNeeded, MixedFit
from analysis.verdicts import Judgement, MarginAtLevel, Verdict
from analysis.vocabulary import Measure

__all__ = ["BEYOND_TELLING", "CROWDED", "NOT_BY_MORE", "Grounds", "PracticeEffect", "PracticesFinding", "within"]

# So many times the level: an end further out is no figure that anybody can use.
BEYOND_TELLING = 10.0


@dataclass(frozen=True)
class PracticeEffect:
    """What one step of a practice does to the measure.

    ``label`` heads a line, ``spoken`` stands inside a sentence; ``along`` is what always moves with the practice, as it
    stands inside a sentence. ``crowded`` says that there are hardly more batches than practices, so that what it would
    take cannot be said yet.

    ``effect`` is the 95 % interval in the measure's kept unit at the finding's ``level``, ``inner`` the 90 % one that
    is held against the margin; ``percent`` the same effect as a share of the level. ``alone`` and ``without_trend`` are
    its effects without the other practices and without the smooth in time. ``batches`` counts the batches it rests on;
    ``looked_at_often``
    is the interval that holds however often the page is looked at, ``selected`` that of an effect that was picked out
    of all that were asked of; ``needed`` says what it would take to tell.
    """

    practice: str
    label: str
    step: float
    step_unit: str
    effect: Estimate
    inner: Estimate
    percent: float
    judgement: Judgement
    alone: Estimate | None
    without_trend: Estimate | None
    batches: int
    needed: BatchesNeeded | None
    cautions: tuple[str, ...]
    spoken: str = ""
    rests_on: str | None = None
    looked_at_often: Estimate | None = None
    selected: Estimate | None = None
    along: tuple[str, ...] = ()
    crowded: bool = False

    @property
    def more_batches(self) -> int | None:
        """How many more batches would settle it either way; None where it is settled, where there are enough of them
        already, or where watching will not do it."""
        if self.needed is None or self.needed.more_equivalence is None or self.needed.more_difference is None:
            return None
        return max(self.needed.more_equivalence, self.needed.more_difference) or None

    @property
    def verdict(self) -> Verdict:
        """What may be said."""
        return self.judgement.verdict


@dataclass(frozen=True, eq=False)
class Grounds:
    """What a finding can be asked further of: its design, the Gaussian model, and the rows that was fitted to."""

    design: PracticeDesign
    workings: MixedFit
    frame: pd.DataFrame


@dataclass(frozen=True)
class PracticesFinding(Finding):
    """The verdicts of one measure.

    ``margin`` and ``level`` are None where nothing could be compared. ``formula`` and ``fit`` are the model's; ``runs``
    and ``batches`` count what was compared.
    """

    measure: Measure
    practices: tuple[PracticeEffect, ...]
    not_assessed: tuple[NotAssessed, ...]
    left_out: tuple[LeftOut, ...]
    margin: MarginAtLevel | None
    level: float | None
    packs: int
    runs: int
    batches: int
    formula: str
    log: bool
    fit: MixedFit | CensoredModel | None
    compared: ComparedRows
    controls: Controls = field(default_factory=Controls)
    joint: tuple[JointStatement, ...] = ()
    grounds: Grounds | None = None

    @property
    def margin_value(self) -> float | None:
        """The margin at ``level`` [the measure's kept unit]."""
        if self.margin is None or self.level is None:
            return None
        return self.level * math.expm1(self.margin.above) if self.log else self.margin.above

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        return {
            **super().as_document(),
            "measure": self.measure.name,
            "unit": self.measure.unit,
            "runs": self.runs,
            "batches": self.batches,
            "packs": self.packs,
            "level": self.level,
            "margin": self._margin_document(),
            "practices": [_effect_document(effect) for effect in self.practices],
            "not_assessed": [{"practice": n.practice, "reason": n.reason} for n in self.not_assessed],
            "left_out": [{"reason": out.reason, "rows": out.rows} for out in self.left_out],
            "joint": [{"practices": list(j.practices), "p": j.p, "sentence": j.sentence} for j in self.joint],
            "formula": self.formula,
            "controls": {
                "shuffled": self.controls.shuffled,
                "shuffled_hits": self.controls.shuffled_hits,
                "following": self.controls.following,
                "followed": list(self.controls.followed),
                "passed": not self.controls.sentences,
            },
        }

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return the verdicts as headers and rows of text, for a terminal or a table."""
        unit = self.measure.unit
        headers = [
            "Practice",
            "Step",
            "Verdict",
            f"Effect [{unit}]",
            "95 % interval",
            "Percent",
            "Batches",
            "More needed",
        ]
        rows = [
            [
                e.label,
                e.step_unit,
                _verdict_in_words(e),
                change(e.effect.value),
                within(e.effect, self),
                percent(e.percent),
                f"{e.batches:,}",
                _needed_in_words(e),
            ]
            for e in self.practices
        ]
        return headers, rows

    def _margin_document(self) -> dict[str, object] | None:
        if self.margin is None:
            return None
        margin = self.margin.margin
        return {
            "value": self.margin_value,
            "unit": self.measure.unit,
            "set_by": margin.set_by,
            "set_at": None if margin.set_at is None else margin.set_at.isoformat(),
            "is_default": margin.is_default,
            "as_set": {"value": margin.value, "unit": margin.unit, "recipe": margin.recipe},
        }


def within(estimate: Estimate, finding: PracticesFinding, unit: str = "") -> str:
    """Return an interval in words; where its upper end lies beyond ten times the level it says no more than that."""
    if finding.log and finding.level and estimate.high > BEYOND_TELLING * finding.level:
        return f"{change(estimate.low)} to more than ten times the level"
    return span(estimate.low, estimate.high, unit)


def _verdict_in_words(effect: PracticeEffect) -> str:
    if effect.judgement.size_certain:
        return f"{effect.verdict}, surely by more than the margin"
    return f"{effect.verdict}, small but real" if effect.judgement.small_but_real else str(effect.verdict)


# What it would take to tell, as the page says it too.
CROWDED = "There are hardly more batches than practices: a few more batches will tell much more."
NOT_BY_MORE = "More batches like these will not tell; a split batch would."
_LOOK_APART: Mapping[str, str] = {
    RECIPES_DIFFER: "look at one recipe at a time",
    BENDS: "look at its curve, dose by dose",
    DEPENDS: "look at each of the two by itself",
}


def _needed_in_words(effect: PracticeEffect) -> str:
    needed = effect.needed
    if effect.crowded:
        return "hardly more batches than practices"
    if needed is None:
        if _look_apart(effect):
            return "none will do: look apart"
        return "none will do: split a batch" if effect.judgement.effect.lowered_by else ""
    if needed.more_equivalence is None or needed.more_difference is None:
        return "over 200: split a batch"
    return f"{effect.more_batches:,}" if effect.more_batches else "enough on record"


def _advice(effect: PracticeEffect) -> str:
    if effect.crowded:
        return CROWDED
    if effect.needed is not None:
        return effect.needed.advice
    if apart := _look_apart(effect):
        return f"More batches will not make one answer of it: {apart}."
    return NOT_BY_MORE if effect.judgement.effect.lowered_by else ""


def _look_apart(effect: PracticeEffect) -> str:
    """Return where to look where one answer does not hold for every recipe, dose or way; empty else."""
    return _LOOK_APART.get(why_apart(effect.judgement.effect.lowered_by), "")


def _effect_document(e: PracticeEffect) -> dict[str, object]:
    return {
        "practice": e.practice,
        "label": e.label,
        "step": e.step,
        "step_unit": e.step_unit,
        "effect": e.effect.value,
        "low": e.effect.low,
        "high": e.effect.high,
        "effect_percent": e.percent,
        "verdict": str(e.verdict),
        "p": e.judgement.p,
        "q": e.judgement.q,
        "batches": e.batches,
        "more_batches": e.more_batches,
        "more_batches_to_show_none": None if e.needed is None else e.needed.more_equivalence,
        "more_batches_to_find_margin": None if e.needed is None else e.needed.more_difference,
        "advice": _advice(e),
        "small_but_real": e.judgement.small_but_real,
        "size_certain": e.judgement.size_certain,
        "reasons": list(e.judgement.reasons),
        "alone": _beside_document(e.alone),
        "without_trend": _beside_document(e.without_trend),
        "rests_on": e.rests_on,
        "looked_at_often": _beside_document(e.looked_at_often),
        "selected": _beside_document(e.selected),
        "cautions": list(e.cautions),
    }


def _beside_document(estimate: Estimate | None) -> dict[str, object] | None:
    return None if estimate is None else {"effect": estimate.value, "low": estimate.low, "high": estimate.high}
