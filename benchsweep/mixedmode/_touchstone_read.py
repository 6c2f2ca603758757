from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchsweep.mixedmode._convert import LEG_OHM, renormalised
from benchsweep.mixedmode._touchstone_layout import Layout, read_layout, read_number, unreadable
from benchsweep.mixedmode._touchstone_order import Descriptor, parse_order, transform_of
from benchsweep.records import SMatrix

__all__ = ["mixed_mode_legs"]

_LARGEST_POWER = 100.0
"""No specimen gives back more power than goes in; far more means other numbers than the option line says."""
_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")


def mixed_mode_legs(path: Path, text: str, legs: Sequence[str]) -> SMatrix:
    """Return the legs that a mixed-mode Touchstone file of version 2.0 or 2.1 describes.

    Every row and column of its matrix is a mode of a pair of ports or a single-ended port, as
    ``[Mixed-Mode Order]`` tells: ``D2,1`` is the differential mode whose positive port is 2, ``C2,1`` the
    common mode of the same ports, ``S3`` port 3 by itself. Differential: V = V2 - V1, I = (I2 - I1)/2;
    common: V = (V2 + V1)/2, I = I2 + I1. ``[Reference]`` is that of the single-ended ports; a pair of two at
    Z is referred to 2 Z and Z/2.

    That the first port is the positive one, and the definitions of the modes, are from memory. That the
    references are those of the ports and count twice and half is also what scikit-rf 2.2 reads.

    Parameters
    ----------
    path
        Names the file in errors.
    text
        Its content, lines ended by line feeds.
    legs
        The leg at each port of the file, ``legs[n - 1]`` at port n. Pairs in the file need not be pairs of
        the specimen: the legs come out right for any.

    Returns
    -------
    SMatrix
        Those legs in that order at 50 ohm. A point at 0 Hz is left out.

    Raises
    ------
    DataFileError
        The file is damaged, has another number of ports, or its modes cannot become legs: a pair of which
        one mode is missing, a port in two pairs, two ports of a pair at different references.
    """
    layout = read_layout(path, text)
    n_ports = _count(path, layout, "number of ports")
    if n_ports != len(legs):
        raise unreadable(
            path,
            f"says {n_ports} ports inside, where its name or port map has {len(legs)}",
            "Correct its name.",
        )
    order = parse_order(path, layout.keywords["mixed-mode order"], n_ports)
    reference_ohm = _references(path, layout, order, n_ports)
    frequency_hz, modes = _network_data(path, layout, n_ports)
    keep = _usable_points(path, frequency_hz)
    frequency_hz, modes = frequency_hz[keep], modes[keep]
    _check_values(path, frequency_hz, modes)
    transform = transform_of(order)
    s = transform.T @ modes @ transform
    if np.any(reference_ohm != LEG_OHM):
        s = _at_leg_reference(path, s, reference_ohm)
    return SMatrix(frequency_hz, s, tuple(legs), (LEG_OHM,) * n_ports)


def _count(path: Path, layout: Layout, keyword: str) -> int:
    word = layout.keywords[keyword]
    if not re.fullmatch(r"[1-9][0-9]{0,7}", word):
        raise unreadable(path, f"[{keyword.title()}] {word[:20]!r} is no count")
    return int(word)


def _references(path: Path, layout: Layout, order: Sequence[Descriptor], n_ports: int) -> NDArray[np.float64]:
    """Return the reference of each port, ``(n_ports,)``: what is stated for each, or in the option line."""
    words = layout.keywords.get("reference", "").split()
    if "reference" not in layout.keywords:
        words = [repr(layout.options.reference_ohm)] * n_ports
    if len(words) != n_ports:
        raise unreadable(path, f"[Reference] has {len(words)} impedances for {n_ports} ports")
    found = np.array([read_number(path, word, "[Reference]") for word in words])
    if np.any(found <= 0.0):
        raise unreadable(path, "a reference impedance is not positive")
    for descriptor in order:
        first, last = found[list(descriptor.indices)][[0, -1]]
        if first != last:
            raise unreadable(
                path,
                f"{descriptor} joins ports at {first:g} and {last:g} ohm: its modes have no reference",
                "Export the file again with one reference for both ports of a pair.",
            )
    return found


def _network_data(
    path: Path, layout: Layout, n_ports: int
) -> tuple[NDArray[np.float64], NDArray[np.complex128]]:
    """Return grid and matrix ``(n_freq, n_ports, n_ports)`` in the order of the file."""
    shape = layout.keywords.get("matrix format", "full").lower()
    if shape not in ("full", "lower", "upper"):
        raise unreadable(path, f"[Matrix Format] {shape[:20]!r} is none of Full, Lower, Upper")
    entries = n_ports**2 if shape == "full" else n_ports * (n_ports + 1) // 2
    points = _count(path, layout, "number of frequencies")
    table = _numbers(path, layout, points, 1 + 2 * entries)
    first, second = table[:, 1::2], table[:, 2::2]
    with np.errstate(over="ignore", invalid="ignore"):
        if layout.options.number_format == "ri":
            values = first + 1j * second
        else:
            size = first if layout.options.number_format == "ma" else 10.0 ** (first / 20.0)
            values = size * np.exp(1j * np.deg2rad(second))
    matrix = np.zeros((points, n_ports, n_ports), dtype=np.complex128)
    if shape == "full":
        matrix[:] = values.reshape(matrix.shape)
        # A two-port has two orders of its off-diagonal entries, and must say which (from memory).
        if _two_port_order(path, layout, n_ports) == "21_12":
            matrix = matrix.swapaxes(1, 2)
    else:
        row, column = np.tril_indices(n_ports) if shape == "lower" else np.triu_indices(n_ports)
        matrix[:, row, column] = matrix[:, column, row] = values
    return table[:, 0] * layout.options.unit_hz, matrix


def _two_port_order(path: Path, layout: Layout, n_ports: int) -> str:
    order = layout.keywords.get("two-port data order")
    if (order is None) != (n_ports != 2) or order not in (None, "12_21", "21_12"):
        raise unreadable(
            path, f"[Two-Port Data Order] {order or 'is missing'}: two ports need 12_21 or 21_12, others none"
        )
    return order or "12_21"


def _numbers(path: Path, layout: Layout, points: int, per_point: int) -> NDArray[np.float64]:
    """Return ``(points, per_point)`` numbers, after checking that each point begins a line and is whole."""
    found: list[str] = []
    for line in layout.rows:
        words = line.split()
        # Numbers come in pairs, but for the frequency at the beginning of a point, which begins a line.
        if (len(found) % per_point == 0) != (len(words) % 2 == 1) or (
            len(found) % per_point + len(words) > per_point
        ):
            number = len(found) // per_point + 1
            raise unreadable(path, f"point {number} has a wrong count of numbers: {line[:40]!r}")
        found += words
    whole, missing = divmod(len(found), per_point)
    if missing or whole != points:
        raise unreadable(path, f"announces {points} points and holds {whole}: it is cut off or was edited")
    odd = next((word for word in found if not _NUMBER.fullmatch(word)), None)
    if odd is not None:
        raise unreadable(path, f"{odd[:20]!r} among its numbers is none")
    return np.array(list(map(float, found))).reshape(points, per_point)


def _usable_points(path: Path, frequency_hz: NDArray[np.float64]) -> NDArray[np.bool_]:
    if not np.all(np.isfinite(frequency_hz)) or np.any(frequency_hz < 0.0):
        raise unreadable(path, "a frequency is negative or no finite number")
    if np.any(np.diff(frequency_hz) <= 0.0):
        at = int(np.argmax(np.diff(frequency_hz) <= 0.0))
        raise unreadable(
            path, f"frequencies do not rise after {frequency_hz[at] / 1e6:g} MHz", "Sort the points."
        )
    keep = frequency_hz > 0.0
    if not np.any(keep):
        raise unreadable(path, "holds a point at 0 Hz alone")
    return keep


def _check_values(path: Path, frequency_hz: NDArray[np.float64], s: NDArray[np.complex128]) -> None:
    if not np.all(np.isfinite(s)):
        row = int(np.argmax(~np.all(np.isfinite(s), axis=(1, 2))))
        raise unreadable(path, f"a value at {frequency_hz[row] / 1e6:g} MHz is no finite number")
    with np.errstate(over="ignore"):
        power = np.sum(np.abs(s) ** 2, axis=1)
    if not np.all(power < _LARGEST_POWER):
        raise unreadable(
            path,
            "gives back far more power than goes in: no passive specimen does",
            "Check the number format (MA, DB or RI) in its option line.",
        )


def _at_leg_reference(
    path: Path, s: NDArray[np.complex128], reference_ohm: NDArray[np.float64]
) -> NDArray[np.complex128]:
    try:
        with np.errstate(all="ignore"):
            found = renormalised(s, reference_ohm, np.full(reference_ohm.size, LEG_OHM))
    except np.linalg.LinAlgError:
        found = np.full_like(s, np.nan)
    if not np.all(np.isfinite(found)):
        raise unreadable(path, "cannot be referred to 50 ohm: no passive network has such values")
    return found
