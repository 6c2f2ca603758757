"""Earlier versions of the format: which are read, and what their files count as saying of what they lack.

Files are never rewritten: one of an earlier version is read into the data types of today, for ever. What it
has is read as it stands; what came later is supplied from here. A file of the latest version lacks nothing:
there, a missing item is a damage.

Version 1 (all kinds)
    The seal is one sum over all. Items came in the course of it, each with a value that says "not known" or
    "as it was then": those of `SUPPLIED`.
Version 2 (records)
    A catalogue at the head, arrays checked when they are read; lot, and origin and reason of a new reduction.
    The time of a new reduction came in the course of it, and is absent where there was none: there, and in
    the first files that were reduced again, whose time of creation it is. So did the product of a specimen,
    absent where nobody told it.
    All other kinds are still written in version 1.

A later change of a kind adds its version here, and the golden files of tests/archive/golden/ stay.
"""

from __future__ import annotations

from collections.abc import Mapping

from benchsweep.archive.format._digests import Scalar

__all__ = ["supplied"]

# Item, with the name of its group where that is needed -> what a file of version 1 without it says.
SUPPLIED: Mapping[str, Scalar | tuple[str, ...]] = {
    "specimen@lot": "",
    "@reduced_from": "",
    "@reason": "",
    "@verification": "",
    "@reached": "",  # calibrations were never reached through relays
    "@spacing": "linear",
    "budget/toml": "",
    "incidents/text": (),
    "consistency/note": (),
    "terminated_port": (),
    "terminated_by": (),
    "state_question": (),
    "state_answer": (),
    "limit_name": (),
    "limit_value": (),
    "lacks": (),
    "segment_start_hz": (),
    "segment_stop_hz": (),
    "segment_points": (),
    "segment_if_bandwidth_hz": (),
}
_GROUPS = frozenset(item.partition("/")[0] for item in SUPPLIED if "/" in item)


def supplied(version: int, group: str, item: str) -> Scalar | tuple[str, ...] | None:
    """Return what a file of that version without `item` of the group named `group` counts as saying.

    Parameters
    ----------
    item
        ``@name`` of an attribute, name of a data set, or empty for the group itself, which counts as empty.

    Returns
    -------
    The value; no entry at all for a list, of texts or numbers. None where the item must be there.
    """
    if version > 1:
        return None
    if not item:
        return () if group in _GROUPS else None
    long = f"{group}{item}" if item.startswith("@") else f"{group}/{item}"
    return SUPPLIED.get(long, SUPPLIED.get(item))
