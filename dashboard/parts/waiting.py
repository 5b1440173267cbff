"""What do the waiting files say, with everything that was said about them?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html
from dash.development.base_component import Component

from analysis.records import SheetAnswers, SheetIntake, take_in
from dashboard.parts.answers import AnswersDocument, merge, overlay, sheet_key
from dashboard.parts.closer import closer, shown_document
from dashboard.parts.context import Context
from dashboard.parts.rejects import rejects_address
from dashboard.parts.review import remark_parts, review, review_parts
from dashboard.parts.staging import Staging

__all__ = ["Reading", "answers_so_far", "asked_about", "look", "read", "token_of"]

GONE = "The files no longer wait on the server. Reload the page and drop them again."


@dataclass(frozen=True)
class Reading:
    """What the page shows of a reading of the waiting files.

    ``parts`` are its counts, questions and sheets, ``remarks`` what was rejected or remarked on; ``ready`` says
    that there is something to take in.
    """

    parts: Sequence[Component]
    remarks: Sequence[Component]
    answers: AnswersDocument
    ready: bool


def token_of(waiting: object) -> str | None:
    """Return the token that the browser keeps for its waiting files."""
    token = waiting.get("token") if isinstance(waiting, Mapping) else None
    return token if isinstance(token, str) else None


def answers_so_far(staging: Staging, said: object, values: Sequence[Any], ids: Sequence[Any]) -> AnswersDocument:
    """Return what was said about the waiting sheets, the controls on the page included."""
    shown = {} if staging.taken is None else shown_document(staging.taken.sheets)
    controls = [{"id": place, "value": value} for place, value in zip(ids, values, strict=False)]
    return merge(said, controls, overlay(shown, said))


def read(here: Context, staging: Staging, answers: AnswersDocument) -> Reading:
    """Read the waiting files with the answers; what was read is what will be taken in."""
    try:
        said = SheetAnswers.from_document({"sheets": answers})
        staging.taken = take_in(staging.sources, answers=said, remembered=here.ledger.remembered())
    except ValueError as error:
        return Reading([html.P(f"An answer cannot stand: {error}.", className="caution")], (), answers, ready=False)
    found = review(staging.taken)
    remarks = remark_parts(found, rejects_address(staging.token))
    return Reading(review_parts(found), remarks, answers, ready=found.accepted > 0)


def look(staging: Staging, place: object, answers: AnswersDocument) -> Component | None:
    """Return the controls for the sheet at a place in the table, or None where there is no such sheet."""
    sheets = () if staging.taken is None else staging.taken.sheets
    if not isinstance(place, int) or not 0 <= place < len(sheets):
        return None
    sheet = sheets[place]
    shown = overlay(shown_document((sheet,)), answers)[sheet_key(sheet.file, sheet.sheet)]
    return closer(sheet, shown, asked_about(sheet))


def asked_about(sheet: SheetIntake) -> frozenset[tuple[str, str]]:
    """Return the slots and headers of a sheet that a question on the page already has a control for."""
    return frozenset((question.field, question.key or "") for question in sheet.questions)
