"""Which records of one intake say two things of the same thing?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.problems import Problem, Severity
from analysis.records import kinds
from analysis.records.cells import moment_text
from analysis.records.repeats import identities
from analysis.vocabulary import measure

__all__ = ["conflicts_in"]

_TOLD = 100


def conflicts_in(kind: str, frame: pd.DataFrame) -> tuple[Problem, ...]:
    """Return a problem for each record that another record of the intake contradicts; both are handed on.

    Parameters
    ----------
    kind : str
    frame : DataFrame
        The records of that kind.
    """
    if len(frame) < 2:
        return ()
    thing = pd.Series(identities(kind, frame), index=frame.index)
    same = thing.duplicated(keep=False)
    if not same.any():
        return ()
    known = kinds.KINDS[kind]
    told = [c.name for c in known.columns if c.name != known.aside]
    few = frame.loc[same, [*told, "file", "sheet", "source_row"]]
    problems: list[Problem] = []
    stated = [name for name in told if name not in known.identity]
    for _, group in few.groupby(thing[same], sort=False):
        problems += _of_group(kind, group.drop_duplicates(told), stated)
        if len(problems) > _TOLD:
            break
    return tuple(problems)


def _of_group(kind: str, group: pd.DataFrame, columns: list[str]) -> list[Problem]:
    differing = [name for name in columns if _differs(group[name])]
    if len(group) < 2 or not differing:
        return []
    column = "value" if "value" in differing else differing[0]
    unit = _unit(kind, column, group)
    values = [_told(value) for value in group[column].tolist()]
    told = [f"{value} {unit}".strip() for value in values]
    problems = []
    for place, (_, row) in enumerate(group.iterrows()):
        other = group.iloc[0 if place else 1]
        message = (
            f"{_about(kind, row)}: {column.replace('_', ' ')} is {told[place]} here and {told[0 if place else 1]}"
            f" in {other['file']}, {other['sheet']}, row {other['source_row']}."
        )
        remedy = "Both are kept and neither is used until you say which is right."
        at = (str(row["file"]), str(row["sheet"]), int(row["source_row"]), column, values[place])
        problems.append(Problem("conflict", message, remedy, Severity.CONFLICT, *at))
    return problems


def _differs(values: pd.Series) -> bool:
    """Tell whether two values stand there; a blank beside a value contradicts nothing."""
    return len(values.dropna().unique()) > 1


def _about(kind: str, row: pd.Series) -> str:
    """Return what a record is about, the measure first: ``Readings of haze, run R1, sample 2``."""
    known = {name: row[name] for name in kinds.KINDS[kind].identity if not pd.isna(row[name])}
    quantity = known.pop("quantity", None)
    label = kinds.KINDS[kind].label
    words = [f"{name.replace('_', ' ')} {_told(value)}" for name, value in known.items()]
    return ", ".join([f"{label} of {_measure(str(quantity))}" if quantity is not None else label, *words])


def _measure(quantity: str) -> str:
    label = measure(quantity).label
    return label[0].lower() + label[1:]


def _unit(kind: str, column: str, group: pd.DataFrame) -> str:
    """Return the kept unit of a column, that of the quantity for a reading's value."""
    if column == "value" and kind == "readings":
        return measure(str(group["quantity"].iloc[0])).unit
    return kinds.KINDS[kind].column(column).unit


def _told(value: object) -> str:
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return "blank"
    if isinstance(value, pd.Timestamp):
        return moment_text(value.to_datetime64())
    return f"{value:.12g}" if isinstance(value, float) else str(value)
