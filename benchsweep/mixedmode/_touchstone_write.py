from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

import numpy as np

from benchsweep.errors import UsageError
from benchsweep.mixedmode._touchstone_order import Descriptor, transform_of
from benchsweep.records import Mode, ModePort, SMatrix, balanced_ports_among

__all__ = ["mixed_mode_text"]

_VERSIONS = ("2.0", "2.1")


def mixed_mode_text(matrix: SMatrix, *, version: str = "2.0", comments: Sequence[str] = ()) -> str:
    """Return legs or modes as the text of a mixed-mode Touchstone file, which `mixed_mode_legs` reads.

    All differential modes come first, then all common modes, then legs whose partner is missing. Ports are
    numbered as the legs stand in `matrix`; for modes end A before end B, contacts 1 to 8. The positive port
    of a pair is its first contact. Real and imaginary part, frequencies in Hz, each number with as many
    digits as tell it from all others: modes are read again to the bit, legs to the rounding of two
    conversions. Comments name the leg at each port and the mode in each row. The layout is from memory of the
    Touchstone File Format Specification 2.0; see `mixed_mode_legs`.

    Parameters
    ----------
    matrix
        Legs in any order, or modes in any order; both modes of every pair.
    version
        ``2.0`` or ``2.1``.
    comments
        Lines at the head of the file, printable ASCII without exclamation marks.

    Raises
    ------
    UsageError
        What the format cannot say: another version, a pair of which one mode was not measured, modes that
        are not at 2 Z and Z/2 of one Z, two legs of a pair at different references, no pair at all.
    ValueError
        A comment that is no plain line.
    """
    if version not in _VERSIONS:
        raise UsageError(
            f"mixed-mode files are of Touchstone version 2.0 or 2.1, not {version}",
            hint="Add --version 2.0, or write a single-ended file.",
        )
    if any(not line.isascii() or not line.isprintable() or "!" in line for line in comments):
        raise ValueError("comments must be printable ASCII without exclamation marks")
    behind_baluns = any("/" in label for label in matrix.ports)
    order, legs, reference_ohm, s = _of_modes(matrix) if behind_baluns else _of_legs(matrix)
    lines = [f"! {line}" for line in comments]
    lines += [
        f"[Version] {version}",
        f"# Hz S RI R {reference_ohm[0]!r}",
        f"[Number of Ports] {len(legs)}",
        *(["[Two-Port Data Order] 12_21"] if len(legs) == 2 else []),
        f"[Number of Frequencies] {matrix.frequency_hz.size}",
        f"[Reference] {' '.join(map(repr, reference_ohm))}",
        "[Matrix Format] Full",
        f"[Mixed-Mode Order] {' '.join(map(str, order))}",
        *(f"! Port[{number}] = {leg}" for number, leg in enumerate(legs, 1)),
        "! rows and columns of the matrix:",
        *(f"! Mode[{number}] = {_called(descriptor, legs)}" for number, descriptor in enumerate(order, 1)),
        "[Network Data]",
    ]
    for frequency, point in zip(matrix.frequency_hz.tolist(), s, strict=True):
        for number, row in enumerate(np.ascontiguousarray(point).view(np.float64).tolist()):
            lines.append((f"{frequency!r} " if number == 0 else " ") + " ".join(map(repr, row)))
    return "\n".join([*lines, "[End]", ""])


def _called(descriptor: Descriptor, legs: Sequence[str]) -> str:
    """Return what a row is, such as ``A:12 differential``."""
    first = legs[descriptor.indices[0]]
    if descriptor.mode == "S":
        return f"{first} single-ended"
    return f"{first.rpartition('.')[0]} {'differential' if descriptor.mode == 'D' else 'common'}"


_Parts = tuple[list[Descriptor], tuple[str, ...], tuple[float, ...], np.ndarray]


def _of_legs(matrix: SMatrix) -> _Parts:
    number = {label: k for k, label in enumerate(matrix.ports, 1)}
    pairs = []
    for port in balanced_ports_among(matrix.ports):
        plus, minus = map(str, port.legs)
        if plus in number and minus in number:
            pairs.append((number[plus], number[minus]))
            if matrix.z0_ohm[number[plus] - 1] != matrix.z0_ohm[number[minus] - 1]:
                raise UsageError(f"{plus} and {minus} have different references: their modes have none")
    if not pairs:
        raise UsageError(
            f"no pair has both its legs among {', '.join(matrix.ports)}", hint="Write a single-ended file."
        )
    paired = {port for pair in pairs for port in pair}
    order = [Descriptor("D", pair) for pair in pairs] + [Descriptor("C", pair) for pair in pairs]
    order += [Descriptor("S", (port,)) for port in number.values() if port not in paired]
    transform = transform_of(order)
    return order, matrix.ports, tuple(map(float, matrix.z0_ohm)), transform @ matrix.s @ transform.T


def _of_modes(matrix: SMatrix) -> _Parts:
    ports = balanced_ports_among(matrix.ports)
    usual = [str(ModePort(port, mode)) for mode in get_args(Mode) for port in ports]
    missing = [label for label in usual if label not in matrix.ports]
    if missing or len(usual) != len(matrix.ports):
        what = f"{missing[0]} was not measured" if missing else "legs and modes are mixed"
        raise UsageError(
            f"{what}: a mixed-mode file holds differential and common mode of every pair",
            hint="Measure through taps or contacts; CSV, Parquet and the record itself hold what there is.",
        )
    z0_of = dict(zip(matrix.ports, matrix.z0_ohm, strict=True))
    leg_ohm: dict[str, float] = {}
    for port in ports:
        differential, common = (z0_of[str(ModePort(port, mode))] for mode in get_args(Mode))
        if differential != 4.0 * common:
            raise UsageError(
                f"{port} is referred to {differential:g} and {common:g} ohm: a mixed-mode file knows only"
                " 2 Z and Z/2 of one Z",
                hint="Refer it to 100 and 25 ohm before.",
            )
        leg_ohm |= {str(leg): differential / 2.0 for leg in port.legs}
    legs = [leg for port in ports for leg in port.legs]
    legs.sort(key=lambda leg: (leg.port.cable, leg.port.end, leg.contact))
    labels = tuple(map(str, legs))
    pairs = [tuple(labels.index(str(leg)) + 1 for leg in port.legs) for port in ports]
    order = [Descriptor(mode.upper(), pair) for mode in get_args(Mode) for pair in pairs]
    at = np.array([matrix.ports.index(label) for label in usual])
    return order, labels, tuple(leg_ohm[label] for label in labels), matrix.s[:, at[:, np.newaxis], at]
