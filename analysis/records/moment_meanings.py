"""In which columns do a moment's date and its clock time stand?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.records.headers import Header
from analysis.records.meaning import Looks, Meaning, Meanings, Role
from analysis.records.words import CLOCKS, HEADERS

__all__ = ["take_moments", "words_of"]

_SURE, _WEAK = 0, 1


def take_moments(
    kind: str,
    moments: Sequence[str],
    headers: Sequence[Header | None],
    looks: Looks,
    meanings: Meanings,
    said: dict[int, str],
) -> None:
    """Find the date and the clock of each moment; an explicit word goes before a general one."""
    offers: list[tuple[int, int, str, bool]] = []
    for j, header in enumerate(headers):
        if header is None or (j in meanings and j not in said):
            continue
        for name in moments:
            rank = _SURE - 1 if said.get(j) == name else None if j in said else _moment_rank(kind, name, header)
            look = looks(j)
            if rank is None or (rank >= _WEAK and look in ("text", "number") and not _names_a_date(header)):
                continue
            open_look = look in ("empty", "number", "text")
            rank += 0 if look in ("moment", "clock", "empty") else 1
            offers.append((rank, j, name, look == "clock" or (open_look and _is_clock_word(kind, name, header))))
    taken: set[tuple[str, bool]] = set()
    for rank, j, name, is_clock in sorted(offers, key=lambda offer: (offer[0], moments.index(offer[2]), offer[1])):
        if (name, is_clock) in taken or (j in meanings and j not in said) or (j in said and said[j] != name):
            continue
        header = headers[j]
        assert header is not None  # offers name only columns with a header
        role: Role = "clock" if is_clock else "kept"
        meanings[j] = Meaning(j, header.text, role, name, order=header.order, is_weak=rank >= _WEAK)
        said.pop(j, None)
        taken.add((name, is_clock))
    for name in moments:
        if (name, True) in taken and (name, False) not in taken and not _has_date(kind, name, taken):
            _drop_clock(name, meanings)


def _names_a_date(header: Header) -> bool:
    """Tell whether a general word is over a date all the same, though few cells of it can be read."""
    return any(word in ("date", "day", "time", "datetime", "moment", "when") for word in header.words.split())


def _has_date(kind: str, name: str, taken: set[tuple[str, bool]]) -> bool:
    """Tell whether a clock without a date of its own has that of the start."""
    return kind == "operations" and name == "ended_at" and ("started_at", False) in taken


def _drop_clock(name: str, meanings: Meanings) -> None:
    for j in [j for j, m in meanings.items() if m.role == "clock" and m.name == name]:
        meanings[j] = Meaning(j, meanings[j].header, "extra")


def _moment_rank(kind: str, name: str, header: Header) -> int | None:
    ranks = [_rank(words_of(kind, name), header), _rank(_clock_words(kind, name), header)]
    known = [rank for rank in ranks if rank is not None]
    return min(known) if known else None


def words_of(kind: str, name: str) -> dict[str, int]:
    words = HEADERS[kind].get(name)
    if words is None and kind == "pack_runs":
        words = HEADERS["readings"].get(name)
        if name == "measured_at":  # a general word is the packaging's first, but the reading's where that has its own
            return {word: rank + 1 if rank else rank for word, rank in (words or {}).items()}
    return dict(words or {})


def _clock_words(kind: str, name: str) -> dict[str, int]:
    words = CLOCKS.get(kind, {}).get(name)
    if words is None and kind == "pack_runs" and name == "measured_at":
        words = dict.fromkeys(CLOCKS["readings"]["measured_at"], _WEAK + 1)
    return dict(words or {})


def _is_clock_word(kind: str, name: str, header: Header) -> bool:
    return _rank(_clock_words(kind, name), header) is not None and _rank(words_of(kind, name), header) is None


def _rank(words: dict[str, int], header: Header) -> int | None:
    ranks = [words[name] for name, unit in header.names if name in words and unit is None]
    return min(ranks) if ranks else None
