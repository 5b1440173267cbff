"""Is the model behind a page of verdicts to be believed: are its residuals what it takes them for?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.findings.practice_verdicts import PracticesFinding
from analysis.findings.wording import amount
from analysis.models import CannotFitError, fitted_rows, normality, row_fit, spread_against_level

__all__ = ["ModelChecks", "model_checks"]

# With hundreds of packs any departure is beyond chance: only one that can bend an interval is worth saying.
HEAVY_TAILS = 1.5
LOPSIDED = 0.75
FAR_OFF = 4.0
WEIGHTY = 0.5
SPREADS_WITH_LEVEL = 0.25
CHANCE = 0.01


@dataclass(frozen=True)
class ModelChecks:
    """Of the residuals of single packs: skewness and excess kurtosis (0 and 0 for a normal curve) with the p of the
    test of normality, the rank correlation of their size with the level and its p, how many lie beyond four standard
    deviations, and the run of the furthest; the largest leverage (0 to 1) and its run. ``sentences`` say what a brewer
    has to know of that."""

    skewness: float
    kurtosis: float
    normal_p: float
    spread_correlation: float
    spread_p: float
    far_off: int
    furthest: str
    largest_leverage: float
    heaviest: str
    sentences: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        """Return it as a JSON document."""
        return {name: value for name, value in vars(self).items() if name != "sentences"} | {
            "sentences": list(self.sentences)
        }


def model_checks(finding: PracticesFinding) -> ModelChecks | None:
    """Return the checks of a finding's model; None where nothing was fitted, or too little to check."""
    if finding.grounds is None:
        return None
    rows = fitted_rows(finding.grounds.workings, finding.grounds.frame)
    told = row_fit(finding.grounds.workings, rows)
    if np.ptp(told.fitted) == 0 or np.ptp(np.abs(told.residuals)) == 0:
        return None
    try:
        shape, spread = normality(told.standardised), spread_against_level(told.residuals, told.fitted)
    except CannotFitError:
        return None
    runs = rows.frame.loc[told.kept, "run"].astype(str).to_numpy()
    furthest, heaviest = int(np.argmax(np.abs(told.standardised))), int(np.argmax(told.leverages))
    checks = ModelChecks(
        shape.skewness,
        shape.kurtosis,
        shape.p,
        spread.rank_correlation,
        spread.p,
        int((np.abs(told.standardised) > FAR_OFF).sum()),
        str(runs[furthest]),
        float(told.leverages[heaviest]),
        str(runs[heaviest]),
        (),
    )
    return ModelChecks(**{**vars(checks), "sentences": _sentences(checks)})


def _sentences(checks: ModelChecks) -> tuple[str, ...]:
    said = [_shape(checks), _even(checks)]
    if checks.far_off:
        packs = "one pack reads" if checks.far_off == 1 else f"{checks.far_off} packs read"
        said.append(
            f"{packs} further off than chance allows (beyond four standard deviations), furthest in run "
            f"{checks.furthest}: look whether that was a fault of the meter or of the pack"
        )
    if checks.largest_leverage > WEIGHTY:
        share = amount(100 * checks.largest_leverage, "%", digits=2)
        said.append(f"a pack of run {checks.heaviest} nearly sets its own value (leverage {share})")
    else:
        share = amount(100 * checks.largest_leverage, "%", digits=2)
        said.append(f"no pack weighs too much: the weightiest sets {share} of its own value, in run {checks.heaviest}")
    return tuple(said)


def _shape(checks: ModelChecks) -> str:
    if checks.normal_p <= CHANCE and abs(checks.skewness) > LOPSIDED:
        way = "high" if checks.skewness > 0 else "low"
        return f"packs stray further to the {way} side than to the other; intervals are approximate"
    if checks.normal_p <= CHANCE and checks.kurtosis > HEAVY_TAILS:
        return (
            "more packs stray far than a normal curve has; intervals are approximate, rather too wide than too narrow"
        )
    return "how far packs stray from what the model expects of them follows a bell curve (the normal one), as it should"


def _even(checks: ModelChecks) -> str:
    if checks.spread_p <= CHANCE and abs(checks.spread_correlation) > SPREADS_WITH_LEVEL:
        way = "more" if checks.spread_correlation > 0 else "less"
        return f"packs stray {way} where the level is high, which the model takes to be even"
    return "packs stray about as much at a high level as at a low one"
