"""Which words stand where a value should, and say that there is none?"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

__all__ = ["BEYOND", "NO_NAME", "NO_VALUE", "is_missing", "plain"]

# Common practice, no source: what people write in logs.
NO_NAME = frozenset({
    "n/a", "na", "n.a.", "n.a", "n / a", "-", "--", "---", "–", "—", ".", "..", "…", "?", "??", "???",
    "none", "null", "nil", "nan", "tbc", "tbd", "unknown", "unk", "not known", "not recorded", "no record",
    "missing", "blank", "(blank)", "empty", "x", "xx", "xxx",
    "k.a.", "k. a.", "keine angabe", "entfällt", "fehlt", "unbekannt",
    "#n/a", "#n/a!", "#n/v", "#value!", "#ref!", "#div/0!", "#name?", "#num!", "#null!", "#getting_data",
})  # fmt: skip
BEYOND = frozenset({
    "oor", "out of range", "over range", "overrange", "over", "under range", "underrange", "off scale", "offscale",
    "bdl", "lod", "<lod", "< lod", ">lod", "<loq", "< loq", "bd", "trace", "traces", "tr", "tr.", "spur", "spuren",
    "not detected", "none detected", "below detection", "below range", "above range", "too high", "too low",
})  # fmt: skip
"""Words that say a reading lay beyond what the meter can tell: it was taken, and its limit is not written."""
NO_VALUE = NO_NAME | BEYOND | {
    "nm", "n.m.", "n/m", "nd", "n.d.", "n/d", "nr", "n.r.", "n/r", "nt", "n/t", "ns", "n/s",
    "not measured", "not taken", "not tested", "not done", "not sampled", "no reading",
    "no sample", "no data", "no result", "not available", "not applicable", "not read", "missed", "skipped", "forgot",
    "broken", "meter broken", "broke", "fault", "meter fault", "failed", "fail", "faulty", "error", "err", "lost",
    "out of order", "out of service", "oos", "pending", "awaiting", "n.b.", "n. b.", "nicht bestimmt", "n. best.",
    "nicht gemessen", "defekt", "ausgefallen",
    "void", "invalid", "bad", "bad sample", "no meter", "meter down", "down", "repeat", "leak", "spilt", "spilled",
}  # fmt: skip


def plain(text: str) -> str:
    """Return a text in lower case with single spaces, for looking a word up.

    >>> plain("  Not   Taken. ")
    'not taken'
    """
    words = " ".join(text.casefold().split())
    return words.rstrip(".!") or words


def is_missing(words: Iterable[str], among: frozenset[str] = NO_NAME) -> npt.NDArray[np.bool_]:
    """Return which words say that there is no value; shape (words,)."""
    return np.array([word.casefold() in among or plain(word) in among for word in words], dtype=bool)
