"""How is a verdict told: as a mark, as a sentence, in numbers?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from analysis.estimate import Estimate
from analysis.findings.practice_one_answer import BENDS, DEPENDS, RECIPES_DIFFER, why_apart
from analysis.findings.practice_verdicts import (
    BEYOND_TELLING,
    CROWDED,
    NOT_BY_MORE,
    PracticeEffect,
    PracticesFinding,
    within,
)
from analysis.findings.practice_words import named, quoted_level, spoken_measure
from analysis.findings.wording import (
    amount,
    change,
    count,
    day,
    end_of_span,
    figure,
    listing,
    percent,
    span,
)
from analysis.verdicts import Verdict
from analysis.vocabulary import PRACTICES, agent_of_dose

__all__ = [
    "BEYOND_READING",
    "MARKS",
    "VerdictMark",
    "cautions_of",
    "is_beyond_reading",
    "margin_words",
    "mark",
    "numbers",
    "practice_label",
    "scope_of",
    "sentence",
    "unbroken",
    "whole_sentence",
]


@dataclass(frozen=True)
class VerdictMark:
    """A verdict's shape, beside its word; the shape says it without the colour."""

    shape: str
    name: str


MARKS: Mapping[Verdict, VerdictMark] = {
    Verdict.RAISES: VerdictMark("▲", "raises"),
    Verdict.LOWERS: VerdictMark("▼", "lowers"),
    Verdict.NO_PRACTICAL_DIFFERENCE: VerdictMark("=", "even"),
    Verdict.CANNOT_TELL_YET: VerdictMark("?", "open"),
}


def mark(verdict: Verdict) -> Component:
    """Return a verdict as its mark and word."""
    look = MARKS[verdict]
    return html.Span(
        [html.Span(look.shape, className="verdict-shape", **{"aria-hidden": "true"}), str(verdict).capitalize()],
        className=f"verdict verdict-{look.name}",
    )


def sentence(effect: PracticeEffect, finding: PracticesFinding) -> str:
    """Return what may be said of one practice, in one or two sentences."""
    measured = spoken_measure(finding.measure)
    step = _step(effect)
    between = _between(effect, finding)
    match effect.verdict:
        case Verdict.RAISES | Verdict.LOWERS:
            return (
                f"{step} {effect.verdict} {measured} {_by_about(effect, finding)} ({between}).{_beside_margin(effect)}"
            )
        case Verdict.NO_PRACTICAL_DIFFERENCE:
            return f"{step} makes no practical difference to {measured} ({between}).{_small_but_real(effect)}"
        case _:
            return (
                f"{step.removesuffix(',')}: what that does to {measured} cannot be told yet ({between}).{_more(effect)}"
            )


# Of an interval in the kept unit, with hardly more batches than practices.
BEYOND_READING = "its interval is wider than all that can be read"
_UNBROKEN = "\N{NO-BREAK SPACE}"
# What a verdict is about rather than what should give pause.
_SCOPE = ("range seen", "seen in")

# One step of a practice as a brewer says it; any other is put together from its label and its step.
_STEPS: Mapping[str, str] = {
    "rouse_minutes": "{step} more rousing",
    "rouse_count": "One rouse more",
    "hours_since_rouse": "One day more rest after the last rouse",
    "finings_count": "One dose of finings more",
    "hours_since_finings": "One day more rest after the last finings",
    "cone_dumps": "One cone dump more",
    "days_since_dump": "One day more since the last dump",
    "dry_hop_rate": "{step} more dry hops",
    "dry_hop_days": "One day more on dry hops",
    "cold_hours": "One day more in the cold",
    "transfers": "One transfer more",
    "fill_temperature": "Filling {step} warmer",
}


def _step(effect: PracticeEffect) -> str:
    """Return one step of a practice as the subject of a sentence; what always moves with it is named beside it."""
    leader = effect.practice.partition(" + ")[0]
    if effect.along:
        moves = "moves" if len(effect.along) == 1 else "move"
        return f"{_step_of(leader, effect)}, together with {listing(effect.along)}, which {moves} along with it,"
    return _step_of(leader, effect)


def _step_of(practice: str, effect: PracticeEffect) -> str:
    agent = agent_of_dose(practice)
    if agent is not None:
        return f"{effect.step_unit} more {agent.replace('_', ' ')}"
    if practice in _STEPS:
        return _STEPS[practice].format(step=effect.step_unit)
    label = effect.label.partition(", with ")[0] if effect.along else effect.label
    level, against, other = effect.step_unit.partition(" against ")
    if effect.step_unit == "yes against no":
        return f"“{named(label)}”"
    if against:
        return _instead(practice, label, level, other)
    unit = effect.step_unit.partition(" ")[2]
    return f"“{named(label, unit)}” higher by {_amount_of_step(effect.step, unit)}"


def _instead(practice: str, label: str, level: str, other: str) -> str:
    """Return a level of a category held against another as the subject of a sentence."""
    if practice.startswith("format:"):
        return f"{level.capitalize()} instead of {other}"
    category = label.removesuffix(level).strip()
    return f"{category} {quoted_level(level)} instead of {quoted_level(other)}".strip()


def _amount_of_step(step: float, unit: str) -> str:
    if unit == "%":
        return f"{figure(step)} percentage points"
    # A unit that begins with a figure would run into the one before it.
    return f"{figure(step)} × {unit}" if unit[:1].isdigit() else figure(step, unit)


def _by_about(effect: PracticeEffect, finding: PracticesFinding) -> str:
    if finding.log and finding.level and effect.effect.value > BEYOND_TELLING * finding.level:
        return "more than tenfold"
    return f"by about {_size(abs(effect.effect.value), finding, signed=False)}"


def _size(value: float, finding: PracticesFinding, *, signed: bool = True) -> str:
    """Return an effect in percent of the level where effects are ratios, else in the kept unit."""
    if finding.log and finding.level:
        share = 100 * value / finding.level
        told = percent(share) if signed else amount(share, "%", digits=2)
    else:
        told = change(value, finding.measure.unit) if signed else amount(value, finding.measure.unit)
    return told.replace(" ", _UNBROKEN)


def _between(effect: PracticeEffect, finding: PracticesFinding) -> str:
    """Return the interval as it stands in brackets: in percent of the level where effects are ratios."""
    low, high = effect.effect.low, effect.effect.high
    if is_beyond_reading(effect.effect, finding):
        return BEYOND_READING
    if not (finding.log and finding.level):
        return (
            span(low, high, finding.measure.unit).replace(" ", _UNBROKEN).replace(f"{_UNBROKEN}to{_UNBROKEN}", " to ")
        )
    share = 100 / finding.level
    ends = [end_of_span(share * v, share * w, "%", digits=2) for v, w in ((low, high), (high, low))]
    if low > BEYOND_TELLING * finding.level:
        return "so at both ends of its interval"
    if high > BEYOND_TELLING * finding.level:
        ends = [percent(share * low), "more than tenfold"]
    return " to ".join(end.replace(" ", _UNBROKEN) if end[-1] == "%" else end for end in ends)


def is_beyond_reading(estimate: Estimate, finding: PracticesFinding) -> bool:
    """Return whether an interval in the kept unit is wider than all that the measure can read."""
    measure = finding.measure
    return not finding.log and estimate.high - estimate.low > measure.high - measure.low


def _within(estimate: Estimate, finding: PracticesFinding) -> str:
    return BEYOND_READING if is_beyond_reading(estimate, finding) else within(estimate, finding, finding.measure.unit)


def _beside_margin(effect: PracticeEffect) -> str:
    if effect.judgement.size_certain:
        return " That is surely more than the margin."
    return " Whether it is as much as the margin is not sure."


def _small_but_real(effect: PracticeEffect) -> str:
    real = effect.judgement.small_but_real
    return " There is an effect, but it is smaller than what you call a difference." if real else ""


# Where to look where one answer does not hold for all.
_LOOK: Mapping[str, str] = {
    RECIPES_DIFFER: "look behind this line, or choose one recipe above",
    BENDS: "the curve behind this line tells more",
    DEPENDS: "look behind this line",
}


def _more(effect: PracticeEffect) -> str:
    """Return what it would take to tell."""
    if effect.crowded:
        return f" {CROWDED}"
    if effect.judgement.effect.lowered_by:
        return f" {_where_to_look(effect.judgement.effect.lowered_by)}"
    if effect.needed is None:
        return ""
    if effect.needed.more_equivalence is None or effect.needed.more_difference is None:
        return " More than 200 further batches would be needed: a split batch would tell sooner."
    if effect.more_batches is None:
        return " As many batches as that usually takes are on record: it is a near thing."
    return f" About {count(effect.more_batches, 'more batch', 'more batches')} would tell."


def _where_to_look(lowered_by: Sequence[str]) -> str:
    """Return what would tell, where a reason keeps a verdict from being given."""
    where = _LOOK.get(why_apart(lowered_by), "")
    return whole_sentence(f"{lowered_by[0].partition(':')[0]}: {where}") if where else NOT_BY_MORE


def numbers(effect: PracticeEffect, finding: PracticesFinding) -> list[tuple[str, str]]:
    """Return an effect's numbers as pairs of a word and a text."""
    pairs = [
        (_at_level(finding), _size_in_full(effect, finding)),
        ("One step", effect.step_unit),
        ("95 % interval", _within(effect.effect, finding)),
        ("90 % interval, held against the margin", _within(effect.inner, finding)),
    ]
    if effect.alone is not None:
        pairs.append(("Looked at alone", _interval(effect.alone, finding)))
    if effect.without_trend is not None:
        pairs.append(("Without the trend in time", _interval(effect.without_trend, finding)))
    judged = effect.judgement
    if effect.looked_at_often is not None:
        pairs.append(("95 % however often you look", _within(effect.looked_at_often, finding)))
    if effect.selected is not None:
        pairs.append(("95 % allowing for its being picked out", _within(effect.selected, finding)))
    pairs.append(("Batches it rests on", f"{effect.batches:,}"))
    pairs.append(("p, and q allowing for all questions at once", f"{_p(judged.p)} and {_p(judged.q)}"))
    if effect.needed is not None:
        pairs.append(("More batches to show it small, if it does nothing", _batches(effect.needed.more_equivalence)))
        pairs.append(
            ("More batches to find it, if it does as much as the margin", _batches(effect.needed.more_difference))
        )
        pairs.append(("More packs of the same runs", "barely help"))
    return pairs


def _at_level(finding: PracticesFinding) -> str:
    """Return what an effect in the kept unit is told for: a share of a level comes to something else at another."""
    if not (finding.log and finding.level):
        return "Effect of one step"
    return f"Effect of one step, at the {amount(finding.level, finding.measure.unit)} of all packs together"


def _size_in_full(effect: PracticeEffect, finding: PracticesFinding) -> str:
    if is_beyond_reading(effect.effect, finding):
        return "cannot be told"
    return f"{change(effect.effect.value, finding.measure.unit)} ({percent(effect.percent)})"


def _batches(more: int | None) -> str:
    return "more than 200: split a batch" if more is None else f"{more:,}" if more else "none: enough are on record"


def _interval(estimate: Estimate, finding: PracticesFinding) -> str:
    unit = finding.measure.unit
    return f"{change(estimate.value, unit)} ({_within(estimate, finding)})"


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}"


def practice_label(name: str, label: str = "") -> str:
    """Return a practice's name as a brewer says it, the label that it was written under where that is known."""
    if label:
        return label
    if name in PRACTICES:
        return PRACTICES[name].label
    words = name.replace("_", " ")
    return f"{words[:1].upper()}{words[1:]}"


def cautions_of(effect: PracticeEffect) -> list[str]:
    """Return what should give pause about a verdict, as sentences."""
    return [whole_sentence(words) for words in effect.cautions if not words.startswith(_SCOPE)]


def scope_of(effect: PracticeEffect) -> list[str]:
    """Return what a verdict is about: the range that was seen, the batches it was seen in, the reasons for it that are
    not among its cautions."""
    told = [words for words in effect.cautions if words.startswith(_SCOPE)]
    reasons = [words for words in effect.judgement.reasons if words not in effect.cautions]
    return [whole_sentence(words) for words in (*told, *reasons)]


def whole_sentence(words: str) -> str:
    """Return a caution or reason as a sentence of its own."""
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


def unbroken(words: str) -> str:
    """Return words in which no line ends between a figure and its per cent sign."""
    return words.replace(" %", f"{_UNBROKEN}%")


def margin_words(finding: PracticesFinding) -> str:
    """Return the margin in words: how large, and who set it."""
    if finding.margin is None or finding.margin_value is None:
        return "No margin is set, so that “no practical difference” is never said."
    margin, level = finding.margin.margin, finding.level or 0.0
    meant = f"{figure(margin.value, margin.unit)}{' of the level' if margin.unit == '%' else ''}"
    strictest = ", the strictest of the recipes compared" if finding.compared.frame["recipe"].nunique() > 1 else ""
    recipe = f" for {margin.recipe}{strictest}" if margin.recipe else ""
    when = f" on {day(margin.set_at)}" if margin.set_at is not None else ""
    source = "a working default" if margin.is_default else f"set by {margin.set_by}{when}"
    return f"The smallest difference that matters is {meant}{recipe}: {source}.{_held_to(finding, level)}"


def _held_to(finding: PracticesFinding, level: float) -> str:
    """Return what the margin comes to at the level of all packs together, where that is not what was set."""
    if finding.margin is None or finding.margin_value is None or not finding.log:
        return ""
    unit = finding.measure.unit
    here = f"{amount(finding.margin_value, unit)} at the {amount(level, unit)} of all packs together"
    if finding.margin.margin.unit == "%":
        return f" That is {here}."
    share = amount(100 * finding.margin.absolute / finding.margin.level, "%", digits=2)
    if finding.compared.frame["recipe"].nunique() == 1:
        return f" Effects are told as shares of the level here, so the margin is {share} of {amount(level, unit)}."
    smallest = (
        f"{figure(finding.margin.absolute, unit)} at the {amount(finding.margin.level, unit)} of the recipe where"
    )
    return (
        f" Effects are told as shares of the level here, so the margin is {share}: {smallest} that is the smallest "
        f"share, {here}."
    )
