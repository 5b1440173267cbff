"""What is charted, by which patterns, and what should a chart be able to find?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analysis.charts import FIRST_RULES, RULES
from analysis.findings.series_slow import SlowAsk
from analysis.vocabulary import STAGES

__all__ = [
    "DRAWN",
    "MEASURE",
    "NAME",
    "PERCENT",
    "RULES_ON",
    "SLOW",
    "STAGE",
    "WITHIN",
    "YEARS",
    "Asked",
    "Drawn",
    "asked_of",
    "choices",
    "rules_choice",
    "slow_choices",
]

MEASURE = "charts-measure"
STAGE = "charts-stage"
NAME = "charts-name"
DRAWN = "charts-drawn"
RULES_ON = "charts-rules"
SLOW = "charts-slow"
PERCENT = "charts-percent"
WITHIN = "charts-within"
YEARS = "charts-years"

Drawn = Literal["runs", "left", "memory", "within", "slow"]

_STAGE_LABELS = {
    "fermenter": "In the fermenter",
    "bright_tank": "In the bright tank",
    "filler": "At the filler",
    "pack": "In the finished pack",
}
_DRAWN_LABELS: dict[Drawn, str] = {
    "runs": "Each run as measured",
    "left": "What is left after what was done",
    "memory": "What is left after the run before",
    "within": "How much packs of a run differ",
    "slow": "A chart that finds slow moves",
}
_USUAL = SlowAsk()


@dataclass(frozen=True)
class Asked:
    """What a person asked of the page; ``why_not`` says what is wrong with the slow move that they asked for."""

    measure: str
    stage: str
    series: str
    drawn: Drawn
    rules: tuple[str, ...]
    slow: SlowAsk | None
    why_not: str = ""


def asked_of(
    measure: object,
    stage: object,
    series: object,
    drawn: object = "runs",
    rules: object = None,
    slow: tuple[object, object, object] = (None, None, None),
) -> Asked | None:
    """Return what was asked, with the usual in the place of what makes no sense; None where no measure is named."""
    if not isinstance(measure, str) or not measure:
        return None
    named = tuple(code for code in RULES if code in rules) if isinstance(rules, list | tuple | str) else ()
    ask, why_not = _slow(slow) if drawn == "slow" else (None, "")
    return Asked(
        measure=measure,
        stage=stage if isinstance(stage, str) and stage in STAGES else "pack",
        series=series if isinstance(series, str) else "",
        drawn=next((one for one in get_args(Drawn) if one == drawn), "runs"),
        rules=named or FIRST_RULES,
        slow=ask,
        why_not=why_not,
    )


def _slow(given: tuple[object, object, object]) -> tuple[SlowAsk | None, str]:
    usual = (_USUAL.percent, _USUAL.within, _USUAL.years)
    numbers = [float(n) if isinstance(n, int | float) else u for n, u in zip(given, usual, strict=True)]
    try:
        return SlowAsk(*numbers), ""
    except ValueError as error:
        return None, str(error).removeprefix("SlowAsk: ")


def choices(measure: str, stage: str, drawn: str) -> Component:
    """Return the controls that stand above the chart."""
    return html.Div(
        className="choices",
        children=[
            dmc.Select(id=MEASURE, label="Measure", data=[], value=measure or None, allowDeselect=False),
            dmc.Select(
                id=STAGE,
                label="Read",
                data=[{"value": name, "label": _STAGE_LABELS[name]} for name in STAGES],
                value=stage if stage in STAGES else "pack",
                allowDeselect=False,
            ),
            dmc.Select(
                id=DRAWN,
                label="Charted",
                data=[{"value": name, "label": label} for name, label in _DRAWN_LABELS.items()],
                value=drawn if drawn in _DRAWN_LABELS else "runs",
                allowDeselect=False,
            ),
        ],
    )


def slow_choices(percent: str, within: str, years: str) -> Component:
    """Return the controls that say which slow move should be found, and how soon; they show where it is charted."""
    return html.Div(
        id=SLOW,
        className="choices choices-slow",
        hidden=True,
        children=[
            dmc.NumberInput(
                id=PERCENT, label="Find a change of", suffix=" %", value=_number(percent, _USUAL.percent),
                min=-90, max=1000, debounce=500,
            ),
            dmc.NumberInput(
                id=WITHIN, label="within", suffix=" runs", value=_number(within, _USUAL.within), min=2, max=200,
                debounce=500,
            ),
            dmc.NumberInput(
                id=YEARS, label="one false alarm in",
                suffix=" year(s)", value=_number(years, _USUAL.years),
                min=0.1, max=50, step=1, debounce=500,
            ),
        ],
    )  # fmt: skip


def _number(text: str, usual: float) -> float:
    try:
        return float(text)
    except (TypeError, ValueError):
        return usual


def rules_choice(rules: str) -> Component:
    """Return the switches of the patterns that count as signals."""
    named = [code for code in RULES if code in rules.split(",")]
    return dmc.CheckboxGroup(
        id=RULES_ON,
        label="Each pattern more finds more, and cries wolf more often.",
        value=named or list(FIRST_RULES),
        children=html.Div(
            [
                dmc.Checkbox(value=rule.code, label=f"{rule.says[:1].upper()}{rule.says[1:]}", description=rule.source)
                for rule in RULES.values()
            ],
            className="rule-switches",
        ),
    )
