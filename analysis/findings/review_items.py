"""Which matters are in the review, and how do they stand: new, carried over, grown, settled?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from analysis.findings.meters import MetersFinding
from analysis.findings.review_answers import Answer
from analysis.findings.review_closings import ClosedReview
from analysis.findings.review_identity import Named, named, runs_today
from analysis.findings.review_matters import Matter
from analysis.findings.review_meters import drifted_beside
from analysis.findings.review_seen import MatterKey, SeenMatter
from analysis.findings.review_words import headline, seen, since_in_words
from analysis.findings.wording import day

__all__ = ["Item", "Standing", "review_items"]


class Standing(StrEnum):
    """Why a matter is in the review, or that it is settled."""

    NEW = "new"
    CARRIED = "carried over"
    GREW = "grew since it was answered"
    AGAIN = "answered anew"
    SETTLED = "answered in an earlier review"


@dataclass(frozen=True, eq=False)
class Item:
    """One matter of the review; ``matter`` is None where its records are gone, and ``seen`` is then how it last was.

    ``answers`` are all that were given, in order: the last one stands. ``grew_by`` counts the runs that joined since it
    was answered and last looked at in a review. ``meters`` say which meters that read its runs have drifted;
    ``related`` are the codes of matters on other charts that share runs with it.
    """

    key: MatterKey
    codes: frozenset[str]
    matter: Matter | None
    seen: SeenMatter
    standing: Standing
    answers: tuple[Answer, ...]
    grew_by: int
    meters: tuple[str, ...]
    related: tuple[str, ...] = ()

    @property
    def code(self) -> str:
        """Its lasting short name."""
        return self.key.code

    def goes_by(self, code: object) -> bool:
        """Return whether a code, which may be forged, is one that the matter goes by."""
        return isinstance(code, str) and code in self.codes

    @property
    def answer(self) -> Answer | None:
        """The answer that stands."""
        return self.answers[-1] if self.answers else None

    @property
    def size(self) -> str:
        """Its size in a few words."""
        return "no longer on a chart" if self.matter is None else headline(self.matter)

    @property
    def since(self) -> str:
        """Since when, in words."""
        return f"since {day(self.seen.since)}" if self.matter is None else since_in_words(self.matter)

    def as_document(self) -> dict[str, object]:
        """Return the item as a JSON document has it."""
        return {
            "matter": self.code,
            **self.key.as_document(),
            "title": self.key.title,
            "standing": str(self.standing),
            "told": self.seen.told,
            "change": self.seen.as_document(with_chart=False)["change"],
            "unit": self.seen.unit,
            "percent": self.seen.as_document(with_chart=False)["percent"],
            "since": self.seen.since.isoformat(timespec="minutes"),
            "lasts": self.seen.lasts,
            "on_a_chart": self.matter is not None,
            "harm": None if self.matter is None else self.matter.harm,
            "runs": list(self.seen.runs),
            "grew_by": self.grew_by,
            "meters": list(self.meters),
            "related": list(self.related),
            "answers": [answer.as_document() for answer in self.answers],
        }


def review_items(
    matters: Sequence[Matter],
    answers: Sequence[Answer],
    reviews: Sequence[ClosedReview],
    meters: MetersFinding | None,
) -> list[Item]:
    """Return every matter that is on a chart or was ever spoken of, with how it stands, worst first.

    Parameters
    ----------
    matters : sequence of Matter
        Worst first.
    answers : sequence of Answer
        All that stand in the journal, in order.
    reviews : sequence of ClosedReview
    meters : MetersFinding or None
    """
    items = []
    for one in named(matters, _spoken_of(answers, reviews)):
        own = tuple(answer for answer in answers if answer.seen.key.code in one.codes)
        beside = () if one.matter is None or meters is None else drifted_beside(one.matter, meters)
        now = one.last_seen if one.matter is None else seen(one.matter, meters=beside)
        if now is None:
            continue
        items.append(_item(one, now, own, reviews, beside))
    return [replace(item, related=_related(item, items)) for item in items]


def _item(
    one: Named, now: SeenMatter, own: tuple[Answer, ...], reviews: Sequence[ClosedReview], beside: tuple[str, ...]
) -> Item:
    before = [item.seen for closed in reviews for item in closed.items if item.seen.key.code in one.codes]
    seen_before, grew = bool(before), 0
    if own and one.matter is not None:
        then = (*before, *(answer.seen for answer in own))
        looked_at = {run for seen_then in then for run in runs_today(seen_then, one.matter)}
        grew = sum(run not in looked_at for run in now.runs)
    standing = _standing(own, seen_before, grew, reviews[-1].entry if reviews else 0)
    return Item(one.key, one.codes, one.matter, now, standing, own, grew, beside)


def _standing(own: Sequence[Answer], seen_before: bool, grew: int, last_closed: int) -> Standing:
    """Return how a matter stands; ``last_closed`` is the last closed review's entry in the journal, 0 for none."""
    if not seen_before:
        return Standing.SETTLED if own and own[-1].number < last_closed else Standing.NEW
    if not own or own[0].number > last_closed:
        return Standing.CARRIED
    if grew:
        return Standing.GREW
    return Standing.SETTLED if own[-1].number < last_closed else Standing.AGAIN


def _related(item: Item, items: Sequence[Item]) -> tuple[str, ...]:
    """Return the codes of other matters that share at least half of the runs of the smaller of the two."""
    own = set(item.seen.runs)
    close = []
    for other in items:
        if other is item or other.key.side != item.key.side:
            continue
        shared = len(own.intersection(other.seen.runs))
        if 2 * shared >= min(len(own), len(other.seen.runs)) > 0:
            close.append(other.code)
    return tuple(close)


def _spoken_of(answers: Sequence[Answer], reviews: Sequence[ClosedReview]) -> list[SeenMatter]:
    """Return everything that was seen with an answer or a closed review, in the journal's order."""
    told = [(answer.number, answer.seen) for answer in answers]
    told += [(closed.entry, item.seen) for closed in reviews for item in closed.items]
    return [one for _, one in sorted(told, key=lambda pair: pair[0])]
