"""Which practices shift a measure in the finished pack, and which cannot be told yet?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence, Set
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.findings.filters import Filters
from analysis.findings.margins import margin_for, margins_on_record, only_format
from analysis.findings.practice_answers import answers_to_the_tank, may_follow_sentence, not_to_be_told
from analysis.findings.practice_cautions import Notes
from analysis.findings.practice_controls import Controls, run_controls
from analysis.findings.practice_design import PracticeDesign, design_for
from analysis.findings.practice_effects import practice_effect
from analysis.findings.practice_influence import RestsOn, rests_on_one_batch
from analysis.findings.practice_joint import JointStatement, joint_statements
from analysis.findings.practice_levels import told_of_levels
from analysis.findings.practice_model import PracticeFits, Slope, fit_practices
from analysis.findings.practice_once import ChangedOnce, changed_once
from analysis.findings.practice_one_answer import OneAnswer, one_answer
from analysis.findings.practice_rounding import shares_lost
from analysis.findings.practice_rows import (
    FEWEST_BATCHES,
    Candidate,
    ComparedRows,
    NotAssessed,
    compare_rows,
    nothing_read,
)
from analysis.findings.practice_separation import Separation, separate
from analysis.findings.practice_through import through_others
from analysis.findings.practice_verdicts import Grounds, PracticeEffect, PracticesFinding
from analysis.findings.practice_words import spoken_measure
from analysis.findings.wording import amount, count, figure, listing
from analysis.linking import PackTable
from analysis.verdicts import Effect, Judgement, MarginAtLevel, Verdict, judge_family
from analysis.vocabulary import Measure
from analysis.vocabulary import measure as measure_of

__all__ = ["MARGIN_OF", "PracticeEffect", "PracticesFinding", "practices"]

# How the caution begins that says whose margin judges, where recipes have margins of their own.
MARGIN_OF = "The margin is that of"

_ORDER = (Verdict.RAISES, Verdict.LOWERS, Verdict.NO_PRACTICAL_DIFFERENCE, Verdict.CANNOT_TELL_YET)


def practices(table: PackTable, measure: str, filters: Filters | None = None) -> PracticesFinding:
    """Say which practices shift a measure.

    All practices enter one model together, with the recipe, the meter, the age of the pack and a smooth in time
    beside them and batches (and runs) as random effects: a slope is therefore one within recipes, and packs of one run
    count as one batch. Practices that move together enter as one.

    Parameters
    ----------
    table : PackTable
    measure : str
        A measure's kept name, or a tasting attribute.
    filters : Filters, optional
        All packs where it is not given.

    Returns
    -------
    PracticesFinding
        Without practices where nothing can be said; ``answer`` then says why.
    """
    what = measure_of(measure)
    chosen = filters if filters is not None else Filters()
    rows = chosen.apply(table.tastings if what.is_tasting else table.rows)
    if not what.is_tasting and what.name not in rows:
        rows = rows.assign(**{what.name: np.nan})
    compared = compare_rows(table, rows, what)
    separation = separate(compared.frame, compared.candidates)
    design = design_for(compared, what, separation.leaders)
    fits = (
        fit_practices(design)
        if len(design.frame)
        else PracticeFits({}, {}, {}, {}, None, why_not=nothing_read(compared))
    )
    if fits.fit is None:
        return _unanswered(table, what, chosen, compared, design, fits.why_not)
    return _answered(table, what, chosen, compared, separation, design, fits)


def _unanswered(
    table: PackTable, what: Measure, filters: Filters, compared: ComparedRows, design: PracticeDesign, why: str
) -> PracticesFinding:
    reasons = (
        *compared.not_assessed,
        *(NotAssessed(c.name, why, c.label) for c in compared.candidates),
        *_not_offered(table),
    )
    return PracticesFinding(
        question=_question(what),
        answer=f"Nothing can be told of {spoken_measure(what)}: {why}.",
        cautions=table.remarks_on(what.name, stage="pack"),
        ledger_state=table.state,
        filters=filters,
        measure=what,
        practices=(),
        not_assessed=reasons,
        left_out=design.left_out,
        margin=None,
        level=None,
        packs=len(compared.frame),
        runs=compared.runs,
        batches=compared.batches,
        formula="",
        log=design.log,
        fit=None,
        compared=compared,
    )


def _answered(
    table: PackTable,
    what: Measure,
    filters: Filters,
    compared: ComparedRows,
    separation: Separation,
    design: PracticeDesign,
    fits: PracticeFits,
) -> PracticesFinding:
    frame = design.frame
    levels = _levels(design)
    level = _typical(design, frame)
    margin = margin_for(
        margins_on_record(table.targets, what.name, only_format(frame)), what.name, levels, log=design.log
    )
    told = [c for c in design.candidates if c.column in fits.together]
    once = changed_once(frame, told)
    controls = _controls(fits, told)
    hidden = through_others(frame, told, fits.together, fits.without_times)
    lost = shares_lost(frame, told)
    margins = {c.column: margin.less(lost[c.column].share) if c.column in lost else margin for c in told}
    answered = answers_to_the_tank(table, frame, told, what)
    uneven = _uneven(design, fits, margins)
    asked = [_asked(c, fits.together[c.column], once, hidden, controls) for c in told]
    judged = _judged(told, asked, margins, answered, uneven, what)
    joint = _joint(fits, separation, told, judged)
    follows = {c.column: answered.get(c.column) or may_follow_sentence(c, what) for c in told}
    rests_on = _rests_on(fits, told, judged, margins)
    notes = Notes(frame, separation, once, hidden, joint, rests_on, lost, fits.memory, follows, uneven)
    made = [
        practice_effect(c, judgement, notes, fits, margins[c.column], level, what.unit)
        for c, judgement in zip(told, judged, strict=True)
    ]
    uneven_ones = {c.name for c in told if c.column in uneven}
    together = {name for statement in joint for name in statement.practices}
    ordered = tuple(sorted(made, key=lambda e: _place(e, uneven_ones | together)))
    return PracticesFinding(
        question=_question(what),
        answer=_answer(what, ordered, joint, uneven_ones)
        if ordered
        else _nothing_compared(what, frame, left_over=bool(design.candidates)),
        cautions=(
            *table.remarks_on(what.name, stage="pack"),
            *controls.sentences,
            *_page_cautions(margin, what),
            *compared.remarks,
        ),
        ledger_state=table.state,
        filters=filters,
        measure=what,
        practices=ordered,
        not_assessed=(
            *_with_levels(compared, fits, what.unit, log=design.log),
            *_followers(separation),
            *_made_by_others(design, fits),
            *_not_offered(table),
        ),
        left_out=design.left_out,
        margin=margin,
        level=level,
        packs=len(frame),
        runs=int(frame["run"].nunique()),
        batches=int(frame["batch"].nunique()),
        formula=design.formula(),
        log=design.log,
        fit=fits.fit,
        compared=compared,
        controls=controls,
        joint=joint,
        grounds=None if fits.workings is None or fits.frame is None else Grounds(design, fits.workings, fits.frame),
    )


def _place(effect: PracticeEffect, matters: Set[str]) -> tuple[int, float]:
    """Return where an effect stands on the page: what shifts the measure, then what matters but not in one way for all,
    then what makes no practical difference, then what cannot be told; the largest of each first."""
    size = -abs(effect.judgement.effect.estimate)
    if effect.verdict is Verdict.CANNOT_TELL_YET and effect.judgement.effect.name in matters:
        return 2, size
    return (0, 1, 3, 4)[_ORDER.index(effect.verdict)], size


def _rests_on(
    fits: PracticeFits, told: Sequence[Candidate], judged: Sequence[Judgement], margins: Mapping[str, MarginAtLevel]
) -> Mapping[str, RestsOn]:
    if fits.workings is None or fits.frame is None:
        return {}
    return rests_on_one_batch(
        fits.workings, fits.frame, {c.column: j for c, j in zip(told, judged, strict=True)}, margins
    )


def _joint(
    fits: PracticeFits, separation: Separation, told: Sequence[Candidate], judged: Sequence[Judgement]
) -> tuple[JointStatement, ...]:
    if fits.workings is None or fits.fit is not fits.workings:
        return ()  # readings that stand in for limits spread too little for a test of their own
    if all(len(fits.together) > fits.together[c.column].df for c in told):
        return ()  # with hardly more batches than practices they are all but made by each other
    # Of a practice that is surely small it is not said that it matters, alone or with others.
    by_column = {
        c.column: (c, judgement)
        for c, judgement in zip(told, judged, strict=True)
        if judgement.verdict is not Verdict.NO_PRACTICAL_DIFFERENCE
    }
    return joint_statements(fits.workings, separation, by_column)


def _uneven(
    design: PracticeDesign, fits: PracticeFits, margins: Mapping[str, MarginAtLevel]
) -> Mapping[str, OneAnswer]:
    if fits.workings is None or fits.frame is None:
        return {}
    return one_answer(fits.workings, fits.frame, design.candidates, margins)


def _controls(fits: PracticeFits, told: Sequence[Candidate]) -> Controls:
    if fits.workings is None or fits.frame is None:
        return Controls()
    return run_controls(fits.workings, fits.frame, [c for c in told if c.column in fits.workings.names])


def _asked(
    candidate: Candidate,
    slope: Slope,
    once: Mapping[str, ChangedOnce],
    hidden: Mapping[str, str],
    controls: Controls,
) -> Effect:
    """Return an effect as it is judged, with what lowers it to "cannot tell yet"."""
    change = once.get(candidate.column)
    alone_in_time = (change.sentence,) if change is not None and not change.is_comparable else ()
    behind = (hidden[candidate.column],) if candidate.column in hidden else ()
    lowered = (*alone_in_time, *behind, *controls.sentences)
    return Effect(candidate.name, slope.estimate, slope.standard_error, slope.df, lowered)


def _judged(
    told: Sequence[Candidate],
    asked: Sequence[Effect],
    margins: Mapping[str, MarginAtLevel],
    answered: Mapping[str, str],
    uneven: Mapping[str, OneAnswer],
    what: Measure,
) -> tuple[Judgement, ...]:
    """Judge the family, and once more where a practice may have followed the haze that it seems to raise, or is small
    on average but not for every recipe, dose or way of doing it."""
    judged = judge_family(asked, list(margins.values()))
    why = [
        not_to_be_told(c, j, answered, what) or _not_one_answer(j, uneven.get(c.column))
        for c, j in zip(told, judged, strict=True)
    ]
    if not any(why):
        return judged
    lowered = [replace(e, lowered_by=(*e.lowered_by, w)) if w else e for e, w in zip(asked, why, strict=True)]
    return judge_family(lowered, list(margins.values()))


def _not_one_answer(judgement: Judgement, found: OneAnswer | None) -> str:
    """Return why an effect may not be called small for all, empty where it may."""
    small = judgement.verdict is Verdict.NO_PRACTICAL_DIFFERENCE
    return found.sentences[0] if small and found is not None and not found.small_all_the_same else ""


def _with_levels(compared: ComparedRows, fits: PracticeFits, unit: str, *, log: bool) -> list[NotAssessed]:
    """Return what was not assessed, of categories with many levels what their spread comes to."""
    said = {} if fits.workings is None else told_of_levels(fits.workings, unit, log=log)
    return [replace(n, reason=said.get(n.practice, n.reason)) for n in compared.not_assessed]


def _levels(design: PracticeDesign) -> Mapping[str, float]:
    """Return each recipe's typical value [the measure's kept unit]: the mean over its batches on the model's scale."""
    by_batch = design.frame.groupby(["recipe", "batch"])["response"].mean()
    means = by_batch.groupby("recipe").mean()
    return {str(recipe): math.exp(m) if design.log else m for recipe, m in means.items()}


def _typical(design: PracticeDesign, frame: pd.DataFrame) -> float:
    mean = float(frame.groupby("batch")["response"].mean().mean())
    return math.exp(mean) if design.log else mean


def _followers(separation: Separation) -> list[NotAssessed]:
    by_column = {c.column: c for c in separation.leaders}
    return [
        NotAssessed(
            f.candidate.name,
            f"always moves with {by_column[lead].spoken}: only their joint effect can be told",
            f.candidate.label,
        )
        for lead, followers in separation.followers.items()
        for f in followers
    ]


def _made_by_others(design: PracticeDesign, fits: PracticeFits) -> list[NotAssessed]:
    frame = design.frame
    room = frame["batch"].nunique() - frame["recipe"].nunique() - len(design.trend)
    why = (
        "is fully determined by the other practices, the recipe and the season"
        if len(design.candidates) < room
        else "cannot be told beside the other practices: there are not more batches than practices"
    )
    return [NotAssessed(c.name, why, c.label) for c in design.candidates if c.column not in fits.together]


def _not_offered(table: PackTable) -> list[NotAssessed]:
    """Return the brewery's own columns that are kept and make no practice, and why."""
    told = table.not_offered
    if not len(told):
        return []
    return [NotAssessed(str(name), str(reason)) for name, reason in zip(told["name"], told["reason"], strict=True)]


def _question(what: Measure) -> str:
    return f"Which practices shift {spoken_measure(what)} in the finished pack?"


def _nothing_compared(what: Measure, frame: pd.DataFrame, *, left_over: bool) -> str:
    """Return the answer where no practice could be told; ``left_over`` says that some could be, of more batches."""
    batches, begins = int(frame["batch"].nunique()), f"Nothing can be told of {spoken_measure(what)} yet:"
    if batches < FEWEST_BATCHES:
        have = count(batches, "batch has", "batches have")
        return f"{begins} {have} been read, and it takes at least {FEWEST_BATCHES}."
    if left_over:
        return f"{begins} there are hardly more batches than practices. A few more batches will tell much more."
    return f"{begins} no practice varied enough within a recipe."


def _answer(what: Measure, effects: Sequence[PracticeEffect], joint: Sequence[JointStatement], uneven: Set[str]) -> str:
    by_verdict = {v: [e.spoken for e in effects if e.verdict is v] for v in _ORDER}
    name = spoken_measure(what)
    parts = [
        f"{listing(by_verdict[v])} {v if len(by_verdict[v]) == 1 else str(v).removesuffix('s')} {name}"
        for v in (Verdict.RAISES, Verdict.LOWERS)
        if by_verdict[v]
    ]
    parts += [f"{listing(list(each.spoken))} together matter to {name}, and cannot be told apart" for each in joint]
    not_alike = [
        e.spoken for e in effects if e.verdict is Verdict.CANNOT_TELL_YET and e.judgement.effect.name in uneven
    ]
    if not_alike:
        do = "does" if len(not_alike) == 1 else "do"
        parts.append(f"what {listing(not_alike)} {do} to {name} is not the same in all circumstances")
    if not parts:
        parts.append(f"no practice is shown to raise or lower {name}")
    counts = Counter(e.verdict for e in effects)
    small, open_ = counts[Verdict.NO_PRACTICAL_DIFFERENCE], counts[Verdict.CANNOT_TELL_YET]
    if small:
        real = sum(e.judgement.small_but_real for e in effects)
        beside = f" ({real} of them {'does' if real == 1 else 'do'} have a small effect)" if real else ""
        parts.append(f"{count(small, 'practice makes', 'practices make')} no practical difference{beside}")
    if open_:
        parts.append(f"of {count(open_, 'practice')} it cannot be told yet")
    said = "; ".join(parts)
    return f"{said[:1].upper()}{said[1:]}."


def _page_cautions(margin: MarginAtLevel, what: Measure) -> tuple[str, ...]:
    said = []
    if margin.margin.is_default:
        said.append(
            f"The margin of {figure(margin.margin.value, margin.margin.unit)} is a working default: set the smallest "
            "difference that matters to you, for each recipe, on the page of practices or among the targets."
        )
    elif margin.margin.recipe is not None:
        share = amount(100 * margin.absolute / margin.level, "%", digits=2)
        own = f"{figure(margin.absolute, what.unit)}, which is {share}"
        said.append(f"{MARGIN_OF} {margin.margin.recipe}, the strictest of the recipes compared: {own} of its level.")
    if margin.absolute >= margin.level and what.scale == "log":
        said.append(
            "The margin is as large as what packs read at all: set the smallest difference that you would notice."
        )
    if what.is_tasting:
        said.append("Scores are treated as even steps; read small differences with care.")
    said.append("These records were not made as a trial: what is seen together need not be the cause.")
    return tuple(said)
