"""What did people find out about a matter, what is being done about it, by whom and until when?

Answers stand in the ledger's journal under the subject "signal": who gave each, when, why, and the ledger's state. An
answer that is changed is a new entry; the old one stays. That an action was done is an entry of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from analysis.findings.review_seen import SeenMatter
from analysis.findings.wording import day
from analysis.ledger import JournalEntry

__all__ = ["SUBJECT", "Action", "Answer", "Done", "Outcome", "answers_in", "read_entries"]

SUBJECT = "signal"
ANSWERED, DONE = "answer", "done"


class Outcome(StrEnum):
    """What was found."""

    CAUSE = "assigned cause"
    NO_CAUSE = "no cause found"
    FALSE_ALARM = "false alarm"


@dataclass(frozen=True)
class Action:
    """What is to be done, by whom, and until when; ``until`` is None where it was done when the answer was given."""

    what: str
    by: str
    until: date | None


@dataclass(frozen=True)
class Done:
    """That an action was done: on which day, and who said so when."""

    on: date
    by: str
    at: datetime


@dataclass(frozen=True)
class Answer:
    """One answer; ``because`` is the cause, what was looked at, or why it was a false alarm."""

    number: int
    seen: SeenMatter
    outcome: Outcome
    because: str
    action: Action | None
    by: str
    at: datetime
    state: int
    done: Done | None = None

    @property
    def in_words(self) -> str:
        """The answer in a sentence or two, with who gave it when."""
        found = {
            Outcome.CAUSE: f"Cause: {self.because}",
            Outcome.NO_CAUSE: f"No cause found; looked at: {self.because}",
            Outcome.FALSE_ALARM: f"False alarm, because {self.because}",
        }[self.outcome].rstrip(".")
        return f"{found}. {self.action_in_words}{self.by}, {day(self.at)}."

    @property
    def action_in_words(self) -> str:
        """The action with who does it until when and when it was done, "" where there is none."""
        if self.action is None:
            return ""
        until = "" if self.action.until is None else f", until {day(self.action.until)}"
        done = "" if self.done is None else f", done on {day(self.done.on)}"
        return f"Action: {self.action.what.rstrip('.')} ({self.action.by}{until}{done}). "

    def overdue(self, today: date) -> bool:
        """Return whether its action should have been done before today and was not."""
        return (
            self.action is not None
            and self.done is None
            and self.action.until is not None
            and self.action.until < today
        )

    def as_content(self) -> dict[str, object]:
        """Return the answer as the journal's content."""
        action = None
        if self.action is not None:
            until = self.action.until
            action = {"what": self.action.what, "by": self.action.by, "until": until and until.isoformat()}
        matter = self.seen.as_document(with_chart=False)
        return {"what": ANSWERED, "matter": matter, "outcome": str(self.outcome), "action": action}

    def as_document(self) -> dict[str, object]:
        """Return the answer as a JSON document has it."""
        action = self.as_content()["action"]
        return {
            "number": self.number,
            "outcome": str(self.outcome),
            "because": self.because,
            "action": action,
            "done_on": None if self.done is None else self.done.on.isoformat(),
            "by": self.by,
            "at": self.at.isoformat(timespec="seconds"),
            "ledger_state": self.state,
        }


@dataclass(frozen=True)
class _Read:
    answers: tuple[Answer, ...]
    not_understood: int


def answers_in(entries: Sequence[JournalEntry]) -> tuple[Answer, ...]:
    """Return every answer that stands in the journal, in order, each with whether its action was done."""
    return read_entries(entries).answers


def read_entries(entries: Sequence[JournalEntry]) -> _Read:
    """Return the answers in the journal, and how many entries under their subject make no sense to this version."""
    answers: dict[int, Answer] = {}
    lost = 0
    for entry in sorted((one for one in entries if one.subject == SUBJECT), key=lambda one: one.number):
        try:
            _take(entry, answers)
        except (KeyError, TypeError, ValueError):
            lost += 1
    return _Read(tuple(answers.values()), lost)


def _take(entry: JournalEntry, answers: dict[int, Answer]) -> None:
    content: Mapping[str, Any] = entry.content
    if content["what"] == DONE:
        of = int(content["answer"])
        if of in answers:
            done = Done(date.fromisoformat(content["on"]), entry.by, entry.at)
            answers[of] = replace(answers[of], done=done)
        return
    answers[entry.number] = _answer(entry, content)


def _answer(entry: JournalEntry, content: Mapping[str, Any]) -> Answer:
    action = content["action"]
    return Answer(
        number=entry.number,
        seen=SeenMatter.from_document(content["matter"]),
        outcome=Outcome(content["outcome"]),
        because=entry.because,
        action=None if action is None else Action(action["what"], action["by"], _day(action["until"])),
        by=entry.by,
        at=entry.at,
        state=entry.state,
    )


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
