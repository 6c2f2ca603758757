"""The command family ``named-measurement``: a measurement has a quoted name and a bare parameter.

Headers are standard SCPI where there is a standard; the rest is how this family of analyzers commonly spells
it (common practice, from memory and public driver code). Behaviour that surprises is kept on purpose: the
analyzer's own correction is on after a preset, matrices come as magnitude and angle unless RI is asked for,
and two-port matrices come in the order 11, 21, 12, 22 while larger ones come row by row.

A ratio of receivers is a parameter in quotes, ``'A2/B2,1'`` with port 1 driven; in capitals or not.
"""

from __future__ import annotations

import numpy as np

from benchsweep.simulator.analyzer import CommandTable, Instrument
from benchsweep.simulator.families.shared import (
    CORRECTION_COMMANDS,
    EXTENSION_COMMANDS,
    FIXTURE_COMMANDS,
    SEGMENT_COMMANDS,
    SWEEP_MODE_COMMANDS,
    channel_of,
    channels_in_use,
    decibels,
    delete,
    device_attribute,
    interleaved,
    measured_text,
    parse_measured,
    parse_ports,
    reading,
    select,
    stimulus_commands,
)
from benchsweep.simulator.scpi import (
    Answer,
    Boolean,
    Call,
    Choice,
    Command,
    Name,
    ScpiFault,
    Text,
    string_text,
)

__all__ = ["NAMED_MEASUREMENT_COMMANDS"]

_Call = Call[Instrument]


# -- measurements ------------------------------------------------------------------------------------------


def _define(call: _Call) -> None:
    channel = channel_of(call)
    name, parameter = call.arguments
    if not name or "," in name:
        raise ScpiFault(-224, "name of a measurement")
    if any(name in other.measurements for other in call.device.channels.values()):
        raise ScpiFault(-224, f"{name}: this name is taken")
    channel.measurements[name] = parse_measured(parameter, call.device.bench.ports, "comma")


def _delete_all(call: _Call) -> None:
    for channel in call.device.channels.values():
        channel.measurements.clear()
        channel.selected = None


def _catalog(call: _Call) -> str:
    measurements = channel_of(call).measurements
    entries = [f"{name},{measured_text(one, ratios='{o}/{u}_{s}')}" for name, one in measurements.items()]
    return string_text(",".join(entries) or "NO CATALOG")


def _feed(call: _Call) -> None:
    if not any(call.arguments[0] in channel.measurements for channel in call.device.channels.values()):
        raise ScpiFault(-224, f"{call.arguments[0][:40]}: no measurement of that name")


# -- data --------------------------------------------------------------------------------------------------


async def _trace_data(call: _Call) -> Answer:
    channel = await call.device.fresh(channel_of(call))
    if channel.selected is None:
        raise ScpiFault(-221, "no measurement selected")
    values = reading(channel, channel.measurements[channel.selected])
    if call.arguments[0] == "SDATA":
        return call.device.data(interleaved(values))
    return call.device.data(decibels(values))


async def _matrix_data(call: _Call) -> Answer:
    """Answer the frequency row, then two rows for each S-parameter of the ports asked for."""
    ports = np.array(parse_ports(call.arguments[0].split(","), call.device.bench.ports)) - 1
    channel = await call.device.fresh(channel_of(call))
    s = channel.read(ports, ports)
    # Row by row; two ports alone come column by column, as in a two-port Touchstone file.
    flat = (s.transpose(0, 2, 1) if ports.size == 2 else s).reshape(s.shape[0], -1)
    if call.device.snp_format == "RI":
        first, second = flat.real, flat.imag
    else:
        first = np.abs(flat) if call.device.snp_format == "MA" else decibels(flat)
        second = np.degrees(np.angle(flat))
    rows = np.empty((1 + 2 * flat.shape[1], flat.shape[0]))
    rows[0], rows[1::2], rows[2::2] = channel.frequency_hz, first.T, second.T
    return call.device.data(rows)


def _axis(call: _Call) -> Answer:
    return call.device.data(channel_of(call).frequency_hz)


_BOOLEAN: Boolean[Instrument] = Boolean()
_TEXT: Text[Instrument] = Text()
_CALCULATE = "CALCulate{channel}"

_MEASUREMENTS: CommandTable = (
    Command(f"{_CALCULATE}:PARameter[:DEFine]:EXTended", _define, takes=(_TEXT, Name())),
    Command(
        f"{_CALCULATE}:PARameter:SELect",
        select,
        lambda call: string_text(channel_of(call).selected or ""),
        takes=(_TEXT,),
    ),
    Command(f"{_CALCULATE}:PARameter:CATalog[:EXTended]", query=_catalog),
    Command(f"{_CALCULATE}:PARameter:DELete:ALL", _delete_all),
    Command(f"{_CALCULATE}:PARameter:DELete[:NAME]", delete, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:FEED", _feed, takes=(_TEXT,)),
    Command("DISPlay:WINDow{window}:TRACe{trace}:DELete", lambda call: None),
    Command("DISPlay:WINDow{window}[:STATe]", lambda call: None, takes=(_BOOLEAN,)),
    device_attribute("DISPlay:ENABle", _BOOLEAN, "display"),
    Command("SYSTem:CHANnels:CATalog", query=channels_in_use),
    Command(
        "SYSTem:CAPability:HARDware:PORTs:COUNt",
        query=lambda call: call.device.bench.ports,
    ),
)

_DATA: CommandTable = (
    Command(f"{_CALCULATE}:DATA:SNP:PORTs", query=_matrix_data, asks=(_TEXT,)),
    Command(f"{_CALCULATE}:DATA", query=_trace_data, asks=(Choice("SDATA", "FDATA"),)),
    Command(f"{_CALCULATE}:X[:VALues]", query=_axis),
    device_attribute("MMEMory:STORe:TRACe:FORMat:SNP", Choice("RI", "MA", "DB"), "snp_format"),
)

NAMED_MEASUREMENT_COMMANDS: CommandTable = (
    *stimulus_commands(average_modes=("POINt", "SWEep")),
    *SEGMENT_COMMANDS,
    *SWEEP_MODE_COMMANDS,
    *_MEASUREMENTS,
    *_DATA,
    *CORRECTION_COMMANDS,
    *EXTENSION_COMMANDS,
    *FIXTURE_COMMANDS,
)
