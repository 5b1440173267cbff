"""What did people decide, in the order in which they did?"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analysis.findings import baselines, margins, meter_decisions, review_answers, review_closings
from analysis.findings.wording import day
from analysis.ledger import JournalEntry
from analysis.linking.beer_solubility import SETTINGS

__all__ = ["ABOUT", "decision_about", "decision_document", "decision_standing"]

ABOUT: Mapping[str, str] = MappingProxyType(
    {
        baselines.SUBJECT: "a chart's baseline",
        margins.SUBJECT: "the smallest difference that matters",
        meter_decisions.SUBJECT: "a meter's readings",
        review_answers.SUBJECT: "an answer in the review",
        review_closings.SUBJECT: "a review closed",
        SETTINGS: "a setting",
    }
)
"""What a decision of each subject is about, in words."""


def decision_about(entry: JournalEntry) -> str:
    """Return what a decision is about, in words; its subject where a newer version made it."""
    return ABOUT.get(entry.subject, entry.subject)


def decision_standing(entry: JournalEntry) -> str:
    """Return whether a decision stands: ``stands``, or when, by whom and why it was taken back."""
    back = entry.taken_back
    return "stands" if back is None else f"taken back on {day(back.at)} by {back.by}: {back.because}"


def decision_document(entry: JournalEntry) -> dict[str, object]:
    """Return a decision as a JSON document."""
    return {
        "decision": entry.number,
        "ledger_state": entry.state,
        "at": entry.at.isoformat(timespec="minutes"),
        "by": entry.by,
        "subject": entry.subject,
        "about": decision_about(entry),
        "because": entry.because,
        "content": dict(entry.content),
        "standing": decision_standing(entry),
    }
