"""What moved since the last review, what was done about it, and what is still open?

Every matter on the charts is in the review until it was answered and the review that saw the answer was closed. One
that was seen and not answered is carried over; one that was answered and has grown since is shown again. Nothing
vanishes unanswered: a matter whose records are gone stays, as it was seen, until somebody answers it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from analysis.findings.filters import Filters
from analysis.findings.meters import MetersFinding
from analysis.findings.review_actions import EffectsKept, StandingAction, standing_actions
from analysis.findings.review_answers import read_entries
from analysis.findings.review_closings import ClosedReview, closed_reviews
from analysis.findings.review_items import Item, Standing, review_items
from analysis.findings.review_matters import Matter
from analysis.findings.review_meters import drifted_in_words
from analysis.findings.wording import count, day, listing
from analysis.ledger import JournalEntry
from analysis.linking import PackTable

__all__ = ["ReviewFinding", "review"]

_QUESTION = "What moved since the last review, and what do we do about it?"
_MOST_TOLD = 3


@dataclass(frozen=True, eq=False)
class ReviewFinding:
    """The review as it stands now, for one selection.

    ``items`` are those of the review in the selection, worst first; ``settled`` those that earlier reviews settled;
    ``outside`` counts the review's items outside the selection, and ``outside_open`` those of them without an answer.
    ``every`` holds all items of the review, whatever the selection: closing fixes them all.
    """

    question: str
    answer: str
    cautions: tuple[str, ...]
    ledger_state: int
    filters: Filters
    items: tuple[Item, ...]
    settled: tuple[Item, ...]
    every: tuple[Item, ...]
    actions: tuple[StandingAction, ...]
    reviews: tuple[ClosedReview, ...]
    until: date | None

    @property
    def answered(self) -> int:
        """How many of the items have an answer."""
        return sum(item.answer is not None for item in self.items)

    @property
    def outside_open(self) -> int:
        """How many items outside the selection have no answer."""
        shown = {item.code for item in self.items}
        return sum(item.answer is None and item.code not in shown for item in self.every)

    @property
    def last(self) -> ClosedReview | None:
        """The last closed review."""
        return self.reviews[-1] if self.reviews else None

    def item(self, code: object) -> Item | None:
        """Return the item of a code, under any name that it went by; None where there is none."""
        return next((item for item in (*self.items, *self.settled, *self.every) if item.goes_by(code)), None)

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        return {
            "question": self.question,
            "answer": self.answer,
            "matters": [item.as_document() for item in self.items],
            "settled": [item.as_document() for item in self.settled],
            "answered": self.answered,
            "actions": [action.as_document() for action in self.actions],
            "reviews": [closed.as_document() for closed in self.reviews],
            "until": None if self.until is None else self.until.isoformat(),
            "cautions": list(self.cautions),
            "ledger_state": self.ledger_state,
            "filters": self.filters.as_document(),
        }

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return headers and one row a matter as text, for a terminal."""
        headers = ["matter", "size", "since", "standing", "answer"]
        rows = [
            [
                item.key.title,
                item.size,
                item.since,
                str(item.standing),
                item.answer.in_words if item.answer else "none yet",
            ]
            for item in self.items
        ]
        return headers, rows

    def frame(self) -> pd.DataFrame:
        """Return one row a matter with its answer, the settled ones too, for a file."""
        return pd.DataFrame([_row(item) for item in (*self.items, *self.settled)], columns=_COLUMNS)


def review(
    table: PackTable,
    matters: Sequence[Matter],
    entries: Sequence[JournalEntry],
    meters: MetersFinding | None = None,
    *,
    today: date,
    filters: Filters | None = None,
    effects: EffectsKept | None = None,
) -> ReviewFinding:
    """Return the review as it stands.

    Parameters
    ----------
    table : PackTable
    matters : sequence of Matter
        All on record, worst first, as from ``matters_on_record``.
    entries : sequence of JournalEntry
        What stands in the journal; only answers and closed reviews are looked at.
    meters : MetersFinding, optional
        What the checks say of the meters.
    today : date
        Actions that should have been done before it are overdue.
    filters : Filters, optional
        Which matters are shown; the matters themselves are those of the whole brewery.
    effects : mapping, optional
        What was worked out before of these records about actions; what is worked out now is added.
    """
    chosen = filters if filters is not None else Filters()
    read, reviews = read_entries(entries), closed_reviews(entries)
    found = review_items(matters, read.answers, reviews, meters)
    every = tuple(item for item in found if item.standing is not Standing.SETTLED)
    shown = [item for item in found if _asked_about(item, chosen)]
    items = tuple(item for item in shown if item.standing is not Standing.SETTLED)
    actions = standing_actions(table, [item for item in shown if item.answers], today, effects)
    packed = table.rows["packed_at"].max() if len(table.rows) else pd.NaT
    return ReviewFinding(
        question=_QUESTION,
        answer=_answer(items, actions, reviews),
        cautions=(*_cautions(meters, read.not_understood), *table.remarks_on()),
        ledger_state=table.state,
        filters=chosen,
        items=items,
        settled=tuple(item for item in shown if item.standing is Standing.SETTLED),
        every=every,
        actions=actions,
        reviews=reviews,
        until=None if pd.isna(packed) else packed.date(),
    )


def _asked_about(item: Item, filters: Filters) -> bool:
    """Return whether a matter is in a selection; one across recipes is in it where a selected recipe is concerned."""
    if filters == Filters():
        return True
    if item.matter is None:
        recipe, form = item.key.recipe, item.key.format
        at = pd.Series([pd.Timestamp(item.seen.since)])
        frame = pd.DataFrame({"recipe": [recipe], "format": [form], "tank": [None], "at": at})
    else:
        first, last = item.matter.stretch.first, item.matter.stretch.last
        frame = item.matter.chart.iloc[first : last + 1]
    return bool(len(filters.apply(frame, "at")))


def _answer(items: Sequence[Item], actions: Sequence[StandingAction], reviews: Sequence[ClosedReview]) -> str:
    new = [item for item in items if item.standing is Standing.NEW]
    carried = sum(item.standing is Standing.CARRIED for item in items)
    grew = sum(item.standing is Standing.GREW for item in items)
    overdue = sum(action.overdue for action in actions)
    since = f" since the review of {day(reviews[-1].at)}" if reviews else ""
    parts = [f"{count(len(new), 'matter is', 'matters are')} new{since}" if new else f"Nothing is new{since}"]
    if carried:
        parts.append(f"{count(carried, 'was', 'were')} carried over")
    if grew:
        parts.append(f"{count(grew, 'has', 'have')} grown since {'it was' if grew == 1 else 'they were'} answered")
    if overdue:
        parts.append(f"{count(overdue, 'action is', 'actions are')} overdue")
    worst = [f"{item.key.title}, {item.size}, {item.since}" for item in items if item.matter is not None]
    said = f"{listing(parts)}."
    if not worst:
        return said
    return f"{said} {'Worst' if len(worst) > 1 else 'It is'}: {'; '.join(worst[:_MOST_TOLD])}."


def _cautions(meters: MetersFinding | None, not_understood: int) -> tuple[str, ...]:
    said = list(drifted_in_words(meters)) if meters is not None else []
    if not_understood:
        said.append(
            f"{count(not_understood, 'entry', 'entries')} of the journal {'was' if not_understood == 1 else 'were'} "
            "written by another version and cannot be read here."
        )
    return tuple(said)


_COLUMNS = (
    "matter", "measure", "stage", "recipe", "format", "line", "standing", "since", "lasts", "runs", "change", "unit",
    "percent", "told", "meters", "outcome", "because", "action", "action_by", "until", "done_on", "answered_by",
    "answered_at", "ledger_state",
)  # fmt: skip


def _row(item: Item) -> tuple[object, ...]:
    key, shown, answer = item.key, item.seen, item.answer
    where = (item.code, key.measure, key.stage, key.recipe, key.format, key.line, str(item.standing))
    size = (shown.since, shown.lasts, len(shown.runs), shown.change, shown.unit, shown.percent, shown.told)
    if answer is None:
        return (*where, *size, "; ".join(item.meters), *[None] * 9)
    action = answer.action
    done = None if answer.done is None else answer.done.on.isoformat()
    until = None if action is None or action.until is None else action.until.isoformat()
    doing = (None, None) if action is None else (action.what, action.by)
    told = (str(answer.outcome), answer.because, *doing, until, done, answer.by, answer.at, answer.state)
    return (*where, *size, "; ".join(item.meters), *told)
