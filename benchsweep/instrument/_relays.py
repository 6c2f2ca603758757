"""A relay matrix that is told which channels to close, and asked whether it did."""

from __future__ import annotations

import math
import re
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from itertools import product
from types import TracebackType
from typing import Self

from benchsweep.errors import BadAnswer, BenchsweepError, InstrumentTimeout, SwitchError, UsageError
from benchsweep.instrument.links import Link, open_link, with_messages

__all__ = ["RelayMatrix", "channel_list", "open_relays"]

# SCPI-1999 vol. 1, 8.3.2: a channel is numbers joined by "!", a range two of them joined by ":".
_CHANNEL = re.compile(r"[0-9]{1,6}(?:![0-9]{1,6}){0,3}")
_MOST_CHANNELS = 4096
# Input buffers of switch units are small; a command stays well below the smallest that is common.
_LONGEST_LIST = 200
_EXAMPLE = "Write 1!3 (row!column), 1!1:1!4 (a range) or 101 (packed), several joined by commas, without (@)."
_MOST_NAMED = 8


def open_relays(address: str, *, backend: str = "@py", timeout_s: float = 10.0) -> RelayMatrix:
    """Open the link to a relay matrix. No relay moves.

    Parameters
    ----------
    address, backend, timeout_s
        See `open_link`.

    Raises
    ------
    UsageError, LinkLost, InstrumentTimeout, InstrumentError
    """
    link = open_link(address, backend=backend, timeout_s=timeout_s)
    try:
        idn = link.query("*IDN?")
        # Errors of whoever used it before are not ours.
        link.write("*CLS")
        return RelayMatrix(link, idn=idn)
    except BaseException:
        with suppress(BenchsweepError):
            link.close()
        raise


def channel_list(channels: str | Iterable[str]) -> tuple[str, ...]:
    """Return the single channels that are meant, in order, each once; ranges are written out.

    Parameters
    ----------
    channels
        As in ``ROUTe:CLOSe (@1!3,2!4)``, without ``(@)``: one text or several. In a range of rows and
        columns the last number runs fastest.

    Raises
    ------
    UsageError
        Something that is no channel, a range that runs backwards, or more than 4096 channels.
    """
    listed = [channels] if isinstance(channels, str) else list(channels)
    found: dict[str, None] = {}
    for text in listed:
        for item in text.split(","):
            for channel in _expand(item.strip()):
                found[channel] = None
    if len(found) > _MOST_CHANNELS:
        raise UsageError(f"{len(found)} channels of a relay matrix in one go: at most {_MOST_CHANNELS}")
    return tuple(found)


def _expand(item: str) -> Iterator[str]:
    first, colon, last = (part.strip() for part in item.partition(":"))
    if not _CHANNEL.fullmatch(first) or (colon and not _CHANNEL.fullmatch(last)):
        raise UsageError(f"{item[:60]!r} is no channel of a relay matrix", hint=_EXAMPLE)
    if not colon:
        yield _spell(first.split("!"))
        return
    low, high = first.split("!"), last.split("!")
    if len(low) != len(high) or any(int(a) > int(b) for a, b in zip(low, high, strict=False)):
        raise UsageError(f"{item[:60]!r} is no range of channels", hint=_EXAMPLE)
    spans = [range(int(a), int(b) + 1) for a, b in zip(low, high, strict=True)]
    if math.prod(map(len, spans)) > _MOST_CHANNELS:
        raise UsageError(f"{item[:60]!r}: a range of more than {_MOST_CHANNELS} channels", hint=_EXAMPLE)
    for numbers in product(*spans):
        yield _spell([str(n).zfill(len(a)) for n, a in zip(numbers, low, strict=True)])


def _spell(numbers: list[str]) -> str:
    # In a packed number the leading zeros may belong to it; in row!column they never do.
    return numbers[0] if len(numbers) == 1 else "!".join(str(int(n)) for n in numbers)


class RelayMatrix:
    """A relay matrix on a link: ``ROUTe:CLOSe`` and ``ROUTe:OPEN`` with channel lists (SCPI-1999 vol. 2).

    Every call that moves relays waits until the instrument says that they have moved, and reads its error
    queue. `set_closed` also lets the contacts settle and reads back every channel.

    Parameters
    ----------
    link
        An open link; closed with the matrix.
    idn
        What the matrix answered to ``*IDN?``.
    """

    def __init__(self, link: Link, *, idn: str = "") -> None:
        self.link = link
        self.idn = idn

    def close(self, channels: str | Iterable[str]) -> None:
        """Close `channels` and wait until it is done.

        Raises
        ------
        UsageError
            Not channels; nothing has been sent.
        ScpiError
            The matrix reports errors: it has not such a channel, perhaps.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        self._move("ROUT:CLOS", channel_list(channels), doing="closing relays")

    def open(self, channels: str | Iterable[str]) -> None:
        """Open `channels` and wait until it is done. Raises as `close`."""
        self._move("ROUT:OPEN", channel_list(channels), doing="opening relays")

    def open_all(self) -> None:
        """Open every relay and wait until it is done. Raises as `close`."""
        with with_messages(self.link):
            self.link.write("ROUT:OPEN:ALL")
            self._finish(("ROUT:OPEN:ALL",), doing="opening all relays")

    def closed(self, channels: str | Iterable[str]) -> dict[str, bool]:
        """Ask which of `channels` are closed.

        Returns
        -------
        Channel -> True when closed, in the order given, ranges written out.

        Raises
        ------
        BadAnswer
            Not one 0 or 1 for each channel.
        UsageError, ScpiError, LinkLost, InstrumentTimeout
        """
        wanted = channel_list(channels)
        found: dict[str, bool] = {}
        with with_messages(self.link):
            for group in _groups(wanted):
                found.update(self._states(f"ROUT:CLOS? (@{','.join(group)})", group))
            self.link.check("asking which relays are closed", (_told("ROUT:CLOS?", wanted),))
        return found

    def set_closed(
        self, channels: str | Iterable[str], *, among: str | Iterable[str], settle_s: float
    ) -> None:
        """Close `channels` and open all others of `among`, then read every one back.

        Parameters
        ----------
        channels
            What is to be closed; all of it must be in `among`.
        among
            Every channel of interest.
        settle_s
            How long the contacts settle after the matrix says that they have moved.

        Raises
        ------
        SwitchError
            A channel does not stand as told; the message names each.
        UsageError
            Not channels, or some that are not in `among`; nothing has been sent.
        ScpiError, LinkLost, InstrumentTimeout, BadAnswer
        """
        every = channel_list(among)
        wanted = channel_list(channels)
        strange = [channel for channel in wanted if channel not in set(every)]
        if strange:
            raise UsageError(
                f"channels {', '.join(strange[:_MOST_NAMED])}: not among those of this switch",
                hint="Name every channel that the switch uses, spelled the same way everywhere.",
            )
        if not 0.0 <= settle_s <= 60.0:
            raise UsageError(f"settling time of {settle_s} s: give 0 to 60 s")
        # What was closed opens first, so that no two paths are ever joined.
        self.open(channel for channel in every if channel not in set(wanted))
        self.close(wanted)
        time.sleep(settle_s)
        with with_messages(self.link):
            self._refuse_differences(self.closed(every), set(wanted))

    def disconnect(self) -> None:
        """Close the link; the relays stay as they are. Harmless when closed already."""
        self.link.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.disconnect()

    def _move(self, header: str, channels: tuple[str, ...], *, doing: str) -> None:
        commands = tuple(f"{header} (@{','.join(group)})" for group in _groups(channels))
        if not commands:
            return
        with with_messages(self.link):
            self.link.write(*commands)
            self._finish((_told(header, channels),), doing=doing)

    def _finish(self, commands: tuple[str, ...], *, doing: str) -> None:
        answer = self.link.query("*OPC?")
        if answer.lstrip("+") != "1":
            raise BadAnswer(
                f"{self.link.address}: {doing}: *OPC? was answered by {answer[:80]!r}, expected 1",
                hint="Answers are out of step, or the instrument does not follow IEEE 488.2.",
            )
        self.link.check(doing, commands)

    def _states(self, question: str, group: tuple[str, ...]) -> dict[str, bool]:
        try:
            answer = self.link.query(question)
        except InstrumentTimeout:
            # A channel that it has not brings an entry in the error queue and no answer.
            self.link.check("asking which relays are closed", (_told("ROUT:CLOS?", group),))
            raise
        words = [word.strip().lstrip("+") for word in answer.split(",")]
        if len(words) != len(group) or any(word not in ("0", "1") for word in words):
            # The error queue says more than an answer of the wrong shape.
            self.link.check("asking which relays are closed", (_told("ROUT:CLOS?", group),))
            raise BadAnswer(
                f"{self.link.address}: {_told('ROUT:CLOS?', group)} was answered by {answer[:60]!r}, "
                f"expected {len(group)} times 0 or 1",
                hint="Is this address a relay matrix, and does it know these channels?",
            )
        return {channel: word == "1" for channel, word in zip(group, words, strict=True)}

    def _refuse_differences(self, found: dict[str, bool], wanted: set[str]) -> None:
        stuck_open = [channel for channel in found if channel in wanted and not found[channel]]
        stuck_closed = [channel for channel in found if channel not in wanted and found[channel]]
        told = []
        if stuck_open:
            told.append(f"{_named(stuck_open)} told to close, read back open")
        if stuck_closed:
            told.append(f"{_named(stuck_closed)} told to open, read back closed")
        if told:
            raise SwitchError(
                f"{self.link.address}: relay {'; relay '.join(told)}",
                channels=(*stuck_open, *stuck_closed),
                hint="A relay may be worn out, or another program moves relays.",
            )


def _told(header: str, channels: Sequence[str]) -> str:
    """Return a command as it is told to people: it may name hundreds of channels."""
    return f"{header} (@{_named(channels).replace(', ', ',')})"


def _named(channels: Sequence[str]) -> str:
    more = len(channels) - _MOST_NAMED
    return ", ".join(channels[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _groups(channels: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Yield the channels in groups whose list stays short."""
    group: list[str] = []
    length = 0
    for channel in channels:
        if group and length + len(channel) + 1 > _LONGEST_LIST:
            yield tuple(group)
            group, length = [], 0
        group.append(channel)
        length += len(channel) + 1
    if group:
        yield tuple(group)
