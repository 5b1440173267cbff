"""What did people decide between claims that contradict each other?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from sqlalchemy import Connection, select

from analysis.ledger.tables import DISMISSED, RESOLUTIONS

__all__ = ["load_decisions"]


def load_decisions(connection: Connection, kind: str) -> pd.DataFrame:
    """Return what was decided about a kind.

    Returns
    -------
    DataFrame
        A line for each claim that was decided against: resolution (its number), key (of the thing), kept and
        dismissed (marks of contents), all int64.
    """
    query = (
        select(RESOLUTIONS.c.resolution, RESOLUTIONS.c.key, RESOLUTIONS.c.kept, DISMISSED.c.content)
        .join(DISMISSED, DISMISSED.c.resolution == RESOLUTIONS.c.resolution)
        .where(RESOLUTIONS.c.kind == kind)
    )
    rows = connection.execute(query).all()
    names = ["resolution", "key", "kept", "dismissed"]
    return pd.DataFrame(np.array([tuple(row) for row in rows], dtype=np.int64).reshape(-1, 4), columns=names)
