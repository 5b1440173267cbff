"""Can a person freeze a baseline by dragging over a chart, and are a thousand runs drawn smoothly?"""

import re

import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import expect

from analysis.findings.baselines import frozen_phases
from analysis.ledger import Ledger, Snapshot
from analysis.linking import link
from dashboard.parts.context import Context
from dashboard.settings import Settings

RUNS = 1_000
MOST_NODES_A_RUN = 3  # a disc each in the large chart, a word or two where it signals
FLOOR_ROUNDS = 5


def cellar(runs):
    """Return a pack table of one recipe with so many runs, and of another with forty."""
    draw = np.random.default_rng(5)
    frames = {"batches": [], "pack_runs": [], "readings": []}
    for recipe, n in (("P40", runs), ("I62", 40)):
        for place in range(n):
            packed = pd.Timestamp("2020-01-06 09:00") + pd.Timedelta(days=2 * place)
            batch, run = f"{recipe}{place}", f"{recipe}-{place}"
            frames["batches"].append({"batch": batch, "recipe": recipe, "brewed_on": packed - pd.Timedelta(days=18)})
            frames["pack_runs"].append({"run": run, "batch": batch, "packed_at": packed, "format": "can", "line": "1"})
            frames["readings"].append(
                {"run": run, "stage": "pack", "sample": "1", "measured_at": packed, "quantity": "haze",
                 "value": float(np.exp(draw.normal(0, 0.2))), "meter": "M1"}
            )  # fmt: skip
    return link(Snapshot.of({kind: pd.DataFrame(rows) for kind, rows in frames.items()}, state=3))


@pytest.fixture(scope="module")
def thousand():
    return cellar(RUNS)


@pytest.fixture
def ledger(tmp_path):
    with Ledger.open(f"sqlite:///{tmp_path / 'new.sqlite'}") as opened:
        yield opened


@pytest.fixture
def address(thousand, ledger, serve, monkeypatch):
    monkeypatch.setattr(Context, "packs", lambda _self: thousand)
    with serve(ledger, Settings()) as found:
        yield found


def opened(visiting, address, series="P40, can", **size):
    page = visiting(address, **size).open(f"/charts?measure=haze&series={series}")
    expect(page.locator("#charts-name")).to_have_text(series)
    expect(page.locator("#charts-graph .main-svg").first).to_be_visible()
    return page


def drag(page, start, end):
    """Drag over the large chart, from one share of its width to another."""
    box = page.locator("#charts-graph .nsewdrag").bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + start * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + (start + end) / 2 * box["width"], middle + 5, steps=4)
    page.mouse.move(box["x"] + end * box["width"], middle + 5, steps=4)
    page.mouse.up()


def test_a_baseline_is_dragged_frozen_and_taken_back(address, visiting, ledger):
    page = opened(visiting, address, "I62, can")
    page.locator("#charts-graph").scroll_into_view_if_needed()
    drag(page, 0.3, 0.8)
    form = page.locator("#baseline-form")
    expect(form).to_have_attribute("open", "")
    expect(page.get_by_label("From", exact=True)).to_have_value(re.compile(r"2020-0\d-\d\d"))
    expect(page.locator("#baseline-counted")).to_contain_text("runs of I62, can are between them")
    page.get_by_label("Why these runs, or what changed").fill("a steady spring")
    form.get_by_label("Your name").fill("AQ")
    page.get_by_role("button", name="Freeze").click()
    words = page.locator("#charts-words")
    expect(words).to_contain_text("Frozen by AQ")
    expect(words).to_contain_text("“a steady spring”")
    (phase,) = frozen_phases(ledger)
    assert (phase.recipe, phase.format, phase.by) == ("I62", "can", "AQ")
    assert phase.since < phase.until
    page.reload()
    expect(words).to_contain_text("Frozen by AQ")
    words.get_by_text("Take it back").click()
    words.get_by_label("Why", exact=True).fill("it was not steady")
    words.get_by_label("Your name").fill("BV")
    words.get_by_role("button", name="Take back").click()
    expect(words).to_contain_text("Nobody has frozen this")
    assert frozen_phases(ledger) == ()


def test_a_lines_baseline_is_dragged_and_frozen_too(address, visiting, ledger):
    page = opened(visiting, address, "line 1, all recipes")
    page.locator("#charts-graph").scroll_into_view_if_needed()
    drag(page, 0.05, 0.3)
    form = page.locator("#baseline-form")
    expect(form).to_have_attribute("open", "")
    expect(page.locator("#baseline-counted")).to_contain_text("runs of line 1, all recipes are between them")
    page.get_by_label("Why these runs, or what changed").fill("the filler was new")
    form.get_by_label("Your name").fill("AQ")
    page.get_by_role("button", name="Freeze").click()
    expect(page.locator("#charts-words")).to_contain_text("“the filler was new”")
    expect(page.locator("#charts-caption")).to_contain_text("a frozen baseline")
    (phase,) = frozen_phases(ledger)
    assert (phase.recipe, phase.format, phase.line) == (None, None, "1")


def test_a_thousand_runs_are_drawn_with_few_nodes(address, visiting):
    page = opened(visiting, address)
    expect(page.locator("#charts-graph .points path")).not_to_have_count(0)
    nodes = page.evaluate("document.querySelectorAll('*').length")
    assert nodes <= MOST_NODES_A_RUN * RUNS
    assert page.locator("#charts-graph .scatterlayer .trace").count() <= 6


def test_a_thousand_runs_are_drawn_again_as_fast_as_their_points_allow(address, visiting):
    """Drawing the chart anew takes no more than a few times what placing as many bare discs takes."""
    page = opened(visiting, address)
    page.wait_for_function("document.querySelector('#charts-graph .js-plotly-plot')")
    ratio = page.evaluate(
        """async ([runs, rounds]) => {
            const graph = document.querySelector('#charts-graph .js-plotly-plot');
            const best = async (work) => {
                let least = Infinity;
                for (let i = 0; i < rounds; i++) {
                    const begin = performance.now();
                    await work();
                    document.body.getBoundingClientRect();
                    least = Math.min(least, performance.now() - begin);
                }
                return least;
            };
            const bare = () => {
                const place = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
                document.body.appendChild(place);
                for (let i = 0; i < runs; i++) {
                    const disc = document.createElementNS('http://www.w3.org/2000/svg', 'path');
                    disc.setAttribute('d', 'M3,0A3,3 0 1,1 0,-3A3,3 0 0,1 3,0Z');
                    disc.setAttribute('transform', `translate(${i},${i % 90})`);
                    disc.style.opacity = 1;
                    place.appendChild(disc);
                    disc.getBoundingClientRect();
                }
                place.remove();
            };
            const floor = await best(bare);
            const drawn = await best(() => window.Plotly.redraw(graph));
            return drawn / floor;
        }""",
        [RUNS, FLOOR_ROUNDS],
    )
    assert ratio <= 10


def test_choices_stand_in_the_address_and_hold_after_a_reload(address, visiting):
    page = opened(visiting, address)
    page.locator("#charts-drawn").click()
    page.get_by_role("option", name="A chart that finds slow moves").click()
    expect(page.locator("#charts-words")).to_contain_text("Asked for: a 30 % rise within 5 runs")
    page.get_by_text("Which patterns count as a signal").click()
    page.get_by_label("Two of three points beyond two sigma on one side").check()
    expect(page).to_have_url(re.compile(r"drawn=slow.*rules=beyond-limit%2Cnine-on-a-side%2Ctwo-of-three"))
    expect(page.locator("#charts-price")).to_contain_text("two of three points")
    page.reload()
    expect(page.locator("#charts-words")).to_contain_text("Asked for")
    expect(page.locator("#charts-price")).to_contain_text("two of three points")


def test_every_signal_is_reached_by_keyboard_in_the_table_under_the_chart(visiting, demo):
    page = visiting(demo).open("/charts?measure=haze&series=P40, can")
    table = page.get_by_role("table", name="Signals of P40, can")
    expect(table).to_be_visible()
    marked = page.locator("#charts-graph .scatterlayer .trace").count()
    links = table.get_by_role("link")
    assert links.count() >= 1 and marked >= 3
    links.first.focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"/packs\?run=R\d+"))


def test_a_point_of_the_chart_opens_its_packs_history(visiting, demo):
    page = visiting(demo).open("/charts?measure=haze&series=P40, can")
    point = page.locator("#charts-graph .points path").nth(5)
    expect(point).to_be_visible()
    box = point.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2 - 3, box["y"] + box["height"] / 2)
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator("#charts-graph .hovertext")).to_contain_text("Run R")
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page).to_have_url(re.compile(r"/packs\?run=R\d+"))
