"""What did a change do to the ledger, and what was changed before?"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from analysis.findings.wording import count, day, listing
from analysis.ledger import Commit, IntakeEntry, Withdrawal
from analysis.records.kinds import KINDS

__all__ = [
    "commit_in_words",
    "entry_document",
    "history_frame",
    "standing",
    "withdrawal_document",
    "withdrawal_in_words",
]


def commit_in_words(commit: Commit) -> str:
    """Return what an intake did, in a sentence: what is new, what was corrected, what contradicts."""
    if commit.intake is None:
        had_rows = any(counts.rows for counts in commit.counts.values())
        return (
            "Nothing new: all of this is on record already."
            if had_rows
            else "Nothing was stored: no row could be taken in."
        )
    told = [_by_kind({kind: getattr(c, part) for kind, c in commit.counts.items()}, word) for part, word in _PARTS]
    return f"Intake {commit.intake}: {'; '.join(part for part in told if part) or 'no rows'}."


_PARTS = (
    ("added", "new"),
    ("updated", "corrected"),
    ("unchanged", "on record already"),
    ("conflicting", "contradicting another row, used by neither side until you say which is right"),
)


def _by_kind(numbers: dict[str, int], word: str) -> str:
    """Return ``batches 235, readings 5,285 new``, or an empty text where there is none."""
    parts = [f"{KINDS[kind].label.lower()} {number:,}" for kind, number in numbers.items() if number]
    return f"{', '.join(parts)} {word}" if parts else ""


def withdrawal_in_words(withdrawal: Withdrawal) -> str:
    """Return what taking an intake back did, in a sentence."""
    removed = _by_kind(dict(withdrawal.removed), "no longer on record")
    restored = _by_kind(dict(withdrawal.restored), "as they were before it")
    told = "; ".join(part for part in (removed, restored) if part)
    return f"Intake {withdrawal.intake} is withdrawn: {told or 'nothing else changed'}."


def withdrawal_document(withdrawal: Withdrawal) -> dict[str, object]:
    """Return a withdrawal as a JSON document."""
    return {
        "intake": withdrawal.intake,
        "ledger_state": withdrawal.state,
        "removed": dict(withdrawal.removed),
        "restored": dict(withdrawal.restored),
    }


def standing(entry: IntakeEntry) -> str:
    """Return whether an intake stands: ``on record``, or when, by whom and why it was withdrawn."""
    taken_back = entry.withdrawn
    if taken_back is None:
        return "on record"
    because = f": {taken_back.because}" if taken_back.because else ""
    return f"withdrawn on {day(taken_back.at)} by {taken_back.by}{because}"


def history_frame(entries: Sequence[IntakeEntry]) -> pd.DataFrame:
    """Return the history, a row for each intake, the latest first."""
    latest = sorted(entries, key=lambda entry: entry.intake, reverse=True)
    return pd.DataFrame(
        {
            "intake": [entry.intake for entry in latest],
            "at": pd.to_datetime([entry.at for entry in latest]).as_unit("us"),
            "by": [entry.by for entry in latest],
            "files": ["; ".join(file.file for file in entry.files) for entry in latest],
            "rows": [sum(counts.rows for counts in entry.counts.values()) for entry in latest],
            "standing": [standing(entry) for entry in latest],
        }
    )


def entry_document(entry: IntakeEntry) -> dict[str, object]:
    """Return an intake of the history as a JSON document."""
    return {
        "intake": entry.intake,
        "at": entry.at.isoformat(),
        "by": entry.by,
        "files": [{"file": f.file, "sha256": f.sha256, "sheets": [s.sheet for s in f.sheets]} for f in entry.files],
        "rows": {kind: counts.rows for kind, counts in entry.counts.items()},
        "standing": standing(entry),
        "in_words": f"{count(len(entry.files), 'file')}: {listing([f.file for f in entry.files])}",
    }
