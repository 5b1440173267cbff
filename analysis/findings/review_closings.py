"""What was seen and decided in each review that was closed, and who was there?

A closed review is one entry of the journal under the subject "review". It holds what it fixed: the ledger's state,
until which date there were runs, every matter with its chart and the answer that stood, and the actions with how they
stood. Its record is read from there alone and never changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from threading import Lock
from typing import Any

from analysis.findings.review_seen import SeenMatter
from analysis.ledger import JournalEntry, Ledger

__all__ = ["SUBJECT", "ClosedAction", "ClosedItem", "ClosedReview", "closed_reviews", "closing_faults", "keep_closed"]

SUBJECT = "review"
LONGEST = 4_000
_NAME = 120
_MOST_PRESENT = 40
_closing = Lock()


@dataclass(frozen=True)
class ClosedItem:
    """One matter of a closed review: how it stood there ("new", "carried over" ...), and its answer, "" for none."""

    seen: SeenMatter
    standing: str
    answer: str

    def as_document(self) -> dict[str, object]:
        """Return the item as the journal keeps it."""
        return {"matter": self.seen.as_document(with_chart=True), "standing": self.standing, "answer": self.answer}


@dataclass(frozen=True)
class ClosedAction:
    """One action as it stood: what it is about, what, how it stands, and whether it worked, in words."""

    title: str
    what: str
    standing: str
    effect: str

    def as_document(self) -> dict[str, object]:
        """Return the action as the journal keeps it."""
        return {"title": self.title, "what": self.what, "standing": self.standing, "effect": self.effect}


@dataclass(frozen=True)
class ClosedReview:
    """A closed review; ``entry`` is its number in the journal, ``until`` the day of the last run that was on record."""

    number: int
    entry: int
    by: str
    at: datetime
    present: tuple[str, ...]
    note: str
    state: int
    until: date | None
    items: tuple[ClosedItem, ...]
    actions: tuple[ClosedAction, ...]

    @property
    def unanswered(self) -> int:
        """How many of its matters had no answer."""
        return sum(not item.answer for item in self.items)

    def as_content(self) -> dict[str, object]:
        """Return the review as the journal's content."""
        return {
            "number": self.number,
            "state": self.state,
            "until": None if self.until is None else self.until.isoformat(),
            "present": list(self.present),
            "note": self.note,
            "items": [item.as_document() for item in self.items],
            "actions": [action.as_document() for action in self.actions],
        }

    def as_document(self) -> dict[str, object]:
        """Return the review as a JSON document has it, without its charts."""
        return {
            "number": self.number,
            "closed_at": self.at.isoformat(timespec="seconds"),
            "by": self.by,
            "present": list(self.present),
            "note": self.note,
            "ledger_state": self.state,
            "until": None if self.until is None else self.until.isoformat(),
            "matters": len(self.items),
            "unanswered": self.unanswered,
        }


def closed_reviews(entries: Sequence[JournalEntry]) -> tuple[ClosedReview, ...]:
    """Return every closed review that stands in the journal, in order; one that makes no sense is passed over."""
    found = []
    for entry in entries:
        if entry.subject != SUBJECT:
            continue
        try:
            found.append(_review(entry, entry.content))
        except (KeyError, TypeError, ValueError):
            continue
    return tuple(found)


def _review(entry: JournalEntry, content: Mapping[str, Any]) -> ClosedReview:
    until = content["until"]
    return ClosedReview(
        number=int(content["number"]),
        entry=entry.number,
        by=entry.by,
        at=entry.at,
        present=tuple(str(name) for name in content["present"]),
        note=str(content["note"]),
        state=int(content["state"]),
        until=None if until is None else date.fromisoformat(until),
        items=tuple(
            ClosedItem(SeenMatter.from_document(item["matter"]), str(item["standing"]), str(item["answer"]))
            for item in content["items"]
        ),
        actions=tuple(
            ClosedAction(*(str(action[name]) for name in ("title", "what", "standing", "effect")))
            for action in content["actions"]
        ),
    )


def closing_faults(present: str, by: str, note: str = "") -> Mapping[str, str]:
    """Return what keeps a review from being closed, a sentence a field; empty where nothing does."""
    wrong = {}
    if not names_in(present):
        wrong["present"] = "Say who was there: names, with commas between them."
    if len(note.strip()) > LONGEST:
        wrong["note"] = f"Keep the note under {LONGEST:,} letters."
    if not by.strip():
        wrong["by"] = "Say your name: it is kept with the review."
    return wrong


def names_in(present: str) -> tuple[str, ...]:
    """Return the names in a text, split at commas and lines."""
    names = [name.strip()[:_NAME] for name in present.replace(";", ",").replace("\n", ",").split(",")]
    return tuple(dict.fromkeys(name for name in names if name))[:_MOST_PRESENT]


def keep_closed(
    ledger: Ledger,
    present: str,
    note: str,
    by: str,
    *,
    last_seen: int,
    until: date | None,
    items: Sequence[ClosedItem],
    actions: Sequence[ClosedAction],
    state: int,
) -> tuple[ClosedReview, bool]:
    """Close a review, once: where one was closed since ``last_seen``, that one is returned, and False.

    Parameters
    ----------
    ledger : Ledger
    present, note, by : str
        As they were typed.
    last_seen : int
        The number of the last closed review that the person saw, 0 for none.
    until, items, actions, state
        What it fixes.

    Raises
    ------
    ValueError
        If nobody was there, no name is given, or the note is too long.
    """
    wrong = closing_faults(present, by, note)
    if wrong:
        raise ValueError(f"keep_closed: present, by and note must have no faults, got {dict(wrong)}")
    with _closing:
        before = closed_reviews(ledger.journal(SUBJECT))
        if before and before[-1].number > last_seen:
            return before[-1], False
        number = before[-1].number + 1 if before else 1
        said, names = note.strip(), names_in(present)
        who = by.strip()[:_NAME]
        made = ClosedReview(number, 0, who, datetime.now(), names, said, state, until, tuple(items), tuple(actions))
        entry = ledger.decide(SUBJECT, made.as_content(), said or "the review was held", who)
        return _review(entry, entry.content), True
