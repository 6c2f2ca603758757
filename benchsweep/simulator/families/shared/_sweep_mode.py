"""Sweeping by ``SENSe:SWEep:MODE`` or ``INITiate``, as two families do it that are otherwise unlike."""

from __future__ import annotations

from benchsweep.simulator.analyzer import CommandTable, Instrument
from benchsweep.simulator.families.shared._settings import (
    attribute,
    channel_of,
    device_attribute,
    set_continuous,
    setting,
)
from benchsweep.simulator.scpi import (
    Boolean,
    Call,
    Choice,
    Command,
    Integer,
    Limits,
    ScpiFault,
)

__all__ = ["SWEEP_MODE_COMMANDS"]

_Call = Call[Instrument]
_MOST_GROUPS = 2_000_000
_SENSE = "[SENSe{channel}]"
_BOOLEAN: Boolean[Instrument] = Boolean()


def _sweep(call: _Call, sweeps: int) -> None:
    waits = call.device.trigger_source != "IMM"
    call.device.start_sweeps({call.suffixes["channel"]: sweeps}, waits=waits)


def _set_mode(call: _Call, mode: str) -> None:
    channel = channel_of(call)
    if mode in ("SING", "GRO"):
        sweeps = 1 if mode == "SING" else channel.group_count
        before, channel.mode = channel.mode, mode
        try:
            _sweep(call, sweeps)
        except ScpiFault:
            channel.mode = before
            raise
    else:
        channel.mode = mode
        call.device.settle()


def _initiate(call: _Call) -> None:
    """Sweep once, or give the trigger that a sweep waits for."""
    channel = channel_of(call)
    if channel.mode == "CONT":
        raise ScpiFault(-213, "continuous")
    if call.device.busy and call.device.trigger_source == "MAN":
        call.device.trigger()
        return
    _sweep(call, 1)


SWEEP_MODE_COMMANDS: CommandTable = (
    setting(
        f"{_SENSE}:SWEep:MODE",
        Choice("HOLD", "SINGle", "GROups", "CONTinuous"),
        lambda call: channel_of(call).mode,
        _set_mode,
    ),
    attribute(f"{_SENSE}:SWEep:GROups:COUNt", Integer(Limits(1, _MOST_GROUPS, 1)), "group_count"),
    setting(
        "INITiate{channel}:CONTinuous",
        _BOOLEAN,
        lambda call: channel_of(call).mode == "CONT",
        set_continuous,
    ),
    Command("INITiate{channel}[:IMMediate]", _initiate),
    device_attribute(
        "TRIGger[:SEQuence]:SOURce", Choice("IMMediate", "MANual", "EXTernal"), "trigger_source"
    ),
)
