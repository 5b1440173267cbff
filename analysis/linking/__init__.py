"""Which cellar work belongs to which finished pack?"""

from analysis.linking.kept import linked, pack_table
from analysis.linking.packs import link
from analysis.linking.tables import PackTable, Remark

__all__ = ["PackTable", "Remark", "link", "linked", "pack_table"]
