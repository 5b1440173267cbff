"""On which model does a verdict rest, told to a brewer first and to a statistician after?"""

from __future__ import annotations

import math

from dash import html
from dash.development.base_component import Component

from analysis.findings.practice_checks import ModelChecks
from analysis.findings.practice_words import spoken_measure
from analysis.findings.practices import PracticesFinding
from analysis.findings.wording import amount, count, listing
from analysis.models import MixedFit
from dashboard.parts.tables import Column, data_table
from dashboard.parts.verdicts import whole_sentence

__all__ = ["MODEL_CHECKS", "MODEL_OPENER", "checks_part", "model_part"]

# With a place of its own, so that they may come and go with the measure.
MODEL_OPENER = {"type": "practices-model-opener", "place": 0}
MODEL_CHECKS = {"type": "practices-model-checks", "place": 0}

_GROUPS = {
    "batch": "between batches",
    "run": "between runs of a batch",
    "tank": "between tanks",
    "line": "between lines",
    "meter": "between meters",
    "panellist": "between panellists",
    "session": "between days of tasting",
}
_LEVEL = "level_"
# Two deviances closer than this prefer neither scale: about 1 in 20 by chance.
_CLEARLY = 4.0


def model_part(finding: PracticesFinding) -> Component | None:
    """Return the model: what it compares, in words; then its formula, rows and variances."""
    if finding.fit is None:
        return None
    return html.Details(
        [
            html.Summary("The model behind the verdicts", id=MODEL_OPENER, n_clicks=0),
            html.P(_in_words(finding), className="measure"),
            html.P(["Its formula: ", html.Code(finding.formula)], className="measure"),
            html.P(_legend(finding), className="measure soft"),
            _variances(finding.fit, log=finding.log),
            *_remarks(finding),
            html.Div(id=MODEL_CHECKS),
            *_controls(finding),
        ],
        className="deeper",
    )


def checks_part(checks: ModelChecks | None) -> list[Component]:
    """Return whether the model is to be believed, in words and in numbers."""
    if checks is None:
        return [html.P("There are too few packs to check the model by.", className="soft")]
    figures = [
        ("Skewness of the residuals (0 for a normal curve)", _signed(checks.skewness)),
        ("Excess kurtosis of the residuals (0 for a normal curve)", _signed(checks.kurtosis)),
        ("p of their being normal", _p(checks.normal_p)),
        (
            "Rank correlation of their size with the level, and its p",
            f"{_signed(checks.spread_correlation)}, {_p(checks.spread_p)}",
        ),
        ("Packs beyond four standard deviations", f"{checks.far_off:,}"),
        ("Largest leverage, and its run", f"{checks.largest_leverage:.2f}, {checks.heaviest}"),
    ]
    return [
        html.H3("Is the model to be believed?"),
        html.Ul([html.Li(whole_sentence(words)) for words in checks.sentences]),
        data_table("Checks of the model", (Column("Check"), Column("Value", kind="figures")), figures),
    ]


def _signed(value: float) -> str:
    return f"{value:+.2f}".replace("-", "−")


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}"


def _controls(finding: PracticesFinding) -> list[Component]:
    """Return what the negative controls found, which run with every page."""
    found = finding.controls
    if not found.shuffled:
        return []
    passed = "Both checks passed." if not found.sentences else "A check failed: see the cautions above the verdicts."
    return [
        html.H3("Does it find effects where there can be none?"),
        html.P(
            f"Practices dealt out to other batches of their recipe at random mattered in {found.shuffled_hits:,} of "
            f"{found.shuffled:,} tries, where chance gives about {0.05 * found.shuffled:.0f}. Of "
            f"{count(found.following, 'practice')} of the next batch, which cannot have moved this one, "
            f"{len(found.followed) or 'none'} seemed to matter. {passed}",
            className="measure",
        ),
    ]


def _in_words(finding: PracticesFinding) -> str:
    scale = (
        "It works on logarithms, so that an effect is a share of the level."
        if finding.log
        else "It works in the measure’s own unit, so that an effect is as large at a high level as at a low one."
    )
    looked_up = _why_the_scale(finding)
    recipes = finding.compared.frame["recipe"].nunique()
    own = (
        "all of one recipe"
        if recipes == 1
        else "each batch with others of its own recipe, so that one recipe being brighter than another is never put "
        "down to a practice"
    )
    return (
        f"It compares {count(finding.packs, 'pack')} of {count(finding.runs, 'run')} from "
        f"{count(finding.batches, 'batch', 'batches')}, {own}. Packs of one batch are not counted as so many "
        f"batches. {scale} {looked_up}".rstrip()
    )


def _legend(finding: PracticesFinding) -> str:
    """Return what the names in the formula stand for that do not say it themselves."""
    if finding.grounds is None:
        return ""
    design = finding.grounds.design
    measured = spoken_measure(finding.measure)
    said = [
        f"response is {f'the logarithm of {measured}' if finding.log else measured}",
        "each x_ is a practice, counted in its step",
    ]
    said += [f"{c.column} is {c.subject}" for c in design.candidates if c.level]
    said += [
        f"{m} is 1 where {c.spoken} does not apply"
        for c in design.candidates
        if (m := f"not_{c.column}") in design.beside
    ]
    if design.trend:
        said.append(f"{design.trend[0]} to {design.trend[-1]} are a smooth in time (restricted cubic spline)")
    if design.random:
        said.append("(1|…) is a spread of its own between batches, runs or the like (random intercepts)")
    return f"In it {'; '.join(said)}."


def _why_the_scale(finding: PracticesFinding) -> str:
    """Return why the model works on its scale, where that was looked up in the packs."""
    scale = None if finding.grounds is None else finding.grounds.design.scale
    if scale is None or not scale.reason:
        return ""
    if not math.isfinite(scale.gain) or scale.gain < _CLEARLY:
        return scale.reason
    lower = f"(its deviance is lower by {amount(scale.gain)})"
    return f"These packs are told better that way than {'as they are read' if finding.log else 'in shares'} {lower}."


def _variances(fit: MixedFit, *, log: bool) -> Component:
    named = [(_between(v.group), v.variance, f"{v.levels:,}") for v in fit.variances]
    rows = [(where, _spread(variance, log=log), levels) for where, variance, levels in named]
    single = not any(v.group == "batch" for v in fit.variances)
    rows.append(
        (
            "between batches, one reading each" if single else "between packs of a run",
            _spread(fit.residual_variance, log=log),
            f"{fit.rows:,}",
        )
    )
    columns = (Column("Spread"), Column("Standard deviation", kind="figures"), Column("How many", kind="figures"))
    return data_table("Where the spread lies", columns, rows)


def _between(group: str) -> str:
    """Return what a grouping factor spreads between, in words."""
    name = group.removeprefix(_LEVEL)
    return _GROUPS.get(name, f"between levels of “{name.replace('_', ' ')}”")


def _column_words(column: str, finding: PracticesFinding) -> str:
    """Return what a column of the model stands for."""
    told = {c.column: c.spoken for c in finding.grounds.design.candidates} if finding.grounds else {}
    if column in told:
        return told[column]
    if column.removeprefix("not_") in told:
        return f"whether {told[column.removeprefix('not_')]} applies at all"
    return "the trend in time" if column.startswith("trend_") else column.partition("[")[0].replace("_", " ")


def _spread(variance: float, *, log: bool) -> str:
    deviation = math.sqrt(max(variance, 0.0))
    return amount(100 * math.expm1(deviation), "%", digits=2) if log else amount(deviation)


def _remarks(finding: PracticesFinding) -> list[Component]:
    fit, remarks = finding.fit, []
    if fit is None:
        return []
    if fit.missing:
        remarks.append(f"{count(fit.missing, 'pack')} left out because something the model needs is not on record.")
    if fit.at_zero:
        remarks.append(f"No spread was found {listing([_between(group) for group in fit.at_zero])}.")
    if fit.dropped:
        said = list(dict.fromkeys(_column_words(column, finding) for column in fit.dropped))
        remarks.append(f"Left out because the others say the same: {listing(said)}.")
    return [html.P(remark, className="soft") for remark in remarks]
