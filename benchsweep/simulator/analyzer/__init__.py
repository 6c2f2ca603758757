"""The simulated analyzer: an `Instrument` with channels, sweeps, data and faults, of no family yet.

It joins the hardware (`bench`) to what carries out messages (`scpi`). How its settings are spelled is the
business of `families`; `FamilyStyle` says what a family changes in it beyond that.
"""

from benchsweep.simulator.analyzer._channel import Channel
from benchsweep.simulator.analyzer._commands import ANALYZER_COMMANDS
from benchsweep.simulator.analyzer._instrument import CommandTable, Instrument
from benchsweep.simulator.analyzer._measured import Measured, Receiver, WaveRatio, source_of
from benchsweep.simulator.analyzer._segment import Segment, segment_fault
from benchsweep.simulator.analyzer._style import FamilyStyle

__all__ = [
    "ANALYZER_COMMANDS",
    "Channel",
    "CommandTable",
    "FamilyStyle",
    "Instrument",
    "Measured",
    "Receiver",
    "Segment",
    "WaveRatio",
    "segment_fault",
    "source_of",
]
