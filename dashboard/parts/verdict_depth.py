"""What stands behind one verdict when it is opened: other ways of looking, other doses, other recipes?"""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from analysis.estimate import Estimate
from analysis.findings.practice_depth import CurveDot, PartnerSlope, PracticeDepth
from analysis.findings.practice_verdicts import BEYOND_TELLING
from analysis.findings.practice_words import dose_in_words, spoken_name
from analysis.findings.practices import PracticeEffect, PracticesFinding
from analysis.findings.wording import amount, change, percent, span
from analysis.vocabulary import PRACTICES
from dashboard.figures.dose_curve import Dot, dose_curve
from dashboard.figures.interval import IntervalScale, interval
from dashboard.parts.tables import Column, data_table
from dashboard.parts.verdicts import BEYOND_READING, MARKS, is_beyond_reading, whole_sentence

__all__ = ["depth_part"]

_TOO_FEW = "cannot be told, it takes four recipes that differ in it"


def depth_part(depth: PracticeDepth, effect: PracticeEffect, finding: PracticesFinding) -> Component:
    """Return what stands behind a verdict."""
    return html.Div(
        [
            *[html.P(whole_sentence(words), className="caution") for words in depth.sentences],
            _ways(depth, effect, finding),
            *_recipes(depth, effect, finding),
            *_levels(depth, effect),
            *_curve(depth, effect, finding),
            *_partners(depth, effect, finding),
        ],
        className="behind",
    )


def _ways(depth: PracticeDepth, effect: PracticeEffect, finding: PracticesFinding) -> Component:
    rows = [("Within recipes, beside everything else: this verdict", depth.within)]
    rows.append(("Between recipes, from beer to beer", depth.between if depth.between is not None else _TOO_FEW))
    rows += [("Looked at alone, without the other practices", effect.alone)] if effect.alone else []
    rows += [("Without the trend in time", effect.without_trend)] if effect.without_trend else []
    rows += [(f"Without {w.factor} {w.level}", w.effect if w.effect else "cannot be told") for w in depth.without]
    if effect.selected is not None:
        rows.append(("Allowing for its having been picked out of all", effect.selected))
    rows += [("However often you look", depth.looked_at_often)] if depth.looked_at_often else []
    return _table("One step, seen in other ways", "Seen", rows, effect, finding)


def _recipes(depth: PracticeDepth, effect: PracticeEffect, finding: PracticesFinding) -> list[Component]:
    if not depth.by_recipe:
        known = depth.recipes_differ_p == depth.recipes_differ_p
        return [html.P("Recipes do not differ in it beyond chance.", className="soft")] if known else []
    rows = [(each.recipe, each.effect) for each in depth.by_recipe]
    return [_table("One step, recipe by recipe", "Recipe", rows, effect, finding)]


def _levels(depth: PracticeDepth, effect: PracticeEffect) -> list[Component]:
    """Return what one step comes to in the kept unit at each recipe's level."""
    if not depth.at_levels or depth.by_recipe:
        return []
    rows = [
        (r.recipe, amount(r.level, r.effect.unit), change(r.effect.value), span(r.effect.low, r.effect.high))
        for r in depth.at_levels
    ]
    unit = depth.within.unit
    columns = (
        Column("Recipe"),
        Column("Level", kind="figures"),
        Column("One step", unit, "figures"),
        Column("95 % interval", unit, "figures"),
    )
    caption = _of("What one step comes to at each recipe’s own level", effect)
    return [data_table(caption, columns, rows, class_name="ways", hide_caption=False)]


def _curve(depth: PracticeDepth, effect: PracticeEffect, finding: PracticesFinding) -> list[Component]:
    if not depth.curve:
        known = depth.bends_p == depth.bends_p
        return [html.P("It does not bend beyond chance over the range seen.", className="soft")] if known else []
    unit = _unit_of(effect, finding)
    dots = [_dot(dot, unit, finding) for dot in depth.curve]
    rows = [(dose_in_words(dot.at, unit), dot.effect) for dot in depth.curve]
    return [
        html.H3("How the effect bends, held against the middle"),
        dose_curve(dots, MARKS[effect.verdict].name),
        _table("The effect at each dose, held against the middle", "At", rows, effect, finding),
    ]


def _unit_of(effect: PracticeEffect, finding: PracticesFinding) -> str:
    """Return the unit in which the practice is written down."""
    told = finding.grounds.design.candidates if finding.grounds else ()
    return next((c.practice.unit for c in told if c.name == effect.judgement.effect.name), "")


def _dot(dot: CurveDot, unit: str, finding: PracticesFinding) -> Dot:
    scale = 100 / finding.level if finding.log and finding.level else 1.0
    return Dot(
        dot.at, dose_in_words(dot.at, unit), *(scale * v for v in (dot.effect.low, dot.effect.value, dot.effect.high))
    )


def _partners(depth: PracticeDepth, effect: PracticeEffect, finding: PracticesFinding) -> list[Component]:
    return [
        _table(f"One step, by {_partner(met)}", "Where", _ends(met), effect, finding, _differs(met))
        for met in depth.interactions
    ]


def _partner(met: PartnerSlope) -> str:
    return "finings in the tank" if met.partner == "fined" else spoken_name(met.partner)


def _ends(met: PartnerSlope) -> list[tuple[str, Estimate]]:
    if met.partner == "fined":
        return [("No finings in the tank", met.low), ("Finings in the tank", met.high)]
    low, high = (dose_in_words(at, PRACTICES[met.partner].unit) for at in (met.low_at, met.high_at))
    return [(f"{low} (short)", met.low), (f"{high} (long)", met.high)]


def _differs(met: PartnerSlope) -> str:
    return "The two differ beyond chance." if met.differs else "The two do not differ beyond chance."


def _table(
    caption: str,
    first: str,
    rows: Sequence[tuple[str, Estimate | str]],
    effect: PracticeEffect,
    finding: PracticesFinding,
    below: str = "",
) -> Component:
    """Return effects as a table, each with its drawing on a scale that they share."""
    told = [estimate for _, estimate in rows if isinstance(estimate, Estimate)]
    scale = IntervalScale.over([e for t in told for e in (t.low, t.high)], finding.margin_value)
    columns = (
        Column(first),
        Column("Effect", kind="figures"),
        Column("95 % interval", kind="figures"),
        Column("Against the margin", kind="prose"),
    )
    table = data_table(
        _of(caption, effect),
        columns,
        [_row(label, estimate, scale, effect, finding) for label, estimate in rows],
        class_name="ways",
        hide_caption=False,
    )
    return html.Div([table, html.P(below, className="soft")] if below else [table])


def _of(caption: str, effect: PracticeEffect) -> str:
    """Return a caption that is a table's own, however many verdicts are open."""
    return f"{caption}: {effect.spoken or effect.label}"


def _row(
    label: str, estimate: Estimate | str, scale: IntervalScale, effect: PracticeEffect, finding: PracticesFinding
) -> tuple[object, ...]:
    if isinstance(estimate, str):
        return (f"{label}: {estimate}", "", "", "")
    name = MARKS[effect.verdict].name
    drawing = interval(scale, estimate.low, estimate.low, estimate.value, estimate.low, estimate.high, name)
    return (label, *_numbers(estimate, finding), drawing)


def _numbers(estimate: Estimate, finding: PracticesFinding) -> tuple[str, str]:
    if finding.log and finding.level:
        far = BEYOND_TELLING * finding.level
        value, low, high = (
            "more than tenfold" if each > far else percent(100 * each / finding.level)
            for each in (estimate.value, estimate.low, estimate.high)
        )
        return value, f"{low} to {high}"
    if is_beyond_reading(estimate, finding):
        return "", BEYOND_READING
    return change(estimate.value, estimate.unit), span(estimate.low, estimate.high, estimate.unit)
