"""What does the brewery have on record? Every change is kept, and every intake can be withdrawn."""

from analysis.ledger.cache import Cache
from analysis.ledger.conflicts import Claim, Conflict
from analysis.ledger.errors import LedgerError
from analysis.ledger.journal import JournalEntry, TakenBack
from analysis.ledger.ledger import Ledger
from analysis.ledger.resolving import Resolution
from analysis.ledger.results import Commit, Counts, FileEntry, IntakeEntry, SheetEntry, Taking, Withdrawal
from analysis.ledger.snapshot import Snapshot, ledger_cache, snapshot

__all__ = [
    "Cache",
    "Claim",
    "Commit",
    "Conflict",
    "Counts",
    "FileEntry",
    "IntakeEntry",
    "JournalEntry",
    "Ledger",
    "LedgerError",
    "Resolution",
    "SheetEntry",
    "Snapshot",
    "TakenBack",
    "Taking",
    "Withdrawal",
    "ledger_cache",
    "snapshot",
]
