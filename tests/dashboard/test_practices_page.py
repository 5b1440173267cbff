"""Does the practices page say each verdict in words, draw it against the margin, and let it be taken away?"""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.estimate import Estimate
from analysis.findings.filters import Filters
from analysis.findings.practice_depth import CurveDot, PartnerSlope, RecipeSlope, deepen
from analysis.findings.practice_rows import NotAssessed
from analysis.findings.practices import PracticeEffect, practices
from analysis.models import BatchesNeeded
from analysis.verdicts import Effect, Margin, MarginAtLevel, judge_family
from analysis.vocabulary import measure as measure_of
from dashboard.figures.interval import IntervalScale, interval
from dashboard.pages import practices as page
from dashboard.parts.model_words import model_part
from dashboard.parts.verdict_depth import depth_part
from dashboard.parts.verdicts import cautions_of, margin_words, numbers, scope_of, sentence
from data_demo.small_breweries import SmallBrewery, pack_table_of, simulate_packs

LEVEL = 60.0
MARGIN = MarginAtLevel.at(Margin(20.0, "%", "working default", is_default=True), LEVEL, log=False)


@pytest.fixture(scope="module")
def finding(table):
    return practices(table, "total_oxygen")


def effect(
    value: float,
    error: float,
    practice: str = "cone_dumps",
    label: str = "Cone dumps",
    step_unit: str = "one dump",
    more: int | None = None,
    cautions: tuple[str, ...] = (),
    lowered: tuple[str, ...] = (),
    along: tuple[str, ...] = (),
) -> PracticeEffect:
    judged = judge_family([Effect(practice, value, error, 40, lowered)], MARGIN)[0]
    outer = Estimate(value, judged.low, judged.high, "µg/L")
    inner = Estimate(value, judged.inner_low, judged.inner_high, "µg/L", level=0.90)
    needed = None if more is None else BatchesNeeded(84 + more, 90, more if more <= 200 else None, 6, 1.1, "")
    return PracticeEffect(
        practice, label, 1.0, step_unit, outer, inner, 100 * value / LEVEL, judged, None, None, 84, needed, cautions,
        along=along,
    )  # fmt: skip


def plain(words: str) -> str:
    return words.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (effect(20.0, 1.0), "One cone dump more raises total package oxygen by about 20.0 µg/L"),
        (effect(-8.0, 2.5), "One cone dump more lowers total package oxygen by about 8.00 µg/L"),
        (effect(0.5, 2.0), "One cone dump more makes no practical difference to total package oxygen"),
        (effect(4.0, 8.0), "One cone dump more: what that does to total package oxygen cannot be told yet"),
    ],
)
def test_each_verdict_is_a_sentence(finding, told, said):
    in_kept_unit = type(finding)(**{**vars(finding), "log": False})
    assert plain(sentence(told, in_kept_unit)).startswith(said)


@pytest.mark.parametrize(
    ("told", "end"),
    [
        (effect(20.0, 1.0), "That is surely more than the margin."),
        (effect(-8.0, 2.5), "Whether it is as much as the margin is not sure."),
        (effect(6.0, 1.0), "There is an effect, but it is smaller than what you call a difference."),
        (effect(4.0, 8.0, more=34), "About 34 more batches would tell."),
        (effect(4.0, 8.0, more=201), "More than 200 further batches would be needed: a split batch would tell sooner."),
        (
            effect(9.0, 1.0, lowered=("changed only once",)),
            "More batches like these will not tell; a split batch would.",
        ),
        (
            effect(0.5, 1.0, lowered=("recipes differ in it beyond chance: one answer does not hold for all of them",)),
            "Recipes differ in it beyond chance: look behind this line, or choose one recipe above.",
        ),
        (
            effect(0.5, 1.0, lowered=("its effect bends: one step …",)),
            "Its effect bends: the curve behind this line tells more.",
        ),
        (
            effect(0.5, 1.0, lowered=("it depends on the rest since the last rouse: …",)),
            "It depends on the rest since the last rouse: look behind this line.",
        ),
    ],
)
def test_a_sentence_ends_on_how_large_it_is(finding, told, end):
    assert sentence(told, finding).endswith(end)


@pytest.mark.parametrize(
    ("practice", "label", "step_unit", "begins"),
    [
        ("rouse_minutes", "Rouse time, all rouses", "15 min", "15 min more rousing raises"),
        ("isinglass_dose", "Isinglass dose", "50 mL/hL", "50 mL/hL more isinglass raises"),
        ("air_bled", "Air bled?", "yes against no", "“Air bled” raises"),
        ("line: 2", "Line 2", "2 against 1", "Line 2 instead of 1 raises"),
        ("format: bottle", "Format bottle", "bottle against can", "Bottle instead of can raises"),
        ("generation", "Yeast generation", "1", "“Yeast generation” higher by 1 raises"),
        ("x", "Check 2, of 3 (%)", "1 %", "“Check 2, of 3” higher by 1 percentage points raises"),
        ("x", "Pitch rate [10^6/mL]", "1 10^6/mL", "“Pitch rate” higher by 1 × 10^6/mL raises"),
        ("x", "Lid shut (both sides)? (y/n)", "yes against no", "“Lid shut (both sides)” raises"),
        ("supplier: East, C", "Supplier East, C", "East, C against A/B", "Supplier “East, C” instead of “A/B” raises"),
        ("line: Line 2 (new)", "Line 2 (new)", "Line 2 (new) against 1", "“Line 2 (new)” instead of 1 raises"),
    ],
)
def test_a_step_is_said_as_a_brewer_says_it(finding, practice, label, step_unit, begins):
    assert sentence(effect(20.0, 1.0, practice, label, step_unit), finding).startswith(begins)


@pytest.mark.parametrize(
    ("along", "said"),
    [
        (("CO2 purge",), "15 min more rousing, together with CO2 purge, which moves along with it, raises"),
        (
            ("CO2 purge", "line 2"),
            "15 min more rousing, together with CO2 purge and line 2, which move along with it, raises",
        ),
    ],
)
def test_what_always_moves_with_a_practice_is_named(finding, along, said):
    told = effect(20.0, 1.0, "rouse_minutes + a", "Rouse time, all rouses", "15 min", along=along)
    assert sentence(told, finding).startswith(said)


def test_a_level_with_something_that_moves_along_is_named_once(finding):
    told = effect(
        20.0, 1.0, "line: 2 + gasket: new", "Line 2, with gasket “new”", "2 against 1", along=("gasket “new”",)
    )
    said = "Line 2 instead of 1, together with gasket “new”, which moves along with it, raises"
    assert sentence(told, finding).startswith(said)


def test_a_rise_beyond_ten_times_the_level_is_no_percentage(finding):
    far = type(finding)(**{**vars(finding), "level": 60.0, "log": True})
    said = "raises total package oxygen more than tenfold (so at both ends of its interval)"
    assert said in sentence(effect(900.0, 1.0), far)
    assert "% to more than tenfold)" in sentence(effect(900.0, 200.0), far)


def test_both_ends_of_an_interval_share_one_unit_and_one_fineness(finding):
    points = type(finding)(**{**vars(finding), "log": False})
    told = plain(sentence(replace(effect(10.0, 5.0), effect=Estimate(10.0, -0.512, 20.1, "µg/L")), points))
    assert "(−0.5 to +20.1 µg/L)" in told


def test_an_interval_wider_than_all_that_can_be_read_is_no_figure(finding):
    """With hardly more batches than practices a tasting score of 0 to 9 moved by ±182,000,000 points."""
    points = replace(finding, log=False, measure=measure_of("papery"))
    wide = replace(effect(4.0, 8.0), effect=Estimate(3e6, -1.8e8, 1.9e8, "points"))
    assert "cannot be told yet (its interval is wider than all that can be read)." in sentence(wide, points)
    told = dict(numbers(wide, points))
    assert told["Effect of one step"] == "cannot be told"
    assert told["95 % interval"] == "its interval is wider than all that can be read"
    assert "182,000,000" not in str(page.verdict_table(replace(points, practices=(wide,))))


def test_an_effect_in_the_kept_unit_says_at_which_level(finding):
    told = numbers(effect(4.0, 8.0), type(finding)(**{**vars(finding), "level": 60.0, "log": True}))
    assert told[0][0] == "Effect of one step, at the 60.0 µg/L of all packs together"


def test_what_gives_pause_is_kept_apart_from_what_a_verdict_is_about():
    told = effect(1.0, 1.0, cautions=("moves together with X", "range seen 0 to 3 dumps; nothing is said beyond it"))
    assert cautions_of(told) == ["Moves together with X."]
    assert scope_of(told)[0] == "Range seen 0 to 3 dumps; nothing is said beyond it."


def test_a_reason_that_is_a_caution_is_said_once():
    told = effect(1.0, 1.0, cautions=("changed only once",), lowered=("changed only once",))
    assert cautions_of(told) == ["Changed only once."]
    assert scope_of(told) == []


def test_the_numbers_name_both_intervals(finding):
    words = dict(numbers(effect(4.0, 8.0, more=34), finding))
    assert {"95 % interval", "90 % interval, held against the margin", "Batches it rests on"} <= set(words)
    assert words["More batches to find it, if it does as much as the margin"] == "6"
    assert words["More batches to show it small, if it does nothing"] == "34"
    assert words["More packs of the same runs"] == "barely help"


def test_a_margin_says_who_set_it(finding):
    assert "a working default" in margin_words(finding)
    own = MarginAtLevel.at(Margin(12.0, "µg/L", "AB", datetime(2026, 5, 3), "P40"), 80.0, log=True)
    said = margin_words(type(finding)(**{**vars(finding), "margin": own, "level": 60.0, "log": True}))
    first = (
        "The smallest difference that matters is 12 µg/L for P40, the strictest of the recipes compared: set by AB on"
    )
    assert said.startswith(f"{first} 3 May 2026.")
    assert "so the margin is 15 %: 12 µg/L at the 80.0 µg/L of the recipe where that is the smallest share" in said
    assert said.endswith("share, 9.00 µg/L at the 60.0 µg/L of all packs together.")
    compared = replace(finding.compared, frame=finding.compared.frame.assign(recipe="P40"))
    alone = margin_words(replace(finding, margin=own, level=80.0, log=True, compared=compared))
    assert "is 12 µg/L for P40: set by" in alone
    assert alone.endswith("so the margin is 15 % of 80.0 µg/L.")
    unset = type(finding)(**{**vars(finding), "margin": None})
    assert "No margin is set" in margin_words(unset)


def test_the_scale_shows_four_margins_at_most_and_holds_what_lies_beyond_inside():
    scale = IntervalScale.over([-100.0, 3.0], 2.0)
    assert scale.reach == 8.0
    assert scale.place(-100.0) == 0.0
    assert scale.is_beyond(-100.0)
    assert scale.place(0.0) == 50.0
    assert not IntervalScale.over([], None).is_beyond(0.5)


def test_an_interval_is_drawn_where_it_stands():
    drawn = interval(IntervalScale(10.0, 5.0), -12.0, -5.0, 0.0, 5.0, 10.0, "open")
    band, _, outer, inner, point = drawn.children
    assert band.style == {"left": "25.00%", "width": "50.00%"}
    assert outer.style == {"left": "0.00%", "width": "100.00%"}
    assert "interval-cut-low" in outer.className
    assert "interval-cut-high" not in outer.className
    assert inner.style["width"] == "50.00%"
    assert point.style == {"left": "50.00%"}


def test_the_page_shows_what_was_asked_for(on_table):
    answer, verdicts, unsaid, model = page.show({}, "total_oxygen")
    assert "total package oxygen" in answer
    assert "15 min more rousing" in str(verdicts)
    assert "/take-away/practices.xlsx?measure=total_oxygen" in str(verdicts)
    assert "What is not said, and why" in str(unsaid)
    assert "log(" in str(model) or "response" in str(model)


def test_what_is_not_said_stands_once_for_each_reason_in_the_words_of_the_sheet(on_table):
    finding = page.context().answer_of_table(page.practices, "total_oxygen", Filters())
    unsaid = (
        NotAssessed("rack_a_b", "never varies", "Rack A/B, side"),
        NotAssessed("cone_dumps", "never varies", "Cone dumps"),
        NotAssessed("remark", "110 different texts in 110 cells: too many to compare"),
    )
    shown = str(page.unsaid_part(replace(finding, not_assessed=unsaid)))
    assert "Rack A/B, side; Cone dumps" in shown
    assert shown.count("Never varies.") == 1
    assert "Remark" in shown


def test_what_cannot_be_answered_says_why_and_what_to_do(on_table):
    answer, verdicts, unsaid, model = page.show({"recipes": ["X99"]}, "total_oxygen")
    said = "no finished pack in this selection has a reading of it"
    assert answer == f"Nothing can be told of total package oxygen: {said}."
    assert verdicts.children == "Select more above, or choose another measure."
    assert (unsaid, model) == (None, None)


@pytest.mark.parametrize("measure", [None, "", 3, ["haze"], {"a": 1}])
def test_a_forged_measure_does_not_break_the_page(on_table, measure):
    assert "No finished pack has a reading yet" in str(page.show({}, measure)[1])


def test_the_measure_in_the_address_is_kept_where_it_was_read(on_table):
    assert page.offer_measures(5, "papery")[1] == "papery"
    assert page.offer_measures(5, "<script>")[1] == "total_oxygen"


def test_the_verdicts_are_taken_away_with_what_they_rest_on(on_table):
    body = page.take_away(Filters(), {"measure": "total_oxygen"}, "csv").decode("utf-8-sig")
    notes = [line for line in body.splitlines() if line.startswith("#")]
    assert "# Ledger state: 5" in notes
    assert any("not made as a trial" in line for line in notes)
    frame = pd.read_csv(io.StringIO(body), comment="#")
    assert {"practice", "verdict", "effect", "low", "high", "cautions"} <= set(frame.columns)
    assert any(name.startswith("Rouse time, all rouses") for name in frame["practice"])
    assert "Cone dumps" in set(frame["practice"])
    assert "not assessed" in set(frame["verdict"])


def test_the_numbers_of_a_verdict_come_when_it_is_opened(on_table, triggered):
    verdicts = page.show({}, "total_oxygen")[1]
    assert "90 % interval, held against the margin" not in str(verdicts)
    triggered('{"place":0,"type":"practices-opened"}.n_clicks')
    shown = str(page.open_numbers(1, {}, "total_oxygen"))
    assert "90 % interval, held against the margin" in shown
    assert "What stands behind it" in shown
    with pytest.raises(PreventUpdate):
        page.open_numbers(2, {}, "total_oxygen")


def test_the_table_comes_when_it_is_opened(on_table):
    assert "Verdicts on total package oxygen" not in str(page.show({}, "total_oxygen")[1])
    assert "Verdicts on total package oxygen" in str(page.open_table(1, {}, "total_oxygen"))
    for clicks, measure in ((2, "total_oxygen"), (1, None), (None, "total_oxygen")):
        with pytest.raises(PreventUpdate):
            page.open_table(clicks, {}, measure)


def test_a_page_has_few_parts_until_it_is_opened(on_table):
    """A browser takes milliseconds for each: with all numbers shown forty practices kept it busy for seconds."""
    finding = page.context().answer_of_table(page.practices, "total_oxygen", Filters())
    line = page._verdict(finding.practices[0], page.view(finding))
    assert parts_of(line) <= 20


def parts_of(shown) -> int:
    if isinstance(shown, list | tuple):
        return sum(map(parts_of, shown))
    return 1 + parts_of(getattr(shown, "children", None)) if isinstance(shown, Component) else 0


def test_what_stands_behind_a_verdict_is_worked_out_when_it_is_opened(on_table, triggered):
    triggered('{"place":0,"type":"practices-look"}.n_clicks')
    shown = str(page.look_behind(1, {}, "total_oxygen"))
    assert "One step, seen in other ways" in shown
    assert "Within recipes, beside everything else: this verdict" in shown
    assert "What one step comes to at each recipe’s own level" in shown
    assert "Between recipes" in shown
    assert "However often you look" in shown
    with pytest.raises(PreventUpdate):
        page.look_behind(2, {}, "total_oxygen")


@pytest.mark.parametrize("prop", ['{"place":99,"type":"practices-look"}.n_clicks', '{"place":"x","type":"a"}.n_clicks'])
def test_a_forged_place_shows_nothing(on_table, triggered, prop):
    triggered(prop)
    for answer in (page.look_behind, page.open_numbers):
        with pytest.raises(PreventUpdate):
            answer(1, {}, "total_oxygen")


def test_the_model_is_checked_in_words_and_in_numbers(on_table):
    shown = str(page.check_model(1, {}, "total_oxygen"))
    assert "Is the model to be believed?" in shown
    assert "Largest leverage, and its run" in shown
    assert "of its own value" in shown
    model = str(page.show({}, "total_oxygen")[3])
    assert "Practices dealt out to other batches of their recipe at random" in model
    with pytest.raises(PreventUpdate):
        page.check_model(2, {}, "total_oxygen")


def test_an_effect_that_bends_differs_by_recipe_and_by_finings_is_drawn(finding):
    told = finding.practices[0]
    one, two = (Estimate(v, v - 1.0, v + 1.0, "µg/L") for v in (3.0, -2.0))
    plain = deepen(finding, told.practice)
    deep = type(plain)(
        **{
            **vars(plain),
            "by_recipe": (RecipeSlope("P40", one), RecipeSlope("I62", two)),
            "curve": (CurveDot(10.0, one), CurveDot(20.0, two)),
            "interactions": (
                PartnerSlope("fined", 0, 1, one, two, 0.2, False),
                PartnerSlope("hours_since_rouse", 24, 96, two, one, 0.001, True),
            ),
            "sentences": ("recipes differ in it: P40 +5 %",),
        }
    )  # fmt: skip
    shown = str(depth_part(deep, told, finding))
    assert "One step, recipe by recipe" in shown
    assert "How the effect bends, held against the middle" in shown
    assert "dose-plane" in shown
    assert "No finings in the tank" in shown
    assert "4 days (long)" in shown
    assert "The two differ beyond chance." in shown
    assert "The two do not differ beyond chance." in shown
    assert "Recipes differ in it: P40 +5 %." in shown


def test_an_end_beyond_ten_times_the_level_is_no_figure(finding):
    wide = type(finding)(**{**vars(finding), "level": 60.0, "log": True})
    told = effect(4.0, 400.0)
    assert "to more than tenfold)" in plain(sentence(told, wide))
    assert dict(numbers(told, wide))["95 % interval"].endswith("to more than ten times the level")
    assert "more than ten" not in sentence(effect(4.0, 8.0), wide)


def test_hardly_more_batches_than_practices_are_said_to_be_that():
    brewery = SmallBrewery(batches=26, effects=(0.0,) * 14, recipes=2)
    rows = simulate_packs(brewery, np.random.default_rng(4))
    crowded = practices(pack_table_of(rows, brewery), "total_oxygen")
    assert all(e.crowded and e.needed is None for e in crowded.practices)
    assert sentence(crowded.practices[0], crowded).endswith("a few more batches will tell much more.")
    assert crowded.in_words()[1][0][-1] == "hardly more batches than practices"
    assert "hardly more batches" in crowded.as_document()["practices"][0]["advice"]


def test_the_names_in_the_formula_are_told(on_table):
    shown = str(page.show({}, "total_oxygen")[3])
    assert "response is the logarithm of total package oxygen" in shown
    assert "each x_ is a practice, counted in its step" in shown


def test_the_model_of_one_recipe_says_nothing_of_others(finding):
    assert "each batch with others of its own recipe" in str(model_part(finding))
    compared = replace(finding.compared, frame=finding.compared.frame.assign(recipe="P40"))
    assert "batches, all of one recipe. Packs of one batch" in str(model_part(replace(finding, compared=compared)))


def test_between_recipes_a_slope_beyond_ten_times_the_level_is_said_to_be_that(finding):
    told = finding.practices[0]
    far = Estimate(700.0, -30.0, 9_000.0, "µg/L")
    logged = replace(finding, log=True, level=60.0)
    shown = str(depth_part(replace(deepen(finding, told.practice), between=far), told, logged))
    assert "'more than tenfold'" in shown
    assert "−50 % to more than tenfold" in shown


def test_whose_margin_it_is_stands_once_on_the_page(finding):
    own = MarginAtLevel.at(Margin(12.0, "µg/L", "AB", datetime(2026, 5, 3), "P40"), 80.0, log=True)
    cautions = ("The margin is that of P40, the strictest of …", "These records were not made as a trial.")
    shown = str(page.verdicts_part(page.view(replace(finding, margin=own, cautions=cautions))))
    assert shown.count("the strictest of") == 1
    assert "not made as a trial" in shown


def test_where_effects_are_shares_the_drawings_have_the_margin_in_per_cent(finding):
    logged = replace(finding, log=True, level=60.0)
    assert plain(page._margin(logged)) == f"{100 * logged.margin_value / 60.0:.2g} %"
    assert page._margin(replace(finding, margin=None)) == ""


def test_the_model_is_told_in_words_not_in_names_of_columns(finding):
    shown = str(model_part(finding))
    assert "level_" not in shown.replace(finding.formula, "")
    assert "between levels of" not in shown
