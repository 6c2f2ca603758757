"""The exception tree of benchsweep: every error a person can meet, with its exit code and a hint.

::

    BenchsweepError                      70  (never raised itself)
    ├── UsageError                        2  an option or argument makes no sense
    │   ├── UnknownName                   2  no requirement, station, kit … of that name
    │   ├── LotRefused                    2  where a lot stands does not allow it: closed, twice
    │   └── ReferenceRefused              2  a channel, tester or study does not allow it: withdrawn, twice
    ├── DefinitionError                   2  a TOML file is wrong: which file, which key
    ├── DataFileError                     2  a Touchstone or CSV file given by the user cannot be read
    ├── InstrumentError                   4  the analyzer did not do what was asked
    │   ├── LinkLost                      4  nobody answers, or the connection dropped
    │   ├── InstrumentTimeout             4  an answer or a sweep did not come in time
    │   ├── ScpiError                     4  the instrument's own error queue had entries
    │   ├── BadAnswer                     4  an answer that cannot be right: truncated block, wrong count
    │   │   ├── InvalidData               4  points that are no numbers, or an overloaded receiver
    │   │   └── StaleData                 4  data that belong to an earlier sweep
    │   ├── SettingsChanged               4  somebody or something changed the settings of the analyzer
    │   ├── PowerCycled                   4  the analyzer was switched off and on
    │   ├── NotSupported                  4  the analyzer or its command family cannot do that
    │   ├── SwitchError                   4  a relay matrix does not stand as it was told to
    │   └── UnknownFamily                 4  the command family was not recognised
    ├── AcquisitionError                  4  a hookup could not be finished
    │   └── HookupImpossible              2  the analyzer has not the ports the plan needs
    ├── CalibrationError                  5  no calibration that may be used
    │   ├── CalibrationMissing            5
    │   ├── CalibrationMismatch           5  grid, ports or analyzer differ
    │   └── CalibrationExpired            5
    ├── FixtureError                      2  port map, terminations or assembly do not fit together
    ├── LimitNotDefined                   2  the requirement has no such limit, or none at that frequency
    └── ArchiveError                      6
        ├── RecordDamaged                 6  a checksum does not match, or the file is no record of ours
        ├── RecordNewer                   6  written by a later version of the format
        ├── RecordMissing                 2  there is no such file: a slip of who named it, no damage
        ├── ArchiveLocked                 6  the place cannot be written
        └── ArchiveUnreachable            6  the drive or store does not answer: nothing is known of the file
"""

from __future__ import annotations

from typing import ClassVar

__all__ = [
    "AcquisitionError",
    "ArchiveError",
    "ArchiveLocked",
    "ArchiveUnreachable",
    "BadAnswer",
    "BenchsweepError",
    "CalibrationError",
    "CalibrationExpired",
    "CalibrationMismatch",
    "CalibrationMissing",
    "DataFileError",
    "DefinitionError",
    "FixtureError",
    "HookupImpossible",
    "InstrumentError",
    "InstrumentTimeout",
    "InvalidData",
    "LimitNotDefined",
    "LinkLost",
    "LotRefused",
    "NotSupported",
    "PowerCycled",
    "RecordDamaged",
    "RecordMissing",
    "RecordNewer",
    "ReferenceRefused",
    "ScpiError",
    "SettingsChanged",
    "StaleData",
    "SwitchError",
    "UnknownFamily",
    "UnknownName",
    "UsageError",
]


class BenchsweepError(Exception):
    """Root of all errors that benchsweep raises on purpose.

    Parameters
    ----------
    message
        One line: what went wrong, where (step, ports, file and key).
    hint
        What the person can do about it; may be empty.
    """

    exit_code: ClassVar[int] = 70

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class UsageError(BenchsweepError, ValueError):
    """An option or argument makes no sense."""

    exit_code = 2


class UnknownName(UsageError):
    """No requirement, station, fixture, kit, specimen or parameter has that name."""


class LotRefused(UsageError):
    """Where a lot stands does not allow it: it is closed, or a reel is not in the draw, or there twice."""


class ReferenceRefused(UsageError):
    """A reference channel, field tester or study does not allow it: withdrawn, there twice, not planned."""


class DefinitionError(BenchsweepError, ValueError):
    """A definition file (TOML) is wrong; the message names the file and the key."""

    exit_code = 2


class DataFileError(BenchsweepError, ValueError):
    """A measurement file given by the user (Touchstone, CSV) cannot be read."""

    exit_code = 2


class InstrumentError(BenchsweepError):
    """The analyzer did not do what was asked.

    Attributes
    ----------
    passing : bool
        True when the same attempt may well succeed on a fresh link: worth repeating, from its start.
    messages : tuple of str
        The last messages on the link, oldest first, with their times; filled in by the instrument room.
    """

    exit_code = 4
    passing: ClassVar[bool] = False

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.messages: tuple[str, ...] = ()


class LinkLost(InstrumentError, ConnectionError):
    """Nobody answers at the address, or the connection dropped."""

    passing = True


class InstrumentTimeout(InstrumentError, TimeoutError):
    """An answer or a sweep did not come in time."""

    passing = True


class ScpiError(InstrumentError):
    """The instrument reported errors of its own.

    Parameters
    ----------
    message
        What was being done and the instrument's own text.
    entries
        The entries of the error queue as read, oldest first: ``(number, text)``.
    commands
        The commands of the group after which the queue was read.
    """

    def __init__(
        self,
        message: str,
        *,
        entries: tuple[tuple[int, str], ...] = (),
        commands: tuple[str, ...] = (),
        hint: str = "",
    ) -> None:
        super().__init__(message, hint=hint)
        self.entries = entries
        self.commands = commands


class BadAnswer(InstrumentError, ValueError):
    """An answer that cannot be right: a truncated block, a wrong count, numbers that are no numbers."""

    passing = True


class InvalidData(BadAnswer):
    """Points that are not a number, or an overloaded receiver."""


class StaleData(BadAnswer):
    """The data belong to an earlier sweep, or to a port that was not driven."""


class SettingsChanged(InstrumentError):
    """The settings are not those that were made: a front panel, another program.

    Parameters
    ----------
    differences
        Question, what it answered before, what it answers now, in words.
    """

    def __init__(self, message: str, *, differences: tuple[str, ...] = (), hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.differences = differences


class PowerCycled(InstrumentError):
    """The analyzer was switched off and on since it was set up: warm-up and calibration are void."""


class NotSupported(InstrumentError):
    """The analyzer, or its command family, cannot do what is asked; the message names the operation."""


class SwitchError(InstrumentError):
    """A relay matrix does not stand as it was told to.

    Parameters
    ----------
    channels
        The channels that do not, where it is about channels.
    """

    def __init__(self, message: str, *, channels: tuple[str, ...] = (), hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.channels = channels


class UnknownFamily(InstrumentError):
    """The command family of the instrument was not recognised.

    Parameters
    ----------
    idn
        What it answered to ``*IDN?``.
    evidence
        Every question with its answer, in the order asked: what somebody needs who writes a family file.
    """

    def __init__(
        self, message: str, *, idn: str = "", evidence: tuple[tuple[str, str], ...] = (), hint: str = ""
    ) -> None:
        super().__init__(message, hint=hint)
        self.idn = idn
        self.evidence = evidence


class AcquisitionError(BenchsweepError):
    """A hookup could not be finished."""

    exit_code = 4


class HookupImpossible(AcquisitionError):
    """The analyzer has not the ports that the plan needs."""

    exit_code = 2


class CalibrationError(BenchsweepError):
    """There is no calibration that may be used."""

    exit_code = 5


class CalibrationMissing(CalibrationError, LookupError):
    """No calibration is stored for this station."""


class CalibrationMismatch(CalibrationError):
    """The calibration belongs to another grid, other ports or another analyzer."""


class CalibrationExpired(CalibrationError):
    """The calibration is older than the station allows."""


class FixtureError(BenchsweepError, ValueError):
    """Port map, terminations or assembly do not fit together."""

    exit_code = 2


class LimitNotDefined(BenchsweepError, LookupError):
    """The requirement has no such limit, or none at that frequency or length."""

    exit_code = 2


class ArchiveError(BenchsweepError):
    """A record or archive cannot be read or written."""

    exit_code = 6


class RecordDamaged(ArchiveError):
    """A checksum does not match, or the file is not a record of ours."""


class RecordNewer(ArchiveError):
    """The record was written by a later version of the format."""


class RecordMissing(ArchiveError):
    """There is no such file."""

    exit_code = 2


class ArchiveLocked(ArchiveError):
    """The place of the archive cannot be written."""


class ArchiveUnreachable(ArchiveError):
    """The drive or the store does not answer: nothing is known of the file, and others will fare the same."""
