"""By which ids do the shell and the pages find each other's state?"""

from __future__ import annotations

__all__ = ["ADDRESS", "BUSY", "FILTERS", "LEDGER_STATE", "SCHEME"]

# Dash's own: the address that the page is routed by.
ADDRESS = "_pages_location"

# Stores of the shell: the kept selection, the ledger's state as this browser last heard it, light or dark.
FILTERS = "kept-filters"
LEDGER_STATE = "ledger-state"
SCHEME = "scheme"

# The place in the shell that says that a page is being worked out; it outlives the page.
BUSY = "busy"
