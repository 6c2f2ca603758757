"""The catalogue at the head of a file of version 2: what is in it, and where its numbers stand.

HDF5 takes some hundredths of a millisecond to find and open one small item, and a record has a hundred of
them. The catalogue says the same at once: a JSON object with three members::

    groups    path of a group -> its attributes
    texts     path of a data set of text -> the text, or the list of texts
    numbers   path of a data set of numbers -> [type, shape, first byte in the file, SHA-256 of its bytes]

Type is that of numpy (``<c16``); shape is a list of lengths. An attribute that JSON has no number for (not a
number, infinite) is ``{"float64": <16 hexadecimal digits, most significant first>}``. Units, meanings and the
checksums of attributes are left out: they are in the HDF5 file, which says all of it again, for everybody.
`check_record` compares the two.
"""

from __future__ import annotations

import json
import math
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from benchsweep.archive.format._digests import Scalar
from benchsweep.archive.format._seal import Span

__all__ = ["Catalogue", "Numbers", "decoded", "numbers_of"]

_TYPE = re.compile(r"[<|][fiuc][0-9]{1,2}")


_dtype: Callable[[str], np.dtype[Any]] = cache(np.dtype)


class Numbers(NamedTuple):
    """Where the numbers of a data set stand.

    Attributes
    ----------
    type : str
        Their type as numpy writes it: ``<c16``.
    shape : tuple of int
        Lengths.
    start : int
        Their first byte in the file; 0 where there are none.
    sha256 : str
        Checksum of their bytes.
    """

    type: str
    shape: tuple[int, ...]
    start: int
    sha256: str

    @property
    def dtype(self) -> np.dtype[Any]:
        """Their type."""
        return _dtype(self.type)

    @property
    def span(self) -> Span:
        """The stretch of the file that they take."""
        return Span(self.start, math.prod(self.shape) * self.dtype.itemsize)


@dataclass
class Catalogue:
    """What is in a file: see the head of this module.

    One that was read has what JSON gave: lists where there are tuples here, and nothing is sure of the types
    below the paths.
    """

    groups: dict[str, dict[str, Scalar]] = field(default_factory=dict)
    texts: dict[str, str | tuple[str, ...]] = field(default_factory=dict)
    numbers: dict[str, Numbers] = field(default_factory=dict)

    def encoded(self) -> bytes:
        """Return it as JSON."""
        groups = {path: _encoded_all(attributes) for path, attributes in self.groups.items()}
        whole = {"groups": groups, "texts": self.texts, "numbers": self.numbers}
        return json.dumps(whole, separators=(",", ":"), allow_nan=False).encode("ascii")

    def items(self) -> dict[str, str]:
        """Return path -> all that is said of the item, to compare one catalogue with another."""
        groups = {path: sorted(_encoded_all(attributes).items()) for path, attributes in self.groups.items()}
        return {
            path: json.dumps(entry, allow_nan=False)
            for entries in (groups, self.texts, self.numbers)
            for path, entry in entries.items()
        }

    def spans(self) -> list[Span]:
        """Return where numbers stand, rising.

        Raises
        ------
        ValueError
            Two of them overlap.
        """
        spans = (numbers_of(entry).span for entry in self.numbers.values())
        found = sorted((span for span in spans if span.length), key=lambda span: span.start)
        if any(after.start < before.end for before, after in pairwise(found)):
            raise ValueError("two data sets stand in the same place")
        return found


def _encoded_all(attributes: dict[str, Scalar]) -> dict[str, Any]:
    return {key: _encoded(value) for key, value in attributes.items()}


def _encoded(value: Scalar) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return {"float64": struct.pack(">d", value).hex()}
    return value


def decoded(raw: bytes) -> Catalogue:
    """Return the catalogue of which `raw` is the JSON; what is in it is looked at when it is asked for.

    Raises
    ------
    ValueError, TypeError, KeyError
        It is none.
    """
    whole = json.loads(raw, object_hook=_decoded)
    members = [whole[key] for key in ("groups", "texts", "numbers")]
    if not all(isinstance(member, dict) for member in (*members, *members[0].values())):
        raise TypeError("the catalogue is no catalogue")
    return Catalogue(*members)


def _decoded(found: dict[str, Any]) -> Any:
    if len(found) == 1 and "float64" in found:
        digits = bytes.fromhex(found["float64"])
        if len(digits) != 8:
            raise ValueError("a number of the catalogue is not of 64 bits")
        return struct.unpack(">d", digits)[0]
    return found


def numbers_of(entry: Any) -> Numbers:
    """Return an entry of the member `numbers`, be it as JSON gives it.

    Raises
    ------
    ValueError, TypeError
        It is none.
    """
    if isinstance(entry, Numbers):
        return entry
    kind, shape, start, digest = entry
    if {type(length) for length in (*shape, start)} != {int} or min(*shape, start) < 0:
        raise ValueError("an entry of the catalogue has a length that is none")
    if not _TYPE.fullmatch(kind):
        raise ValueError("an entry of the catalogue is no data set of numbers")
    return Numbers(kind, tuple(shape), start, digest)
