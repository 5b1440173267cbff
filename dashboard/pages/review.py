"""What moved since the last review, and what do we do about it?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.review import ReviewFinding
from analysis.findings.review_drafts import AnswerDraft
from analysis.findings.review_items import Item
from dashboard.figures.plotly_layout import GRAPH_CONFIG
from dashboard.figures.review_figure import matter_chart
from dashboard.parts import exports, review_actions, review_closing, review_form
from dashboard.parts.addresses import filters_from_kept
from dashboard.parts.context import context
from dashboard.parts.ids import BUSY, FILTERS, LEDGER_STATE, SCHEME
from dashboard.parts.ledger_state import announce
from dashboard.parts.review_list import matter_list, next_open, past_reviews, progress, settled_part
from dashboard.parts.review_matter import answers_part, caption, differences_part, head, related_part, runs_part
from dashboard.parts.review_memory import done_differently, held
from dashboard.parts.tables import empty
from dashboard.theme import palette

__all__ = ["TAKE_AWAY", "ReviewView", "choose", "layout", "register", "view"]

CHOSEN = "review-chosen"
LAST_SEEN = "review-last-seen"
ANSWER = "review-answer"
CAUTIONS = "review-cautions"
PROGRESS = "review-progress"
NOTHING = "review-nothing"
ROOM = "review-room"
LIST = "review-list"
MATTER = "review-matter"
NAME = "review-name"
HEAD = "review-head"
FIGURE = "review-figure"
GRAPH = "review-graph"
CAPTION = "review-caption"
RUNS = "review-runs"
DIFFERENCES = "review-differences"
RELATED = "review-related"
ANSWERS = "review-answers"
KEPT = "review-kept"
SAID = "review-said"
REST = "review-rest"
ACTIONS = "review-actions"
SETTLED = "review-settled"
CLOSING = "review-closing"
CLOSE_WORDS = "review-close-words"
CLOSED = "review-closed"
PAST = "review-past"
BELOW = "review-below"
ANY_CHOICE = {"type": "review-choose", "code": ALL}
NO_FIGURE: dict[str, Any] = {"data": [], "layout": {}}
_ROOM = {"height": "clamp(16rem, 34vw, 21rem)"}


@dataclass(frozen=True, eq=False)
class ReviewView:
    """The review with one matter open; ``chosen`` is None where there is none to open."""

    finding: ReviewFinding
    chosen: Item | None


def view(finding: ReviewFinding, code: object) -> ReviewView:
    """Return the review with the matter of that code open, or the worst one that has no answer yet."""
    shown = next((item for item in (*finding.items, *finding.settled) if item.goes_by(code)), None)
    return ReviewView(finding, shown or next_open(finding))


def layout(matter: str = "", **_address: object) -> Component:
    """Return the page; the address may name the matter that is open."""
    return html.Div(
        className="page review",
        children=[
            html.H1("Review", tabIndex=-1),
            html.P("Looking through every chart…", id=ANSWER, className="answer"),
            html.Div(id=CAUTIONS),
            html.Div(id=PROGRESS, className="review-progress", role="status"),
            dcc.Store(id=CHOSEN, data=matter if isinstance(matter, str) else ""),
            dcc.Store(id=LAST_SEEN, data=0),
            html.Div(id=NOTHING),
            html.Div(id=ROOM, className="review-room", hidden=True, children=[_list(), _matter()]),
            html.Div(id=REST, className="review-rest", hidden=True, children=_rest()),
        ],
    )


def _rest() -> list[Component]:
    return [
        html.H2("Actions"),
        html.Div(id=ACTIONS),
        html.H2("Close the review"),
        html.P(id=CLOSE_WORDS, className="measure"),
        review_closing.form(),
        html.Div(id=CLOSED, role="status"),
        html.H2("Past reviews"),
        html.Div(id=PAST),
        html.Div(id=SETTLED),
        html.Div(id=BELOW, className="below"),
    ]


def _list() -> Component:
    return html.Nav(id=LIST, className="review-list", **{"aria-label": "Matters of this review, worst first"})


def _matter() -> Component:
    return html.Section(
        id=MATTER,
        className="review-matter",
        children=[
            html.Div(id=KEPT, className="review-kept", role="status"),
            html.H2(id=NAME, tabIndex=-1),
            html.Div(id=HEAD, className="review-head"),
            html.Figure(
                id=FIGURE,
                children=[
                    dcc.Graph(id=GRAPH, figure=NO_FIGURE, config=GRAPH_CONFIG, style=_ROOM),
                    html.Figcaption(id=CAPTION),
                ],
            ),
            html.Div(id=RUNS),
            html.Div(id=DIFFERENCES, className="review-part"),
            html.Div(id=RELATED, className="review-part"),
            html.Div(id=ANSWERS, className="review-part"),
            html.H3("Your answer"),
            review_form.form(),
            html.Div(id=SAID, role="status"),
        ],
    )


def choose(kept: object, _state: int | None, clicks: Sequence[int | None], code: object) -> str:
    """Return the code of the matter that is open: the one that was pressed, or one that is in the selection."""
    if isinstance(ctx.triggered_id, Mapping):
        if not any(clicks):
            raise PreventUpdate
        return str(ctx.triggered_id["code"])
    finding = held(filters_from_kept(kept))
    offered = finding.items if ctx.triggered_id == LEDGER_STATE else (*finding.items, *finding.settled)
    if any(item.goes_by(code) for item in offered):
        raise PreventUpdate
    following = next_open(finding)
    return "" if following is None else following.code


def show(kept: object, _state: int | None, code: object):
    """Show the review around the matter that is open."""
    seen = view(held(filters_from_kept(kept)), code)
    finding = seen.finding
    return (
        finding.answer,
        [html.P(words, className="caution") for words in finding.cautions],
        progress(finding),
        nothing_part(finding),
        seen.chosen is None,
        matter_list(finding, seen.chosen),
        never_held(finding),
        review_actions.actions_part(finding.actions),
        settled_part(finding.settled),
        review_closing.closing_words(finding),
        past_reviews(finding),
        exports.links("review", "all matters and answers", finding.filters),
    )


def never_held(finding: ReviewFinding) -> bool:
    """Return whether there is nothing to hold a review of, and none was ever held."""
    return finding.until is None and not (finding.reviews or finding.actions or finding.settled)


def nothing_part(finding: ReviewFinding) -> Component | None:
    """Return what stands where no matter is open."""
    if finding.items:
        return None
    if finding.until is None:
        return empty(
            "Nothing is on record yet",
            ["Take your readings in on the page ", dcc.Link("Intake", href="/"), ". What moves will stand here."],
        )
    return empty("Nothing to answer", ["No chart of this selection shows anything that is not answered."])


def show_matter(kept: object, _state: int | None, code: object, scheme: object):
    """Show the matter that is open."""
    seen = view(held(filters_from_kept(kept)), code)
    item = seen.chosen
    if item is None:
        return "", None, True, NO_FIGURE, None, None, None, None, None
    related, answers = related_part(item, seen.finding), answers_part(item.answers)
    begins = item.key.title, head(item, seen.finding)
    if item.matter is None:
        return *begins, True, NO_FIGURE, None, None, None, related, answers
    figure = matter_chart(item.matter, palette(scheme))
    words = caption(item.matter), runs_part(item.matter), differences_part(done_differently(item))
    return *begins, False, figure, *words, related, answers


def fill(code: object, kept: object):
    """Fill the form for the matter that is open, and take back what was said of the one before."""
    seen = view(held(filters_from_kept(kept)), code)
    filled = review_form.filled(seen.chosen, seen.finding)
    values = [getattr(filled, name) for name in review_form.FIELDS if name != "by"]
    boxes = [dmc.Checkbox(value=other, label=label) for other, label in filled.also]
    clean = [""] * len(review_form.FIELDS)
    return *values, *clean, boxes, [], not boxes, filled.last_seen


def keep(clicks, code, last_seen, outcome, because, action, action_by, until, done_on, by, also, kept):
    """Keep the answer, and go on to the next matter without one."""
    if not clicks:
        raise PreventUpdate
    typed = (outcome, because, action, action_by, until, done_on, by)
    draft = AnswerDraft(*(value if isinstance(value, str) else "" for value in typed))
    finding = held(filters_from_kept(kept))
    came = review_form.keep(context().ledger, finding, code, last_seen, draft, also or [], date.today())
    if came.state is not None:
        announce(came.state)
    errors = [came.faults.get(name, "") for name in review_form.FIELDS]
    number = no_update if came.last_seen is None else came.last_seen
    kept_above, beside = (came.said, None) if came.open_next else (None, came.said)
    return *errors, kept_above, beside, came.open_next or no_update, number


def close(clicks: int | None, present: object, note: object, by: object):
    """Close the review."""
    if not clicks:
        raise PreventUpdate
    said, faults, closed = review_closing.close(context().ledger, held(Filters()), present, note, by)
    if closed:
        announce(context().ledger.state)
    errors = (faults.get(name, "") for name in ("present", "by", "note"))
    return said, *errors, "" if closed else no_update


def take_away(filters: Filters, _asked: Mapping[str, str], form: Form) -> bytes:
    """Return every matter with its answer as a file."""
    finding = held(filters)
    note = ExportNote(
        "Matters of the weekly review with their answers",
        finding.ledger_state,
        filters.in_words(),
        {"percent": "%"},
        finding.cautions,
        datetime.now(),
    )
    return export_table(finding.frame(), note, form)


TAKE_AWAY: Mapping[str, exports.Maker] = {"review": take_away}


def register(app: Dash) -> None:
    """Register the page and wire it."""
    dash.register_page(
        __name__,
        path="/review",
        name="Review",
        title="Review · Dropbright",
        order=2.5,
        icon="review",
        group="questions",
        layout=layout,
    )
    review_actions.register(app)
    _register_showing(app)
    _register_answering(app)


def _register_showing(app: Dash) -> None:
    busy = [(Output(BUSY, "hidden"), False, True)]
    asked = (Input(FILTERS, "data"), Input(LEDGER_STATE, "data"))
    app.callback(Output(CHOSEN, "data"), *asked, Input(ANY_CHOICE, "n_clicks"), State(CHOSEN, "data"), running=busy)(
        choose
    )
    app.callback(
        Output(ANSWER, "children"),
        Output(CAUTIONS, "children"),
        Output(PROGRESS, "children"),
        Output(NOTHING, "children"),
        Output(ROOM, "hidden"),
        Output(LIST, "children"),
        Output(REST, "hidden"),
        Output(ACTIONS, "children"),
        Output(SETTLED, "children"),
        Output(CLOSE_WORDS, "children"),
        Output(PAST, "children"),
        Output(BELOW, "children"),
        *asked,
        Input(CHOSEN, "data"),
        running=busy,
    )(show)
    app.callback(
        Output(NAME, "children"),
        Output(HEAD, "children"),
        Output(FIGURE, "hidden"),
        Output(GRAPH, "figure"),
        Output(CAPTION, "children"),
        Output(RUNS, "children"),
        Output(DIFFERENCES, "children"),
        Output(RELATED, "children"),
        Output(ANSWERS, "children"),
        *asked,
        Input(CHOSEN, "data"),
        Input(SCHEME, "data"),
        running=busy,
    )(show_matter)
    app.clientside_callback(
        ClientsideFunction("dropbright", "keepMatter"), Output(MATTER, "title"), Input(CHOSEN, "data")
    )
    app.clientside_callback(
        ClientsideFunction("dropbright", "openRun"),
        Output(LIST, "title"),
        Input(GRAPH, "clickData"),
        prevent_initial_call=True,
    )


def _register_answering(app: Dash) -> None:
    fields = list(review_form.FIELDS.values())
    app.callback(
        *(Output(name, "value") for name in fields if name != review_form.WHO),
        *(Output(name, "error") for name in fields),
        Output(review_form.ALSO, "children"),
        Output(review_form.ALSO, "value"),
        Output(review_form.ALSO_PLACE, "hidden"),
        Output(LAST_SEEN, "data"),
        Input(CHOSEN, "data"),
        State(FILTERS, "data"),
    )(fill)
    app.callback(
        Output(review_form.BECAUSE, "label"), Output(review_form.DOING, "hidden"), Input(review_form.OUTCOME, "value")
    )(review_form.shape)
    app.callback(
        *(Output(name, "error", allow_duplicate=True) for name in fields),
        Output(KEPT, "children"),
        Output(SAID, "children"),
        Output(CHOSEN, "data", allow_duplicate=True),
        Output(LAST_SEEN, "data", allow_duplicate=True),
        Input(review_form.KEEP, "n_clicks"),
        State(CHOSEN, "data"),
        State(LAST_SEEN, "data"),
        *(State(name, "value") for name in fields),
        State(review_form.ALSO, "value"),
        State(FILTERS, "data"),
        running=[(Output(review_form.KEEP, "disabled"), True, False)],
        prevent_initial_call=True,
    )(keep)
    app.callback(
        Output(CLOSED, "children"),
        Output(review_closing.PRESENT, "error"),
        Output(review_closing.CLOSER, "error"),
        Output(review_closing.NOTE, "error"),
        Output(review_closing.NOTE, "value"),
        Input(review_closing.CLOSE, "n_clicks"),
        State(review_closing.PRESENT, "value"),
        State(review_closing.NOTE, "value"),
        State(review_closing.CLOSER, "value"),
        running=[(Output(review_closing.CLOSE, "disabled"), True, False)],
        prevent_initial_call=True,
    )(close)
