"""Which cellar work belongs to which finished pack?"""

from analysis.linking.kept import pack_table
from analysis.linking.packs import link
from analysis.linking.tables import PackTable

__all__ = ["PackTable", "link", "pack_table"]
