"""How each fault of the analyzer changes what it does; when it strikes is the business of `FaultBox`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.analyzer._channel import Channel
from benchsweep.simulator.analyzer._segment import Segment
from benchsweep.simulator.analyzer._style import FamilyStyle
from benchsweep.simulator.bench import SweepRequest
from benchsweep.simulator.scpi import Command, EventBit, FaultBox, Integer, Kind, Number, ScpiFault, Status

__all__ = [
    "STRIKES_ANY_TIME",
    "STRIKES_IDLE",
    "second_controller",
    "settled",
    "spoil_block",
    "spoil_sweep",
]

Complex = NDArray[np.complex128]

_ROUNDING = 1e-4
_GARBAGE = b"\x00?+1;"
_FULL_QUEUE = 40


class Struck(Protocol):
    """What a fault can reach of the analyzer that it strikes."""

    status: Status
    faults: FaultBox
    style: FamilyStyle
    channels: dict[int, Channel]

    def draw(self) -> np.random.Generator:
        """Return the random numbers of the fault that has just struck."""


# -- faults that strike a message ----------------------------------------------------------------------------


def _in_use(device: Struck) -> Channel:
    """Return the channel that a person at the front panel has before them."""
    used = [channel for channel in device.channels.values() if channel.driven]
    return used[0] if used else device.channels[1]


def _stimulus(channel: Channel) -> Channel | Segment:
    """Return what holds start, stop, points and bandwidth of the present sweep, or of a part of it."""
    if channel.sweep_type == "SEGM" and channel.swept_segments:
        return channel.swept_segments[0]
    return channel


def _other_points(of: Channel | Segment) -> None:
    of.points = max(2, of.points - of.points // 5 - 1) if of.points > 2 else 3


def _front_panel(device: Struck) -> None:
    channel = _in_use(device)
    rng = device.draw()
    which = int(rng.integers(3))
    of = _stimulus(channel)
    if which == 0:
        # The bandwidth of a segment may be out of use; that of the channel is what the display shows.
        of = of if channel.segment_bandwidths else channel
        legal = device.style.if_bandwidths_hz or channel.definition.analyzer.if_bandwidths_hz
        others = [width for width in legal if width != of.if_bandwidth_hz]
        of.if_bandwidth_hz = float(rng.choice(others)) if others else of.if_bandwidth_hz
    elif which == 1:
        _other_points(of)
    else:
        of.start_hz += 0.1 * (of.stop_hz - of.start_hz)
    device.status.event |= EventBit.USER_REQUEST


def second_controller(device: Struck) -> None:
    """Change settings as another program would that believes the analyzer to be its own."""
    of = _stimulus(_in_use(device))
    if device.draw().integers(2):
        _other_points(of)
    else:
        of.stop_hz -= 0.2 * (of.stop_hz - of.start_hz)


def _queue_overflow(device: Struck) -> None:
    for _ in range(_FULL_QUEUE):
        device.status.report(ScpiFault(-300, "simulated"))


def _correction_on(device: Struck) -> None:
    for channel in device.channels.values():
        channel.correction = True


def _extension_on(device: Struck) -> None:
    rng = device.draw()
    for channel in device.channels.values():
        channel.extension = True
        channel.extension_s = {port: float(rng.uniform(20e-12, 100e-12)) for port in channel.extension_s}


Strike = Callable[[Struck], None]
STRIKES_ANY_TIME: Mapping[str, Strike] = {
    "front-panel": _front_panel,
    "queue-overflow": _queue_overflow,
}
STRIKES_IDLE: Mapping[str, Strike] = {
    "correction-on": _correction_on,
    "extension-on": _extension_on,
}


# -- faults that strike a setting ----------------------------------------------------------------------------


def settled(
    device: Struck, command: Command[Any], kinds: tuple[Kind[Any], ...], values: tuple[Any, ...]
) -> tuple[Any, ...]:
    """Return the values that a setting really takes.

    Raises
    ------
    ScpiFault
        -221 or -241: a fault refuses it.
    """
    if command.pattern.startswith(("*", "BENCh")):
        return values
    if device.faults.take("setting-refused"):
        raise ScpiFault(-221, "simulated fault")
    if device.faults.take("option-missing"):
        raise ScpiFault(-241, "simulated fault")
    kind = kinds[0]
    if (
        "FREQuency" in command.pattern
        and isinstance(kind, Number)
        and not isinstance(kind, Integer)
        and device.faults.take("rounded-setting")
    ):
        limits = kind.limits(device)
        above = values[0] * (1.0 + _ROUNDING)
        return (above if above <= limits.largest else values[0] * (1.0 - _ROUNDING), *values[1:])
    return values


# -- faults that strike data ---------------------------------------------------------------------------------


def spoil_block(fault: str, block: bytes) -> bytes:
    """Return `block` with what `fault` puts before or behind it."""
    if fault == "garbage-before-block":
        return _GARBAGE + block
    return block + _GARBAGE if fault == "garbage-after-block" else block


def spoil_sweep(
    fault: str, request: SweepRequest, raw: Complex, draw: Callable[[], np.random.Generator]
) -> tuple[SweepRequest, Complex]:
    """Return what is kept of a sweep.

    Parameters
    ----------
    raw
        ``(n_freq, n_ports, n_driven)``.
    draw
        Gives random numbers.
    """
    some = slice(raw.shape[0] // 3, None, 7)
    if fault == "invalid-points":
        raw[some] = np.nan
    elif fault == "overload" and draw().integers(2):
        raw[some] = np.inf + 1j * np.inf
    elif fault == "overload":
        raw[some] *= 1e3
        raw[some] += 50.0
    elif fault == "port-not-driven":
        rng = draw()
        missing = int(rng.integers(len(request.driven)))
        if len(request.driven) > 1 and rng.integers(2):
            return _without(request, missing), np.delete(raw, missing, axis=2)
        raw[:, :, missing] = 0.0
    return request, raw


def _without(request: SweepRequest, index: int) -> SweepRequest:
    return replace(
        request,
        driven=request.driven[:index] + request.driven[index + 1 :],
        power_dbm=request.power_dbm[:index] + request.power_dbm[index + 1 :],
    )
