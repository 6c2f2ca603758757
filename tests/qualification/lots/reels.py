"""Reels of 100 m that tests measure: eight lines whose loss is known in closed form, and lots of them."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from benchsweep import archive
from benchsweep.archive.lots import LotFile
from benchsweep.limits import load_requirement
from benchsweep.lots import decision, state_of
from benchsweep.qualification import LotView, open_lot
from benchsweep.records import (
    LotClosed,
    Measurement,
    Outcome,
    Parameter,
    ReelAdded,
    ReelMargin,
    ReelResult,
    SMatrix,
    Specimen,
    balanced_ports,
)

GRID = np.unique(np.concatenate([np.linspace(1e6, 250e6, 30), [100e6]]))
SUPPLIER, PRODUCT, REQUIREMENT = "Tollmoor Wire", "C6-23", "tia-6-cable"
BY = "R. Lind"


def loss_limit_db(frequency_hz: np.ndarray) -> np.ndarray:
    """Insertion loss of category 6 cable, 100 m at 20 degC (ANSI/TIA-568-C.2, 6.4.7)."""
    f_mhz = frequency_hz / 1e6
    return 1.808 * f_mhz**0.5 + 0.017 * f_mhz + 0.2 / f_mhz**0.5


def measured(
    reel: str,
    *,
    product: str = PRODUCT,
    lot: str = "",
    loss: float = 0.95,
    length_m: float | None = 100.0,
    temperature_degc: float | None = 20.0,
    at: int = 0,
) -> Measurement:
    """Eight lines with `loss` times the loss that category 6 allows; no coupling, no reflection."""
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    s = np.zeros((GRID.size, 16, 16), complex)
    # No two measurements are equal to the bit: each reel has a little of its own.
    own = 1.0 + 1e-13 * (zlib.crc32(reel.encode()) % 1000)
    through = own * 10 ** (-loss * loss_limit_db(GRID) / 20.0) * np.exp(-2j * np.pi * GRID * 530e-9)
    for k in range(8):
        s[:, k + 8, k] = s[:, k, k + 8] = through
    return Measurement(
        specimen=Specimen(reel, length_m, "", lot, product=product),
        created_at=(datetime(2026, 3, 1, 8, tzinfo=UTC) + timedelta(minutes=at)).isoformat(),
        origin="touchstone",
        station="",
        operator="M. Olsen",
        corrected=SMatrix(GRID, s, legs, (50.0,) * 16),
        ambient={} if temperature_degc is None else {"temperature_degc": temperature_degc},
    )


def record_of(folder: Path, reel: str, **how: Any) -> Path:
    return archive.write_record(measured(reel, **how), folder)


def names(count: int) -> tuple[str, ...]:
    return tuple(f"R{number:03d}" for number in range(1, count + 1))


def opened(folder: Path, lot: str = "26-118", *, reels: Sequence[str] = names(8), **how: Any) -> LotView:
    """A lot of 8 reels at AQL 6.5: letter A, n = 2, Ac 0, Re 1 (MIL-STD-105E, Tables I and II-A)."""
    plan = {} if how.get("method") == "zero-acceptance" else {"aql_percent": 6.5}
    how = {
        "supplier": SUPPLIER,
        "product": PRODUCT,
        "requirement": load_requirement(REQUIREMENT),
        "construction": "unscreened",
        "by": BY,
        "seed": "the seed",
        **plan,
        **how,
    }
    return open_lot(folder, lot, reels=reels, **how)


def result(
    good: bool | None = True, *, margin: float = 1.0, at: str = "2026-03-01T08:00:00+00:00"
) -> ReelResult:
    outcome = {True: Outcome.PASS, False: Outcome.FAIL, None: Outcome.UNDECIDED}[good]
    margins = (
        ReelMargin(Parameter.INSERTION_LOSS, None, ("12",), margin, 1e6, 2.0, 3.0, None, outcome),
        ReelMargin(Parameter.NEXT, "A", ("12", "36"), margin + 1.0, 1e6, 40.0, 39.0, None, outcome),
        ReelMargin(Parameter.NEXT, "B", ("12", "36"), margin + 2.0, 1e6, 41.0, 39.0, None, outcome),
    )
    return ReelResult(100.0, 20.0, outcome, margins, measured_at=at)


def told(folder: Path, lot: str, results: Sequence[ReelResult], *, close: bool = True) -> None:
    """Add results to a lot without any record, as its history allows, and close it."""
    file = LotFile(folder, lot)
    state = state_of(file.read())
    for number, (reel, each) in enumerate(zip(state.sample, results, strict=False)):
        digest = f"{lot}{number}".encode().hex().rjust(64, "0")[-64:]
        at = datetime.now(UTC).isoformat(timespec="microseconds")
        event = ReelAdded(at, BY, "", reel, digest, f"{lot}-{reel}.h5", each)
        file.append(event, lambda _: None)
    if close:
        state = state_of(file.read())
        found = decision(state)
        assert found.accepted is not None
        at = datetime.now(UTC).isoformat(timespec="microseconds")
        event = LotClosed(at, BY, found.accepted, state.nonconforming, found.words, found.ends_reduced)
        file.append(event, lambda _: None)
