"""What a simulated field tester told, as files of several shapes. None is the format of any maker."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.simulator.tester._parameters import Key
from benchsweep.simulator.tester._tester import Told

__all__ = ["SHAPES", "Limits", "NotCounting", "result_text", "write_result"]

Limits: TypeAlias = Mapping[str, NDArray[np.float64]]
"""Parameter -> ``(n_freq,)`` limit on the grid of the tester, NaN where there is none."""
NotCounting: TypeAlias = Mapping[Key, NDArray[np.bool_]]
"""Parameter, end, pairs -> ``(n_freq,)`` True where the requirement counts no margin."""
Margins: TypeAlias = Mapping[Key, NDArray[np.float64]]

_TERMS = {
    "insertion_loss": "Insertion loss",
    "return_loss": "Return loss",
    "next": "NEXT",
    "ps_next": "PS NEXT",
    "acr_f": "ACR-F",
    "ps_acr_f": "PS ACR-F",
    "delay": "Delay",
    "skew": "Skew",
}
_MAXIMA = ("insertion_loss", "delay", "skew")
_UNITS = {"delay": "ns", "skew": "ns"}
Rows: TypeAlias = Iterator[list[str]]


def write_result(
    path: str | Path,
    told: Told,
    *,
    shape: str,
    limits: Limits | None = None,
    not_counting: NotCounting | None = None,
    requirement: str = "",
    operator: str = "",
    encoding: str = "utf-8",
) -> Path:
    """Write what a tester told into a new file.

    Parameters
    ----------
    shape
        One of `SHAPES`.
    limits
        For shapes with margins; without any only values are told.
    not_counting
        No margins are told there, and they do not decide between pass and fail: such as of return loss where
        the requirement exempts pairs of little loss.
    requirement, operator
        Told in the file, where its shape has a place for them.

    Raises
    ------
    UsageError
        No such shape, the shape tells margins and there are no limits, a name cannot be written in that
        encoding, the file is there already or cannot be written.
    """
    path = Path(path)
    text = result_text(
        told,
        shape=shape,
        limits=limits,
        not_counting=not_counting,
        requirement=requirement,
        operator=operator,
    )
    try:
        written = text.encode(encoding)
    except UnicodeError as error:
        raise UsageError(
            f"what the tester tells cannot be written as {encoding}: {error}", hint="Take plain names."
        ) from error
    try:
        with path.open("xb") as file:
            file.write(written)
    except FileExistsError:
        raise UsageError(f"{path}: is there already", hint="Name a new file.") from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be written: {error}", hint="Look at folder and rights.") from error
    return path


def result_text(
    told: Told,
    *,
    shape: str,
    limits: Limits | None = None,
    not_counting: NotCounting | None = None,
    requirement: str = "",
    operator: str = "",
) -> str:
    """Return what stands in such a file; parameters and errors as in `write_result`."""
    if shape not in SHAPES:
        raise UsageError(f"no shape of a result is called {shape}", hint=f"There are: {', '.join(SHAPES)}.")
    known = dict(limits or {})
    delimiter, rows = SHAPES[shape]
    if "margin" in shape and not known:
        raise UsageError(
            f"the shape {shape} tells margins, and there are no limits",
            hint="Name a requirement to tell them of.",
        )
    margins = _margins(told, known, not_counting or {})
    local = "decimal-comma" in shape
    at = f"{datetime.fromisoformat(told.at):%d.%m.%Y %H:%M}" if local else told.at
    head = [
        ["Date", at],
        ["Tester", told.tester],
        ["Channel", told.specimen],
        ["Operator", operator],
        ["Requirement", requirement],
        ["Result", _outcome(margins)],
    ]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    if shape != "long-values":
        writer.writerows([name, text] for name, text in head if text)
    writer.writerows(rows(told, known, margins))
    return out.getvalue()


def _wide(told: Told, limits: Limits, margins: Margins) -> Rows:
    names = [
        " ".join(part for part in (parameter, end, pairs) if part) + f" ({_UNITS.get(parameter, 'dB')})"
        for parameter, end, pairs in told.values
    ]
    yield ["Frequency (MHz)", *names]
    columns = np.column_stack([told.frequency_hz / 1e6, *told.values.values()])
    for row in columns.tolist():
        yield [f"{row[0]:.6g}", *(f"{value:.2f}" for value in row[1:])]


def _long(told: Told, limits: Limits, margins: Margins) -> Rows:
    yield [
        "Date",
        "Tester",
        "Channel",
        "Parameter",
        "End",
        "Pairs",
        "Frequency (Hz)",
        "Value",
        "Limit",
        "Unit",
    ]
    about = [told.at, told.tester, told.specimen]
    for (parameter, end, pairs), values in told.values.items():
        limit = limits.get(parameter)
        for at, (frequency, value) in enumerate(
            zip(told.frequency_hz.tolist(), values.tolist(), strict=True)
        ):
            bound = "" if limit is None or not np.isfinite(limit[at]) else f"{limit[at]:.2f}"
            unit = _UNITS.get(parameter, "dB")
            yield [*about, _TERMS[parameter], end, pairs, f"{frequency:.0f}", f"{value:.2f}", bound, unit]


def _comma(told: Told, limits: Limits, margins: Margins) -> Rows:
    yield [
        "Parameter",
        "End",
        "Receiving pair",
        "Disturbing pair",
        "Frequency (MHz)",
        "Margin (dB)",
        "Limit (dB)",
    ]
    for key, margin in margins.items():
        parameter, end, pairs = key
        if parameter in _UNITS:
            continue
        limit = limits[parameter]
        first, _, second = (",".join(pair) for pair in pairs.partition("-"))
        for at in np.flatnonzero(np.isfinite(margin)):
            numbers = (told.frequency_hz[at] / 1e6, margin[at], limit[at])
            decimals = [f"{number:.3f}".replace(".", ",") for number in numbers]
            yield [_TERMS[parameter], end, first, second, *decimals]


def _worst(told: Told, limits: Limits, margins: Margins) -> Rows:
    yield ["Parameter", "End", "Pairs", "Worst margin", "Frequency (MHz)", "Value", "Limit"]
    for key, margin in margins.items():
        parameter, end, pairs = key
        if not np.isfinite(margin).any():
            continue
        at = int(np.nanargmin(margin))
        where = "" if parameter in _UNITS else f"{told.frequency_hz[at] / 1e6:.6g}"
        there = (told.values[key][at], limits[parameter][at])
        numbers = [f"{margin[at]:.2f}", where, *(f"{number:.2f}" for number in there)]
        yield [_TERMS[parameter], end, pairs, *numbers]


SHAPES: Mapping[str, tuple[str, Callable[[Told, Limits, Margins], Rows]]] = MappingProxyType(
    {
        "wide-values": (",", _wide),
        "long-values": (",", _long),
        "long-margins-decimal-comma": (";", _comma),
        "worst-margins": (",", _worst),
    }
)
"""Name of a shape -> what stands between its cells, and its rows; shipped mappings have the same names."""


def _margins(told: Told, limits: Limits, not_counting: NotCounting) -> dict[Key, NDArray[np.float64]]:
    """Return the margins of what has a limit, NaN where they do not count."""
    found = {}
    for key, values in told.values.items():
        limit = limits.get(key[0])
        if limit is None:
            continue
        margin = limit - values if key[0] in _MAXIMA else values - limit
        found[key] = np.where(not_counting[key], np.nan, margin) if key in not_counting else margin
    return found


def _outcome(margins: Margins) -> str:
    known = np.concatenate([np.empty(0), *margins.values()])
    known = known[np.isfinite(known)]
    if not known.size:
        return ""
    return "PASS" if known.min() >= 0.0 else "FAIL"
