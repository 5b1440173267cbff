"""Which actions stand, which are overdue, and which have worked?"""

from __future__ import annotations

from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from analysis.findings.review_answers import Answer
from analysis.findings.review_effects import Effect, effect_of
from analysis.findings.review_items import Item
from analysis.findings.run_values import run_values
from analysis.findings.wording import count, day
from analysis.linking import PackTable

__all__ = ["EffectsKept", "StandingAction", "standing_actions"]

EffectsKept = MutableMapping[tuple[str, tuple[str, ...], date], Effect]
"""What was worked out before for the same records: an effect by its matter's own name, its runs and the day."""


@dataclass(frozen=True, eq=False)
class StandingAction:
    """One action of an answer that stands; ``effect`` is None until it is done, or where its matter is gone."""

    item: Item
    answer: Answer
    overdue: bool
    standing: str
    effect: Effect | None

    @property
    def what(self) -> str:
        """What is or was to be done."""
        return "" if self.answer.action is None else self.answer.action.what

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document has it."""
        action = self.answer.action
        return {
            "matter": self.item.code,
            "title": self.item.key.title,
            "answer": self.answer.number,
            "action": self.what,
            "by": None if action is None else action.by,
            "until": None if action is None or action.until is None else action.until.isoformat(),
            "done_on": None if self.answer.done is None else self.answer.done.on.isoformat(),
            "standing": self.standing,
            "overdue": self.overdue,
            "effect": None if self.effect is None else self.effect.as_document(),
        }


def standing_actions(
    table: PackTable, items: Sequence[Item], today: date, kept: EffectsKept | None = None
) -> tuple[StandingAction, ...]:
    """Return the actions of the answers that stand: overdue ones first, then those to be done, then those done.

    Parameters
    ----------
    table : PackTable
    items : sequence of Item
    today : date
    kept : mapping, optional
        Effects that were worked out for these records before; what is worked out now is added.
    """
    known: EffectsKept = {} if kept is None else kept
    runs: dict[tuple[str, str], pd.DataFrame] = {}
    found = []
    for item in items:
        answer = item.answer
        if answer is None or answer.action is None:
            continue
        effect = None
        if answer.done is not None and item.matter is not None:
            asked, on = (item.key.measure, item.key.stage), answer.done.on
            name = "/".join(str(part) for part in item.key.chart), item.matter.runs, on
            if name not in known:
                if asked not in runs:
                    runs[asked] = run_values(table, *asked).runs
                known[name] = effect_of(item.matter, on, runs[asked])
            effect = known[name]
        late = answer.overdue(today)
        found.append(StandingAction(item, answer, late, _standing(answer, today), effect))
    return tuple(sorted(found, key=_order))


def _standing(answer: Answer, today: date) -> str:
    action = answer.action
    if answer.done is not None:
        return f"done on {day(answer.done.on)}"
    if action is None or action.until is None:
        return "to be done"
    if action.until < today:
        late = (today - action.until).days
        return f"overdue by {count(late, 'day')}: it was due on {day(action.until)}"
    return f"due on {day(action.until)}"


def _order(action: StandingAction) -> tuple[int, date]:
    part = 0 if action.overdue else 2 if action.answer.done is not None else 1
    until = action.answer.action.until if action.answer.action is not None else None
    return part, until or date.max
