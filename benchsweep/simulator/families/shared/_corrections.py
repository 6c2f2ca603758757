"""The analyzer's own correction, port extension and fixture simulation: all of them change what is read."""

from __future__ import annotations

from benchsweep.simulator.analyzer import CommandTable, Instrument
from benchsweep.simulator.families.shared._settings import attribute, channel_of, setting
from benchsweep.simulator.scpi import Boolean, Call, Limits, Number

__all__ = ["CORRECTION_COMMANDS", "EXTENSION_COMMANDS", "FIXTURE_COMMANDS", "extension_time"]

_Call = Call[Instrument]
_LONGEST_S = 1e-3
_SENSE = "[SENSe{channel}]"
_BOOLEAN: Boolean[Instrument] = Boolean()

extension_time: Number[Instrument] = Number(Limits(-_LONGEST_S, _LONGEST_S, 0.0), "S")
"""A delay that is added at one port."""


def _set_extension(call: _Call, delay_s: float) -> None:
    channel_of(call).extension_s[call.suffixes["port"]] = delay_s


CORRECTION_COMMANDS: CommandTable = (attribute(f"{_SENSE}:CORRection[:STATe]", _BOOLEAN, "correction"),)

EXTENSION_COMMANDS: CommandTable = (
    attribute(f"{_SENSE}:CORRection:EXTension[:STATe]", _BOOLEAN, "extension"),
    setting(
        f"{_SENSE}:CORRection:EXTension:PORT{{port}}[:TIME]",
        extension_time,
        lambda call: channel_of(call).extension_s[call.suffixes["port"]],
        _set_extension,
    ),
)

FIXTURE_COMMANDS: CommandTable = (attribute("CALCulate{channel}:FSIMulator:STATe", _BOOLEAN, "fixture"),)
