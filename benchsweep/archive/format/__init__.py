"""What stands in a file of ours, byte for byte: seal, catalogue, HDF5. The only place that knows h5py.

From the bottom up: `_digests` (checksums of items) and `_seal` (the first bytes); `_catalogue` (what is
where), `_node` (a group, whatever it is read from), `_migrations` (what earlier versions lack), `_hollow`
(images without their large arrays); `_hdf_node` and `_catalogue_node` with `_catalogue_seal` (the two ways to
read), `_put` (to write), `_item_checks` and `_heaps` (to check), `_layout` (units and meanings); `_tree`
(trees of groups to bytes and back). What a tree means is told in `_convert` above and in the other rooms.
"""

from benchsweep.archive.format._digests import Scalar, data_digest
from benchsweep.archive.format._hollow import HollowFile
from benchsweep.archive.format._node import Node
from benchsweep.archive.format._seal import (
    BLOCK,
    VERSION,
    Kind,
    Span,
    first_block,
    kind_in,
    kind_of,
    seal_block,
)
from benchsweep.archive.format._tree import (
    Block,
    check_items,
    content_digest,
    fill,
    new_image,
    node_of,
    opened,
    to_bytes,
)

__all__ = [
    "BLOCK",
    "VERSION",
    "Block",
    "HollowFile",
    "Kind",
    "Node",
    "Scalar",
    "Span",
    "check_items",
    "content_digest",
    "data_digest",
    "fill",
    "first_block",
    "kind_in",
    "kind_of",
    "new_image",
    "node_of",
    "opened",
    "seal_block",
    "to_bytes",
]
