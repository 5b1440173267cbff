"""Does the practice raise it, lower it, make no practical difference, or can that not be told yet?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from scipy import stats

from analysis.verdicts.equivalence import two_one_sided_tests
from analysis.verdicts.margin import MarginAtLevel
from analysis.verdicts.multiplicity import adjusted_p_values, false_coverage_level

__all__ = ["Effect", "Judgement", "Verdict", "judge_family"]

FAMILY_RATE = 0.05


class Verdict(StrEnum):
    """The four things that can be said of a practice."""

    RAISES = "raises"
    LOWERS = "lowers"
    NO_PRACTICAL_DIFFERENCE = "no practical difference"
    CANNOT_TELL_YET = "cannot tell yet"


@dataclass(frozen=True)
class Effect:
    """An estimated effect of one step, on the model's scale.

    ``lowered_by`` holds reasons for which no verdict but "cannot tell yet" may be given: two practices that cannot be
    separated, or a negative control that was hit.
    """

    name: str
    estimate: float
    standard_error: float
    df: float
    lowered_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """A verdict with everything it rests on, on the model's scale.

    ``low`` and ``high`` bound the 95 % interval; ``inner_low`` and ``inner_high`` the 90 % one that the equivalence
    test uses; ``selected_low`` and ``selected_high`` the false-coverage-adjusted one of an effect that was picked out.
    ``p`` and ``q`` test "no effect", ``p_equivalent`` and ``q_equivalent`` test "beyond the margin"; q is p adjusted
    within its family. ``size_certain`` says that even the near end of the interval lies beyond the margin;
    ``small_but_real`` that the effect is surely not zero and surely within the margin.
    """

    effect: Effect
    verdict: Verdict
    low: float
    high: float
    inner_low: float
    inner_high: float
    selected_low: float
    selected_high: float
    p: float
    q: float
    p_equivalent: float
    q_equivalent: float
    size_certain: bool = False
    small_but_real: bool = False
    reasons: tuple[str, ...] = field(default=())


def judge_family(
    effects: Sequence[Effect], margin: MarginAtLevel | Sequence[MarginAtLevel] | None
) -> tuple[Judgement, ...]:
    """Judge all effects of one page together.

    All tests of "no effect" are one family and all tests of "beyond the margin" another, each held to a false
    discovery rate of 5 %. In order: an effect whose equivalence test passes makes no practical difference, even where
    it is surely not zero; one whose test of no effect passes raises or lowers; of any other it cannot be told yet.

    Parameters
    ----------
    effects : sequence of Effect, length m
    margin : MarginAtLevel, a sequence of them (length m), or None
        Without a margin "no practical difference" is never said.

    Returns
    -------
    tuple of Judgement, length m

    Raises
    ------
    ValueError
        If the margins are neither one nor one an effect, or a standard error is not positive.
    """
    margins = _one_each(margin, len(effects))
    p = [_two_sided_p(effect) for effect in effects]
    tests = [
        None if m is None else two_one_sided_tests(e.estimate, e.standard_error, e.df, *m.inside)
        for e, m in zip(effects, margins, strict=True)
    ]
    p_equivalent = [math.nan if test is None else test.p for test in tests]
    q = adjusted_p_values(p)
    q_equivalent = adjusted_p_values(p_equivalent)
    selected = int((q <= FAMILY_RATE).sum())
    wide = false_coverage_level(selected, len(effects)) if effects else 0.95
    return tuple(
        _judge(e, m, p[i], float(q[i]), p_equivalent[i], float(q_equivalent[i]), wide)
        for i, (e, m) in enumerate(zip(effects, margins, strict=True))
    )


def _one_each(margin: MarginAtLevel | Sequence[MarginAtLevel] | None, count: int) -> Sequence[MarginAtLevel | None]:
    if margin is None:
        return [None] * count
    if isinstance(margin, MarginAtLevel):
        return [margin] * count
    if len(margin) != count:
        raise ValueError(f"judge_family: margin must be one or one an effect ({count}), got {len(margin)}")
    return margin


def _two_sided_p(effect: Effect) -> float:
    if not (effect.standard_error > 0 and effect.df > 0):
        raise ValueError(
            f"judge_family: standard_error and df must be positive, got {effect.standard_error} and {effect.df} "
            f"for {effect.name}"
        )
    return float(2 * stats.t.sf(abs(effect.estimate) / effect.standard_error, effect.df))


def _interval(effect: Effect, level: float) -> tuple[float, float]:
    reach = float(stats.t.ppf((1 + level) / 2, effect.df)) * effect.standard_error
    return effect.estimate - reach, effect.estimate + reach


def _judge(
    effect: Effect,
    margin: MarginAtLevel | None,
    p: float,
    q: float,
    p_equivalent: float,
    q_equivalent: float,
    selected_level: float,
) -> Judgement:
    low, high = _interval(effect, 0.95)
    inner_low, inner_high = _interval(effect, 0.90)
    selected_low, selected_high = _interval(effect, selected_level)
    within = margin is not None and q_equivalent <= FAMILY_RATE
    stands_out = q <= FAMILY_RATE
    verdict, reasons = _verdict(effect, within=within, stands_out=stands_out, p=p, p_equivalent=p_equivalent)
    size_certain = margin is not None and (low >= margin.above or high <= margin.below)
    return Judgement(
        effect,
        verdict,
        low,
        high,
        inner_low,
        inner_high,
        selected_low,
        selected_high,
        p,
        q,
        p_equivalent,
        q_equivalent,
        size_certain=size_certain and verdict in (Verdict.RAISES, Verdict.LOWERS),
        small_but_real=verdict is Verdict.NO_PRACTICAL_DIFFERENCE and stands_out,
        reasons=(*reasons, *(() if margin is not None else ("no margin is set, so that it cannot be called small",))),
    )


def _verdict(
    effect: Effect, *, within: bool, stands_out: bool, p: float, p_equivalent: float
) -> tuple[Verdict, tuple[str, ...]]:
    if effect.lowered_by:
        return Verdict.CANNOT_TELL_YET, effect.lowered_by
    if within:
        return Verdict.NO_PRACTICAL_DIFFERENCE, ("the whole 90 % interval lies inside the margin",)
    if stands_out:
        word = Verdict.RAISES if effect.estimate > 0 else Verdict.LOWERS
        return word, ("the 95 % interval leaves zero out, also after allowing for all questions asked at once",)
    if p <= FAMILY_RATE:
        return Verdict.CANNOT_TELL_YET, ("it would stand out alone, but not among all questions asked at once",)
    if p_equivalent <= FAMILY_RATE:
        return Verdict.CANNOT_TELL_YET, ("it would pass as small alone, but not among all questions asked at once",)
    return Verdict.CANNOT_TELL_YET, ("the interval holds both no effect and effects that matter",)
