"""What has every finding in common?"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.findings.filters import Filters

__all__ = ["Finding"]


@dataclass(frozen=True)
class Finding:
    """The head of every finding: the question, its answer in one sentence, and what must be known beside it.

    ``ledger_state`` names the state of the ledger that the answer was computed from.
    """

    question: str
    answer: str
    cautions: tuple[str, ...]
    ledger_state: int
    filters: Filters

    def as_document(self) -> dict[str, object]:
        """Return the head as a JSON document has it."""
        return {
            "question": self.question,
            "answer": self.answer,
            "cautions": list(self.cautions),
            "ledger_state": self.ledger_state,
            "filters": self.filters.as_document(),
        }
