"""What does a page of verdicts say in full, with all that stands behind each verdict?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings.practice_checks import model_checks
from analysis.findings.practice_depth import deepen
from analysis.findings.practices import PracticesFinding

__all__ = ["InFull"]


@dataclass(frozen=True)
class InFull:
    """A finding whose document also holds what the page works out when a verdict, or the model, is opened."""

    finding: PracticesFinding

    @property
    def answer(self) -> str:
        """The finding's."""
        return self.finding.answer

    @property
    def cautions(self) -> Sequence[str]:
        """The finding's."""
        return self.finding.cautions

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """The finding's."""
        return self.finding.in_words()

    def as_document(self) -> dict[str, object]:
        """Return the finding's document with ``behind``, one for each verdict in their order, and ``model_checks``."""
        checks = model_checks(self.finding)
        return {
            **self.finding.as_document(),
            "behind": [deepen(self.finding, effect.practice).as_document() for effect in self.finding.practices],
            "model_checks": None if checks is None else checks.as_document(),
        }
