"""What does the brewery have on record? Every change is kept, and every intake can be withdrawn."""

from analysis.ledger.cache import Cache
from analysis.ledger.errors import LedgerError
from analysis.ledger.ledger import Ledger
from analysis.ledger.results import Commit, Counts
from analysis.ledger.snapshot import Snapshot, ledger_cache, snapshot

__all__ = ["Cache", "Commit", "Counts", "Ledger", "LedgerError", "Snapshot", "ledger_cache", "snapshot"]
