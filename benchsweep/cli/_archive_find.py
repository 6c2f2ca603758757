from __future__ import annotations

from benchsweep.cli._options import AsJson
from benchsweep.cli._output import print_json, print_text
from benchsweep.cli._selection import Chosen, chooses_records

__all__ = ["find"]


@chooses_records
def find(chosen: Chosen, as_json: AsJson = False) -> None:
    """List the records of an archive that fit, oldest first.

    Example: `benchsweep archive find --specimen 'reel-*' --since 2026-11`
    """
    from benchsweep.qualification import find_document, find_records

    found = find_records(chosen.root, chosen.selection)
    document = find_document(chosen.root, found)
    if as_json:
        print_json(document)
        return
    for item in document["found"]:
        print_text(f"{item['created_at']}  {item['specimen']}  {item['record']}")
