"""Which figures of gas and oxygen can be asked for, and what is the answer to one?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.findings.beer_factor import WATER, BeerFactor
from analysis.findings.cautions import in_sentences
from analysis.findings.figure_entries import Entered, EntryFault, read_entry
from analysis.findings.figure_gas import HEADSPACE, SOLUBILITY
from analysis.findings.figure_packs import CLOSING, INGRESS, PARTS, SHAKEN
from analysis.findings.figure_purging import PURGE, SWEEP, TRAPPED
from analysis.findings.gas_figure import Figure, GasFigure, Given, Worked

__all__ = ["FIGURES", "figure_named", "work_out"]

FIGURES: tuple[Figure, ...] = (PURGE, SWEEP, TRAPPED, SHAKEN, PARTS, HEADSPACE, INGRESS, CLOSING, SOLUBILITY)

_NO_SPREAD = "No ± was written, so that there is no interval: write one behind a figure, as in “1.0 ± 0.05 bar”."
_SPREAD = "The interval is what the ± of the figures make of it, 95 times in 100. It knows of nothing else."


def figure_named(name: str) -> Figure:
    """Return the figure of that name.

    Raises
    ------
    ValueError
        If there is none.
    """
    for figure in FIGURES:
        if figure.name == name:
            return figure
    raise ValueError(f"figure_named: name must be one of {', '.join(f.name for f in FIGURES)}, got {name!r}")


def work_out(
    name: str, typed: Mapping[str, str], factor: BeerFactor = WATER, ledger_state: int | None = None
) -> GasFigure:
    """Return the answer to a figure.

    Parameters
    ----------
    name : str
        Of one of ``FIGURES``.
    typed : mapping
        What was typed, by field; a field that is not in it has its usual figure.
    factor : BeerFactor
    ledger_state : int, optional
        The state that the factor was read from.

    Raises
    ------
    ValueError
        If there is no such figure.
    """
    figure = figure_named(name)
    read = [read_entry(field, typed.get(field.name, figure.usual(field, typed))) for field in figure.fields]
    entered = tuple(one for one in read if isinstance(one, Entered))
    faults = tuple(one for one in read if isinstance(one, EntryFault))
    worked = None if faults else figure.work(Given({one.name: one for one in entered}, factor))
    if isinstance(worked, EntryFault):
        faults, worked = (worked,), None
    return GasFigure(
        figure=figure,
        answer=worked.answer if worked is not None else _what_is_wrong(faults),
        cautions=_cautions(figure, worked, factor, entered),
        entered=entered,
        faults=faults,
        worked=worked,
        factor=factor,
        ledger_state=ledger_state,
    )


def _what_is_wrong(faults: tuple[EntryFault, ...]) -> str:
    return "One entry cannot be used yet." if len(faults) == 1 else f"{len(faults)} entries cannot be used yet."


def _cautions(
    figure: Figure, worked: Worked | None, factor: BeerFactor, entered: tuple[Entered, ...]
) -> tuple[str, ...]:
    if worked is None:
        return in_sentences(*figure.cautions)
    spread = () if worked.main is None else (_SPREAD,) if any(one.error > 0 for one in entered) else (_NO_SPREAD,)
    own = (factor.sentence,) if worked.uses_factor else ()
    return (*worked.notes, *spread, *own, *in_sentences(*figure.cautions))
