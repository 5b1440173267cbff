"""Which records of one intake say two things of the same thing?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.problems import Problem, Severity
from analysis.records import kinds
from analysis.records.repeats import identities

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
    told = [_told(value) for value in group[column].tolist()]
    problems = []
    for place, (_, row) in enumerate(group.iterrows()):
        other = group.iloc[0 if place else 1]
        message = (
            f"{kinds.KINDS[kind].label}: {column.replace('_', ' ')} is {told[place]} here and {told[0 if place else 1]}"
            f" in {other['file']}, {other['sheet']}, row {other['source_row']}, for the same thing."
        )
        problems.append(
            Problem("conflict", message, "Both are kept and neither is used until you say which is right.",
                    Severity.CONFLICT, str(row["file"]), str(row["sheet"]), int(row["source_row"]), column, told[place])
        )  # fmt: skip
    return problems


def _differs(values: pd.Series) -> bool:
    """Tell whether two values stand there; a blank beside a value contradicts nothing."""
    return len(values.dropna().unique()) > 1


def _told(value: object) -> str:
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return "blank"
    return f"{value:.12g}" if isinstance(value, float) else str(value)
