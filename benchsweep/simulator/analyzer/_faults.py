"""What can be made to go wrong with the analyzer, and what a person would see of it."""

from __future__ import annotations

from collections.abc import Mapping

from benchsweep.simulator.bench import MISHAPS
from benchsweep.simulator.scpi import DROP_LINK, FaultKind

__all__ = ["ANALYZER_FAULTS", "HAND_FAULTS"]

ANALYZER_FAULTS: Mapping[str, FaultKind] = {
    "setting-refused": FaultKind(
        "a command with a value",
        "The setting is not taken. Nothing shows it but -221 in the error queue.",
    ),
    "option-missing": FaultKind(
        "a command with a value",
        "The analyzer lacks the option that the setting needs: -241 in the error queue, nothing else.",
    ),
    "rounded-setting": FaultKind(
        "a frequency that is set",
        "The hardware cannot tune to the frequency asked for and silently takes one 0.01 % above it.",
    ),
    "late-answer": FaultKind(
        "an answer",
        "The analyzer is busy with itself; the answer comes when nobody waits for it any more, and behind it "
        "the answers to what was asked meanwhile.",
        0.6,
    ),
    "no-answer": FaultKind("an answer", "The analyzer swallows the question; its answer never comes."),
    "missing-newline": FaultKind(
        "an answer",
        "The answer comes without the line feed behind it: on a stream its reader goes on waiting, where "
        "messages have ends nobody notices.",
    ),
    "sweep-never-ends": FaultKind(
        "a sweep", "The trigger is lost: the sweep hangs, and only ABORt or a reset ends it."
    ),
    "drop-link": DROP_LINK,
    "truncate-block": FaultKind(
        "a data block", "Half of a block arrives and then nothing; the link stays open."
    ),
    "garbage-before-block": FaultKind(
        "a data block", "Characters left over in the output buffer come before the block."
    ),
    "garbage-after-block": FaultKind(
        "a data block", "Characters come between the last byte of the block and the end of the answer."
    ),
    "wrong-count": FaultKind("data", "The analyzer hands out one point less than was swept."),
    "swapped-bytes": FaultKind("a binary data block", "The byte order is not the one that was set."),
    "invalid-points": FaultKind("a sweep", "Some points are not a number: 9.91e37."),
    "overload": FaultKind(
        "a sweep",
        "A receiver is overdriven: points of 9.9e37 or far above 1, and a bit in the questionable status "
        "that goes with the next good sweep.",
    ),
    "stale-data": FaultKind(
        "a sweep", "Completion is reported though nothing was swept: the data are those of the sweep before."
    ),
    "port-not-driven": FaultKind(
        "a sweep", "The source switch fails for one port: its column is zero or left over from before."
    ),
    "instrument-error": FaultKind(
        "a sweep", "The sweep ends and its data look good, but a receiver reported a failure: -300."
    ),
    "hung-until-clear": FaultKind(
        "any message",
        "The remote interface of this connection hangs and swallows everything until a device clear, or "
        "until the connection is opened anew.",
    ),
    "front-panel": FaultKind(
        "any message",
        "Somebody turns the knob: the IF bandwidth, the number of points or the start frequency is another, "
        "and the user request bit of the event status register is set.",
    ),
    "second-controller": FaultKind(
        "an answer",
        "Another program uses the analyzer too: it changes the stop frequency or the points, and it takes "
        "the answer to somebody else's question.",
    ),
    "power-cycle": FaultKind(
        "any message",
        "The mains fail for a moment: every link ends, nobody is let in while the analyzer starts, and then "
        "all settings are those of the preset and the power-on bit is set.",
        0.3,
    ),
    "queue-overflow": FaultKind(
        "any message", "So many errors at once that the queue ends in -350 and the rest is lost."
    ),
    "correction-on": FaultKind(
        "any message while nothing is swept", "The analyzer's own correction has been switched on."
    ),
    "extension-on": FaultKind(
        "any message while nothing is swept",
        "A port extension of 20 to 100 ps at every port has been switched on.",
    ),
}

HAND_FAULTS: Mapping[str, FaultKind] = {
    name: FaultKind("a connection made by hand (BENCh:CONNect)", seen) for name, seen in MISHAPS.items()
}
"""What hands do wrong at the bench: no message shows it, only the readings do."""
