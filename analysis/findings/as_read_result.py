"""How is it told what would be another with every reading as it was read?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from analysis.findings.wording import count

__all__ = ["AsRead", "Line"]

_OTHER: Mapping[str, str] = MappingProxyType(
    {
        "verdict": "be another",
        "chart": "show other signals or moves",
        "rise": "be another",
        "forecast": "be another",
    }
)


@dataclass(frozen=True)
class Line:
    """What is told of one practice or chart with the readings in use, and what would be with them as they were read."""

    name: str
    in_use: str
    as_read: str

    @property
    def differs(self) -> bool:
        """Whether the two are not the same."""
        return self.in_use != self.as_read


@dataclass(frozen=True)
class AsRead:
    """The comparison of a whole page; ``what`` is a verdict or a chart, ``remarks`` say which readings it is about."""

    what: str
    remarks: tuple[str, ...]
    lines: tuple[Line, ...]

    @property
    def answer(self) -> str:
        """What the comparison says, in a sentence."""
        differing = [line for line in self.lines if line.differs]
        if not differing:
            return f"With every reading as it was read, no {self.what} would {_OTHER[self.what]}."
        return f"With every reading as it was read, {count(len(differing), self.what)} would {_OTHER[self.what]}."

    def as_document(self) -> dict[str, object]:
        """Return it as a JSON document has it."""
        return {
            "answer": self.answer,
            "remarks": list(self.remarks),
            f"{self.what}s": [
                {"name": line.name, "in_use": line.in_use, "as_read": line.as_read, "differs": line.differs}
                for line in self.lines
            ],
        }
