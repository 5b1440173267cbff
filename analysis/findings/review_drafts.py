"""Can what a person typed stand as an answer, and how is it kept?

What is wrong is said by field, so that a form can show it there. Two people may answer at once: an answer is kept only
where nobody else has answered since the person saw the matter, and the same answer sent twice is kept once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from threading import Lock

from analysis.findings.review_answers import DONE, SUBJECT, Action, Answer, Done, Outcome, answers_in
from analysis.findings.review_seen import SeenMatter
from analysis.findings.wording import day
from analysis.ledger import Ledger

__all__ = ["AnswerDraft", "Kept", "keep_answer", "mark_done", "say_done"]

LONGEST = 1_000
_NAME = 120
_keeping = Lock()


@dataclass(frozen=True)
class AnswerDraft:
    """What was typed into the form, as it was typed; dates as ``2026-11-25``."""

    outcome: str = ""
    because: str = ""
    action: str = ""
    action_by: str = ""
    until: str = ""
    done_on: str = ""
    by: str = ""

    def faults(self, today: date) -> Mapping[str, str]:
        """Return what is wrong, a sentence a field; empty where it can stand."""
        wrong: dict[str, str] = {}
        if self.outcome not in set(Outcome):
            wrong["outcome"] = "Say what you found: a cause, no cause, or a false alarm."
        elif not self.because.strip():
            wrong["because"] = _WHY[Outcome(self.outcome)]
        if len(self.because.strip()) > LONGEST:
            wrong["because"] = f"Say it in at most {LONGEST:,} letters."
        if self.outcome == Outcome.CAUSE:
            wrong |= self._action_faults(today)
        if not self.by.strip():
            wrong["by"] = "Say your name: it is kept with the answer."
        return wrong

    def _action_faults(self, today: date) -> Mapping[str, str]:
        wrong: dict[str, str] = {}
        until, done = _date(self.until), _date(self.done_on)
        planned = bool(self.action_by.strip() or self.until.strip() or self.done_on.strip())
        if planned and not self.action.strip():
            wrong["action"] = "Say what is to be done, or leave who and when empty too."
        if len(self.action.strip()) > LONGEST:
            wrong["action"] = f"Say it in at most {LONGEST:,} letters."
        if self.action.strip() and not self.action_by.strip():
            wrong["action_by"] = "Say who does it."
        if self.done_on.strip():
            if done is None or done > today:
                wrong["done_on"] = f"Give a day up to today, {day(today)}."
        elif self.action.strip() and until is None:
            wrong["until"] = "Say until when, or on which day it was done."
        if not self.done_on.strip() and until is not None and until < today:
            wrong["until"] = f"That day is past: give today, {day(today)}, or a later one."
        return wrong

    def answer(self, seen: SeenMatter) -> Answer:
        """Return the draft as an answer that is not on record yet."""
        action = None
        if self.outcome == Outcome.CAUSE and self.action.strip():
            until = None if self.done_on.strip() else _date(self.until)
            action = Action(self.action.strip()[:LONGEST], self.action_by.strip()[:_NAME], until)
        because = self.because.strip()[:LONGEST]
        by, outcome = self.by.strip()[:_NAME], Outcome(self.outcome)
        return Answer(0, seen, outcome, because, action, by, datetime.now(), 0, self._done())

    def _done(self) -> Done | None:
        done = _date(self.done_on)
        if done is None or self.outcome != Outcome.CAUSE:
            return None
        return Done(done, self.by.strip()[:_NAME], datetime.now())


_WHY = {
    Outcome.CAUSE: "Say what the cause is.",
    Outcome.NO_CAUSE: "Say what you looked at: the next person need not look there again.",
    Outcome.FALSE_ALARM: "Say why it is a false alarm.",
}


@dataclass(frozen=True)
class Kept:
    """What came of an answer: ``answer`` is the one that stands now, ``meanwhile`` whether somebody else gave it."""

    answer: Answer
    meanwhile: bool


def keep_answer(
    ledger: Ledger, seen: SeenMatter, draft: AnswerDraft, today: date, *, last_seen: int, codes: frozenset[str]
) -> Kept:
    """Put an answer into the journal.

    Parameters
    ----------
    ledger : Ledger
    seen : SeenMatter
        The matter as the person saw it.
    draft : AnswerDraft
        Without faults.
    today : date
    last_seen : int
        The number of the matter's latest answer that the person saw, 0 for none.
    codes : frozenset of str
        Every name that the matter has gone by.

    Raises
    ------
    ValueError
        If the draft has faults.
    """
    wrong = draft.faults(today)
    if wrong:
        raise ValueError(f"keep_answer: draft must have no faults, got {dict(wrong)}")
    made = draft.answer(seen)
    with _keeping:
        standing = answers_in(ledger.journal(SUBJECT))
        latest = next((one for one in reversed(standing) if one.seen.key.code in codes), None)
        if latest is not None and latest.number > last_seen:
            return Kept(latest, meanwhile=not _same(latest, made))
        entry = ledger.decide(SUBJECT, made.as_content(), made.because, made.by)
        if made.done is not None:
            _decide_done(ledger, entry.number, made.done)
        kept = next(one for one in answers_in(ledger.journal(SUBJECT)) if one.number == entry.number)
        return Kept(kept, meanwhile=False)


def _same(one: Answer, other: Answer) -> bool:
    day_done = [None if answer.done is None else answer.done.on for answer in (one, other)]
    told = [(a.outcome, a.because, a.action, a.by) for a in (one, other)]
    return told[0] == told[1] and day_done[0] == day_done[1]


def say_done(on: str, by: str, today: date) -> Mapping[str, str]:
    """Return what is wrong with saying that an action was done, a sentence a field."""
    wrong = {}
    done = _date(on)
    if done is None or done > today:
        wrong["on"] = f"Give the day on which it was done, up to today, {day(today)}."
    if not by.strip():
        wrong["by"] = "Say your name: it is kept with the day."
    return wrong


def mark_done(ledger: Ledger, answer: int, on: str, by: str, today: date) -> bool:
    """Put on record that an answer's action was done; return False where that day is on record already.

    Raises
    ------
    ValueError
        If the day or the name is missing, the day lies ahead, or there is no such answer with an action.
    """
    wrong = say_done(on, by, today)
    if wrong:
        raise ValueError(f"mark_done: on must be a day up to today and by a name, got {on!r} and {by!r}")
    with _keeping:
        found = next((one for one in answers_in(ledger.journal(SUBJECT)) if one.number == answer), None)
        if found is None or found.action is None:
            raise ValueError(f"mark_done: answer must be the number of an answer with an action, got {answer}")
        done = date.fromisoformat(on.strip())
        if found.done is not None and found.done.on == done:
            return False
        _decide_done(ledger, answer, Done(done, by.strip()[:_NAME], datetime.now()))
        return True


def _decide_done(ledger: Ledger, answer: int, done: Done) -> None:
    content = {"what": DONE, "answer": answer, "on": done.on.isoformat()}
    ledger.decide(SUBJECT, content, "the action was done", done.by)


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None
