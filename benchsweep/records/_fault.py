from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from benchsweep.records._ports import End

__all__ = ["Fault", "FaultKind"]

FaultKind = Literal[
    "open",
    "short",
    "reversed",
    "crossed",
    "miswired",
    "split",
    "contact",
    "crush",
    "kink",
    "untwist",
    "water",
    "plug",
    "impedance",
    "unclear",
]


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with a specimen: what, where, and why that is believed.

    Parameters
    ----------
    kind
        ``open``, ``short``, ``reversed``, ``crossed``, ``miswired`` and ``split`` are faults of wiring;
        ``contact`` is a resistance in series with a conductor, ``plug`` a plug whose crosstalk the jack does
        not take back, ``impedance`` a change of impedance that is none of the others, ``unclear`` something
        that the data do not tell.
    end
        The end at which it sits, where it sits at an end.
    pairs, contacts
        Pairs and contacts concerned, as seen from end A.
    from_m, to_m
        Where along the cable, in metres from end A; both None where the place is not known or is all of it.
    words
        One sentence for a technician.
    evidence
        What was found, each with its figure and the threshold it passed.
    """

    kind: FaultKind
    end: End | None
    pairs: tuple[str, ...]
    contacts: tuple[int, ...]
    from_m: float | None
    to_m: float | None
    words: str
    evidence: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if (self.from_m is None) != (self.to_m is None):
            raise ValueError("a fault has a place from and to, or none")
        if self.from_m is not None and self.to_m is not None and self.from_m > self.to_m:
            raise ValueError(f"a fault from {self.from_m} m to {self.to_m} m runs backwards")
