"""Do practices that move in part together matter together, though neither can be told alone?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse.csgraph import connected_components

from analysis.findings.practice_rows import Candidate
from analysis.findings.practice_separation import Separation
from analysis.findings.wording import listing
from analysis.models import MixedFit, joint_test
from analysis.verdicts import Judgement, Verdict

__all__ = ["JointStatement", "joint_statements"]

FAMILY_RATE = 0.05


@dataclass(frozen=True)
class JointStatement:
    """A group of practices that matter together and cannot be separated.

    ``practices`` are their kept names, ``columns`` their columns, ``p`` that of the joint F test after allowing for the
    number of groups; ``spoken`` is what they are called inside a sentence.
    """

    practices: tuple[str, ...]
    columns: tuple[str, ...]
    p: float
    sentence: str
    spoken: tuple[str, ...] = ()


def joint_statements(
    fit: MixedFit, separation: Separation, judged: Mapping[str, tuple[Candidate, Judgement]]
) -> tuple[JointStatement, ...]:
    """Test each group of practices that move in part together, of which none is told to raise or lower.

    Parameters
    ----------
    fit : MixedFit
        The joint model.
    separation : Separation
    judged : mapping of column to its candidate and judgement
    """
    groups = [
        group
        for group in _groups(separation, list(judged))
        if all(judged[c][1].verdict not in (Verdict.RAISES, Verdict.LOWERS) for c in group)
        and all(c in fit.names for c in group)
    ]
    found = []
    for group in groups:
        p = min(1.0, joint_test(fit, group).p * len(groups))
        if p <= FAMILY_RATE:
            members = [judged[c][0] for c in group]
            found.append(
                JointStatement(
                    tuple(m.name for m in members),
                    tuple(group),
                    p,
                    _sentence(members),
                    tuple(m.spoken for m in members),
                )
            )
    return tuple(found)


def _groups(separation: Separation, columns: list[str]) -> list[list[str]]:
    bound = np.zeros((len(columns), len(columns)))
    for column, companions in separation.companions.items():
        for companion in companions:
            if column in columns and companion.candidate.column in columns:
                bound[columns.index(column), columns.index(companion.candidate.column)] = 1.0
    if not bound.any():
        return []
    count, label = connected_components(bound, directed=False)
    groups = [[c for c, g in zip(columns, label, strict=True) if g == k] for k in range(count)]
    return [group for group in groups if len(group) > 1]


def _sentence(members: Sequence[Candidate]) -> str:
    return (
        f"cannot separate {listing([m.spoken for m in members])}: together they matter, but as they move with each "
        "other it cannot be told which of them does it"
    )
