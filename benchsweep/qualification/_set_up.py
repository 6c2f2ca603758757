"""Open the analyzer of a station and bring it into the state that the station wants.

Once anybody has answered at the address, a fault of the link that passes repeats the whole set-up on a fresh
link; an address at which nobody answers is told at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

from benchsweep.acquisition import Repeats, overcome
from benchsweep.errors import BenchsweepError, InstrumentError, InstrumentTimeout, UnknownFamily
from benchsweep.fixture import Fixture
from benchsweep.instrument import Analyzer, Link, analyzer_on, open_link
from benchsweep.qualification._alone import alone_with
from benchsweep.qualification._places import Places
from benchsweep.qualification._power import note_switched_on
from benchsweep.qualification._station import Station
from benchsweep.records import SweepSettings

__all__ = ["SetUp", "answer_on", "note_power", "set_up_analyzer", "worth_repeating"]

_POWER_ON = 128


@dataclass(frozen=True, slots=True, eq=False)
class SetUp:
    """An analyzer that has been set up: with the settings as read back, and the places that it can reach."""

    analyzer: Analyzer
    used: SweepSettings
    places: Places


def worth_repeating(error: InstrumentError) -> bool:
    """Return whether the same questions may well be answered on a fresh link.

    An instrument without an error queue is such a case when the queue did not answer at all.
    """
    silent = isinstance(error, UnknownFamily) and isinstance(error.__cause__, InstrumentTimeout)
    return error.passing or silent


@contextmanager
def set_up_analyzer(
    station: Station,
    fixture: Fixture,
    *,
    progress: Callable[[str], None],
    incident: Callable[[str], None],
) -> Iterator[SetUp]:
    """Open, identify and configure the analyzer of `station`; it is closed at the end of the block.

    Other runs on this computer are kept from it meanwhile, by whatever address they know it.

    Parameters
    ----------
    progress
        Gets a line when a link is being opened again.
    incident
        Gets one sentence for each time that the set-up was repeated.

    Raises
    ------
    UsageError
        Another run uses the analyzer.
    InstrumentError, DefinitionError
    """
    keys = station.analyzer
    reopen = partial(open_link, keys.address, backend=keys.backend, timeout_s=keys.timeout_s)
    link = reopen()
    try:
        idn = link.query("*IDN?")
        # Two simulated benches may well answer the same.
        real = station.shared and station.switch.kind != "simulated"
        with alone_with(f"idn:{idn}", called=f"{idn}, by another address") if real else nullcontext():
            repeats = Repeats(keys.retries, keys.wait_for_link_s, progress, incident)
            opened = _patiently(station, fixture, link, reopen, idn, repeats)
            try:
                yield opened
            finally:
                opened.analyzer.close()
    finally:
        _close(link)


def _patiently(
    station: Station,
    fixture: Fixture,
    link: Link,
    reopen: Callable[[], Link],
    idn: str,
    repeats: Repeats,
) -> SetUp:
    attempt = 0
    while True:
        try:
            return _once(station, fixture, link, reopen, idn)
        except InstrumentError as error:
            _close(link)
            attempt += 1
            if not worth_repeating(error) or attempt > repeats.retries:
                raise
            again = f"the whole set-up was repeated on a fresh link (repeat {attempt} of {repeats.retries})"
            link = overcome(error, reopen, repeats, where="set-up: analyzer", again=again)
        except BaseException:
            _close(link)
            raise


def _once(station: Station, fixture: Fixture, link: Link, reopen: Callable[[], Link], idn: str) -> SetUp:
    keys = station.analyzer
    try:
        analyzer = analyzer_on(
            link,
            family=keys.family,
            ports=keys.ports,
            minimum_timeout_s=keys.sweep_margin_s,
            reopen=reopen,
        )
        if analyzer.identity.idn != idn:
            raise InstrumentError(
                f"{link.address}: another instrument answers than before: {analyzer.identity.idn!r} instead "
                f"of {idn!r}",
                hint="Check the address and what is connected; is another program using this connection?",
            )
        places = Places.of(fixture, analyzer.identity.ports)
        can_segments = analyzer.family.behaviours.segments is not None
        settings = station.settings(analyzer.identity.limits, can_segments=can_segments)
        return SetUp(analyzer, analyzer.configure(settings, places.ports), places)
    finally:
        # The embedded bench is started anew for every command and stands warm all the same.
        if station.shared:
            note_power(link, idn)


def answer_on(link: Link, question: str) -> str | None:
    """Return the last answer to `question` on this link; None when none came."""
    found = None
    for asked, came in pairwise(link.recent()):
        if asked.text == question and came.direction == "received":
            found = came.text
    return found


def note_power(link: Link, idn: str | None = None) -> None:
    """Remember it when the event status register told that power was switched on (IEEE 488.2: bit 7).

    Asking has cleared the bit, so whatever comes after it, that must not be forgotten. `idn` is the answer to
    ``*IDN?``; None: as kept with the messages, which may have shortened it.
    """
    idn = answer_on(link, "*IDN?") if idn is None else idn
    if idn is None:
        return
    for asked, came in pairwise(link.recent()):
        word = came.text.lstrip("+")
        if asked.text == "*ESR?" and word.isascii() and word.isdigit() and int(word) & _POWER_ON:
            note_switched_on(idn)
            return


def _close(link: Link) -> None:
    with suppress(BenchsweepError):
        link.close()
