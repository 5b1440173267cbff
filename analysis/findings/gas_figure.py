"""What is a figure that a brewer asks of physics, and what is its answer?

A figure rests on what is typed, on physics and on the brewery's beer factor; no record enters it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.estimate import Estimate
from analysis.findings.beer_factor import BeerFactor
from analysis.findings.cautions import Caution
from analysis.findings.figure_entries import Entered, EntryFault, Field
from analysis.findings.wording import amount
from analysis.oxygen import Source

__all__ = ["AIR_OUTSIDE", "Figure", "GasFigure", "Given", "Line", "Worked", "absolute", "told"]

AIR_OUTSIDE = Field(
    "outside", "Air pressure outside", "pressure", "1013 mbar",
    "Absolute. What stands here is the standard at sea level; it falls by about 1 % for every 85 m up.",
    lowest=50, highest=110,
)  # fmt: skip


@dataclass(frozen=True)
class Given:
    """What was typed, by field, and the brewery's beer factor."""

    entries: Mapping[str, Entered]
    factor: BeerFactor

    def has(self, name: str) -> bool:
        """Whether a field was filled in."""
        return name in self.entries

    def value(self, name: str) -> float:
        """The value of a field [kept unit]."""
        return self.entries[name].value

    def error(self, name: str) -> float:
        """The standard uncertainty of a field [kept unit]; 0 where none was written."""
        return self.entries[name].error

    def text(self, name: str) -> str:
        """What was typed in a field."""
        return self.entries[name].text

    def values(self, *names: str) -> dict[str, float]:
        """The values of some fields, by name."""
        return {name: self.value(name) for name in names if self.has(name)}

    def errors(self, *names: str) -> dict[str, float]:
        """The standard uncertainties of some fields, by name."""
        return {name: self.error(name) for name in names if self.has(name)}


@dataclass(frozen=True)
class Line:
    """One more figure beside the answer's, in words."""

    label: str
    value: str


@dataclass(frozen=True)
class Worked:
    """An answer: its sentence, its main figure (None where it was refused), what stands beside it, what it rests on."""

    answer: str
    main: Estimate | None
    lines: tuple[Line, ...] = ()
    sources: tuple[Source, ...] = ()
    notes: tuple[str, ...] = ()
    uses_factor: bool = False


@dataclass(frozen=True)
class Figure:
    """A question of physics: its name in addresses and commands, its fields, and how it is answered.

    ``rests_on`` is the relation and its source; ``cautions`` are the dangers of what it is asked for. Of the
    groups of fields in ``either`` one is filled in.
    """

    name: str
    title: str
    question: str
    fields: tuple[Field, ...]
    rests_on: str
    work: Callable[[Given], Worked | EntryFault]
    cautions: tuple[Caution, ...] = ()
    either: tuple[tuple[str, ...], ...] = ()

    def usual(self, field: Field, typed: Mapping[str, str]) -> str:
        """Return what stands in a field that nobody typed in: nothing where its like was typed instead."""
        others = [group for group in self.either if field.name not in group]
        mine = any(field.name in group for group in self.either)
        instead = mine and any(typed.get(name, "").strip() for group in others for name in group)
        return "" if instead else field.usual


@dataclass(frozen=True)
class GasFigure:
    """The answer to a figure, as every finding: question, answer, cautions; ``faults`` stand beside their fields.

    ``worked`` is None where there are faults.
    """

    figure: Figure
    answer: str
    cautions: tuple[str, ...]
    entered: tuple[Entered, ...]
    faults: tuple[EntryFault, ...]
    worked: Worked | None
    factor: BeerFactor
    ledger_state: int | None = None

    @property
    def question(self) -> str:
        """The figure's question."""
        return self.figure.question

    @property
    def answered(self) -> bool:
        """Whether there is a main figure."""
        return self.worked is not None and self.worked.main is not None

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        main = None if self.worked is None else self.worked.main
        return {
            "figure": self.figure.name, "question": self.question, "answer": self.answer,
            "value": None if main is None else main.value, "low": None if main is None else main.low,
            "high": None if main is None else main.high, "unit": None if main is None else main.unit,
            "entered": [_entered_document(one) for one in self.entered],
            "beside": [] if self.worked is None else [
                {"what": one.label, "value": one.value} for one in self.worked.lines
            ],
            "uncertainty": [] if self.worked is None else [
                {"from": s.name, "standard_uncertainty": s.uncertainty, "in_result": s.in_total}
                for s in self.worked.sources
            ],
            "faults": [{"field": f.field, "message": f.message} for f in self.faults],
            "rests_on": self.figure.rests_on, "beer_factor": self.factor.as_document(),
            "cautions": list(self.cautions), "ledger_state": self.ledger_state,
        }  # fmt: skip

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return what was entered and what came of it as headers and rows of text."""
        labels = {field.name: field.label for field in self.figure.fields}
        rows = [[labels[one.name], one.text] for one in self.entered]
        if self.worked is not None:
            rows += [[line.label, line.value] for line in self.worked.lines]
        return ["What", "Figure"], rows


def told(estimate: Estimate, digits: int = 3) -> str:
    """Return a figure with its interval in brackets, where it has one."""
    value = amount(estimate.value, estimate.unit, digits=digits)
    if not estimate.standard_error > 0:
        return value
    low, high = amount(estimate.low, digits=digits), amount(estimate.high, estimate.unit, digits=digits)
    return f"{value} ({low} to {high})"


def absolute(given: Given, name: str, at: Mapping[str, float]) -> float:
    """Return a pressure as an absolute one [kPa]; ``at`` holds the value of the field and of the air outside."""
    return at[name] if given.entries[name].kind == "absolute" else at[name] + at[AIR_OUTSIDE.name]


def _entered_document(one: Entered) -> dict[str, object]:
    number = one.value == one.value
    return {
        "field": one.name, "typed": one.text, "value": one.value if number else one.choice,
        "standard_uncertainty": one.error if number else None,
    }  # fmt: skip
