"""How the format of data is set: three spellings of ``FORMat[:DATA]``, and the byte order."""

from __future__ import annotations

from benchsweep.simulator.analyzer import CommandTable, Instrument
from benchsweep.simulator.families.shared._settings import device_attribute
from benchsweep.simulator.scpi import Call, Choice, Command, Integer, Limits, ScpiFault

__all__ = ["BYTE_ORDER_COMMANDS", "LENGTH_FORMAT_COMMANDS", "WORD_FORMAT_COMMANDS"]

_Call = Call[Instrument]


def _set_format(call: _Call) -> None:
    form, bits = call.arguments[0], call.arguments[1] if len(call.arguments) > 1 else None
    if form == "REAL":
        # The usual default length of REAL differs between analyzers; this one takes 32.
        bits = 32 if bits is None else bits
        if bits not in (32, 64):
            raise ScpiFault(-224, f"REAL,{bits}")
    elif bits is None:
        bits = 0
    call.device.format, call.device.format_bits = form, bits


def _format_text(call: _Call) -> str:
    """Return ``REAL,+64`` or ``REAL,64``, as the family spells numbers."""
    return f"{call.device.format},{call.device.spell(call.device.format_bits).decode()}"


def _set_word(call: _Call) -> None:
    word = call.arguments[0]
    call.device.format = word.removesuffix("32")
    call.device.format_bits = {"ASC": 0, "REAL": 64, "REAL32": 32}[word]


def _word(call: _Call) -> str:
    return "REAL32" if call.device.format_bits == 32 else call.device.format


BYTE_ORDER_COMMANDS: CommandTable = (
    device_attribute("FORMat:BORDer", Choice("NORMal", "SWAPped"), "byte_order"),
)

LENGTH_FORMAT_COMMANDS: CommandTable = (
    Command(
        "FORMat[:DATA]",
        _set_format,
        _format_text,
        takes=(Choice("ASCii", "REAL"), Integer(Limits(0, 64, 0))),
        optional=1,
    ),
)
"""``REAL,64``, ``REAL,32``, ``ASCii,0``."""

WORD_FORMAT_COMMANDS: CommandTable = (
    Command("FORMat[:DATA]", _set_word, _word, takes=(Choice("ASCii", "REAL", "REAL32"),)),
)
"""``REAL`` is 64 bits here, ``REAL32`` 32."""
