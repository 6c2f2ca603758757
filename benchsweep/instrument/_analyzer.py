"""A network analyzer that sweeps raw matrices, whatever words its command family uses."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from types import MappingProxyType, TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import (
    BadAnswer,
    BenchsweepError,
    InstrumentError,
    PowerCycled,
    StaleData,
    UsageError,
)
from benchsweep.instrument._settings import (
    Setup,
    apply_settings,
    check_ports,
    check_settings,
    refuse_cause,
    refuse_changes,
)
from benchsweep.instrument._status import Events, register
from benchsweep.instrument._sweeping import run_sweep
from benchsweep.instrument.families import Family, recognise
from benchsweep.instrument.links import Link, open_link, with_messages
from benchsweep.instrument.matrix import MatrixReader, Memory
from benchsweep.records import AnalyzerIdentity, RawSweep, SweepSettings

__all__ = ["Analyzer", "analyzer_on", "open_analyzer"]

Pairs = tuple[tuple[int, int], ...]
_FRONT_PANEL = "front panel used since the sweep before"


def open_analyzer(
    address: str,
    *,
    family: str | None = None,
    ports: int | None = None,
    backend: str = "@py",
    timeout_s: float = 10.0,
    minimum_timeout_s: float = 10.0,
) -> Analyzer:
    """Open a link, find the command family and return the analyzer.

    Parameters
    ----------
    address, backend, timeout_s
        See `open_link`.
    family
        Name or path of the command family; found out when None.
    ports
        Number of ports, for an analyzer that cannot tell it.
    minimum_timeout_s
        A sweep may take three times what the analyzer states, plus this.

    Raises
    ------
    UsageError, LinkLost, InstrumentTimeout, UnknownFamily, UnknownName, DefinitionError, BadAnswer
    """
    reopen = partial(open_link, address, backend=backend, timeout_s=timeout_s)
    link = reopen()
    try:
        return analyzer_on(
            link, family=family, ports=ports, minimum_timeout_s=minimum_timeout_s, reopen=reopen
        )
    except BaseException:
        with suppress(BenchsweepError):
            link.close()
        raise


def analyzer_on(
    link: Link,
    *,
    family: str | None = None,
    ports: int | None = None,
    minimum_timeout_s: float = 10.0,
    reopen: Callable[[], Link] | None = None,
) -> Analyzer:
    """Find the command family on a link that is open, and return the analyzer; see `open_analyzer`.

    The link stays open when that fails.
    """
    with with_messages(link):
        identity, known = recognise(link, family, ports)
    return Analyzer(link, identity, known, minimum_timeout_s=minimum_timeout_s, reopen=reopen)


class Analyzer:
    """A network analyzer on a link.

    Every sweep is raw: the analyzer's own correction, port extension and fixture simulation are off. Before
    and after each sweep the analyzer is asked whether they and all settings still are as they were set.

    Parameters
    ----------
    link
        The link; closed with the analyzer.
    identity
        Who it is.
    family
        How it spells its operations.
    minimum_timeout_s
        A sweep may take three times what the analyzer states, plus this.
    reopen
        Opens the link again; to the same address in the same way when None.

    Attributes
    ----------
    link : Link
        The present link; another one after `restore`.
    """

    def __init__(
        self,
        link: Link,
        identity: AnalyzerIdentity,
        family: Family,
        *,
        minimum_timeout_s: float = 10.0,
        reopen: Callable[[], Link] | None = None,
    ) -> None:
        self.link = link
        self.identity = identity
        self.family = family
        self._minimum_timeout_s = minimum_timeout_s
        self._reopen = reopen or partial(open_link, link.address, timeout_s=link.timeout_s)
        self._events = Events(link)
        self._matrix = MatrixReader(link, family)
        self._memory = self._new_memory()
        self._wanted: SweepSettings | None = None
        self._used: SweepSettings | None = None
        self._last_ports: tuple[int, ...] = ()
        self._setup: Setup | None = None
        self._measured_pass_s: float | None = None
        # Passes -> how long they took last time with these settings.
        self._usual_s: dict[int, float] = {}
        self._power_cycled = False
        self._unsure = False

    @property
    def was_switched_on(self) -> bool:
        """True when the analyzer had been switched on since anybody last asked: it may not be warm yet."""
        return self.identity.was_switched_on

    @property
    def measures_switch_terms(self) -> bool:
        """True when its command family has words for them; the option that they need may be missing still."""
        return self.family.has("define_ratio")

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """The frequency axis in Hz, ``(points,)``, as read back by `configure`.

        Raises
        ------
        UsageError
            `configure` has not been called.
        """
        if self._setup is None or self._matrix.frequency_hz is None:
            raise _unconfigured()
        return self._matrix.frequency_hz

    def configure(self, settings: SweepSettings, ports: Sequence[int]) -> SweepSettings:
        """Preset the analyzer, make the settings and define what drives `ports`.

        Parameters
        ----------
        settings
            What is wanted; start, stop and points all None keep the grid that a preset leaves, or take that
            of the segments.
        ports
            Analyzer ports of the first sweep; `sweep` may be given others.

        Returns
        -------
        The settings as read back: points exact, frequency within 1 Hz, IF bandwidth the nearest legal value.

        Raises
        ------
        UsageError
            Settings or ports that make no sense.
        NotSupported
            The command family or this analyzer cannot do it; the message names what.
        ScpiError
            The analyzer reports errors; with its own text, the commands and what they were for.
        InstrumentError
            The analyzer reads back something else than was set.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        check_settings(settings)
        checked = check_ports(self.link.address, ports, self.identity.ports)
        with with_messages(self.link):
            # Only cleared: whoever configures begins anew, and may do so after the analyzer was switched on.
            register(self.link.address, self.link.query("*ESR?"))
            self._power_cycled = False
            return self._configure(settings, checked)

    def sweep(self, ports: Sequence[int], *, switch_terms: Collection[tuple[int, int]] = ()) -> RawSweep:
        """Take one sweep (averages included) with every one of `ports` driven in turn.

        Data that repeat an earlier sweep to the last bit are doubted. The analyzer is then preset, made to
        sweep another grid, set up again and swept again: where the data still are the same, it has no noise
        (a simulated one) and they are given; else they were those of the earlier sweep.

        Parameters
        ----------
        ports
            Analyzer ports; the result has them rising.
        switch_terms
            (port, driven port) of those that are read from the same sweep, none when empty. They can be told
            only where something is transmitted between the two.

        Raises
        ------
        UsageError
            Not configured, ports that the analyzer has not, or switch terms of ports that are not swept.
        SettingsChanged
            The settings are not those that were made; with every difference.
        PowerCycled
            The analyzer was switched off and on since it was set up.
        InstrumentTimeout
            The sweep did not end; it has been aborted.
        InvalidData
            Points that are no numbers, or an overloaded receiver.
        StaleData
            Data of an earlier sweep, or of a port that was not driven.
        ScpiError
            The analyzer reports errors.
        BadAnswer
            Data that cannot be right for another reason; see the message.
        NotSupported
            This analyzer cannot do it, or measures no switch terms; the message names what.
        LinkLost
        """
        checked = check_ports(self.link.address, ports, self.identity.ports)
        pairs = _checked_pairs(checked, switch_terms)
        if pairs:
            self._matrix.refuse_switch_terms()
        with with_messages(self.link):
            self._refuse_restarted()
            if self._setup is None:
                raise _unconfigured()
            try:
                if self._unsure:
                    self._begin_anew(self._setup, checked)
                sweep = self._take(checked, pairs)
                repeated = self._memory.repeated(checked, sweep.s)
                if repeated:
                    sweep = self._doubt(sweep, repeated, pairs)
            except BaseException as error:
                self._unsure = True
                self._power_cycled = self._power_cycled or isinstance(error, PowerCycled)
                raise
        self._memory.keep(checked, sweep.s)
        return sweep

    def restore(self) -> None:
        """Close the link, open it again, and bring the analyzer back into the state that was configured.

        One attempt; whoever calls decides about waiting and trying again.

        Raises
        ------
        LinkLost, InstrumentTimeout
            Nobody answers.
        InstrumentError
            Another instrument answers, or the settings do not come back as they were.
        PowerCycled
            The analyzer was switched off and on: warm-up and calibration are void.
        NotSupported, ScpiError, BadAnswer
        """
        with suppress(BenchsweepError):
            self.link.close()
        self._use(self._reopen())
        with with_messages(self.link):
            idn = self.link.query("*IDN?")
            if idn != self.identity.idn:
                raise InstrumentError(
                    f"{self.link.address}: another instrument answers: {idn!r} instead of "
                    f"{self.identity.idn!r}",
                    hint="Check the address and what is connected; a calibration belongs to one analyzer.",
                )
            try:
                self._refuse_restarted()
                self._events.read()
            except PowerCycled:
                self._power_cycled = True
                raise
            if self._wanted is not None:
                self._restore_settings(self._wanted)

    def close(self) -> None:
        """Close the link; the analyzer stays in hold. Harmless when closed already."""
        self.link.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _use(self, link: Link) -> None:
        """Go on with another link; what had been found out about the readings holds for the old one."""
        self.link = link
        self._events = Events(link)
        self._matrix = MatrixReader(link, self.family)

    def _new_memory(self) -> Memory:
        return Memory(sweep_each="by-sweep" in self.family.behaviours.matrix)

    def _configure(self, settings: SweepSettings, ports: tuple[int, ...]) -> SweepSettings:
        self._setup = None
        self._measured_pass_s = None
        self._usual_s.clear()
        setup = apply_settings(self.link, self.family, settings, self.identity.ports)
        self._matrix.begin(setup.used)
        self._matrix.define(ports)
        self._matrix.read_axis()
        self._events.read()
        self._memory.forget()
        self._unsure = False
        self._wanted, self._used, self._last_ports, self._setup = settings, setup.used, ports, setup
        return setup.used

    def _restore_settings(self, wanted: SweepSettings) -> None:
        before = self._used
        used = self._configure(wanted, self._last_ports)
        if before is not None and used != before:
            self._setup, self._used = None, before
            raise InstrumentError(
                f"{self.link.address}: the analyzer does not come back to its settings: {used} instead of "
                f"{before}",
                hint="Start this measurement again.",
            )

    def _refuse_restarted(self) -> None:
        if self._power_cycled:
            raise PowerCycled(
                f"{self.link.address}: the analyzer was switched off and on since it was set up",
                hint="Let it warm up, then start again; the calibration must be repeated.",
            )

    def _take(self, ports: tuple[int, ...], switch_terms: Pairs = ()) -> RawSweep:
        """Take one sweep between two looks at the settings."""
        setup = self._setup
        if setup is None:
            raise _unconfigured()
        self._events.read()
        if (ports, switch_terms) != (self._matrix.ports, self._matrix.switch_terms):
            self._matrix.define(ports, switch_terms)
        self._last_ports = ports
        refuse_changes(self.link, self._stated(setup), "before the sweep")
        seconds = 0.0

        def run(driven: int) -> None:
            nonlocal seconds
            seconds += self._run(setup, driven)

        try:
            s = self._matrix.sweep_and_read(run)
            terms = self._matrix.read_switch_terms() if switch_terms else None
        except BadAnswer as error:
            refuse_cause(self._events, self._stated(setup), error)
            raise
        taken_at = datetime.now(UTC).isoformat(timespec="milliseconds")
        self._events.read()
        stated = self._stated(setup)
        refuse_changes(self.link, stated, "after the sweep")
        self.link.check("sweeping and reading the data")
        if self._events.user_request:
            stated[_FRONT_PANEL] = "yes"
            self._events.user_request = False
        return RawSweep(self.frequency_hz, s, ports, taken_at, seconds, MappingProxyType(stated), terms)

    def _stated(self, setup: Setup) -> dict[str, str]:
        """Return question -> answer for everything that was set or defined."""
        return {**setup.state, **self._matrix.state}

    def _run(self, setup: Setup, driven: int) -> float:
        """Sweep with `driven` ports in turn and return how long it took."""
        passes = driven * setup.used.averages
        # With a bandwidth for each segment the first sweep tells better than the analyzer states.
        each_s = self._measured_pass_s or setup.sweep_time_s
        started = time.monotonic()
        run_sweep(
            self._events,
            self.family,
            setup.used.averages,
            each_s * passes,
            self._minimum_timeout_s,
            self._usual_s.get(passes),
        )
        seconds = time.monotonic() - started
        self._usual_s[passes] = seconds
        if setup.used.segments and self._measured_pass_s is None:
            self._measured_pass_s = seconds / passes
        return seconds

    def _begin_anew(self, setup: Setup, ports: tuple[int, ...]) -> None:
        """Set up again after a sweep that failed: the analyzer may hold data of it that nobody has seen."""
        self._events.read()
        refuse_changes(self.link, self._stated(setup), "after a sweep that failed")
        self._configure(self._wanted or setup.used, ports)

    def _doubt(self, sweep: RawSweep, repeated: tuple[int, ...], switch_terms: Pairs) -> RawSweep:
        """Find out whether data that repeat earlier ones are what the analyzer measures; see `sweep`."""
        setup, wanted, ports = self._setup, self._wanted, sweep.analyzer_ports
        if setup is None or wanted is None:
            raise _unconfigured()
        memory, self._memory = self._memory, self._new_memory()
        used = setup.used
        other = replace(wanted, start_hz=used.start_hz, stop_hz=used.stop_hz, points=3, averages=1,
                        spacing="linear", segments=())  # fmt: skip
        self._configure(other, ports)
        self._take(ports)
        self._configure(wanted, ports)
        again = self._take(ports, switch_terms)
        still = memory.repeated(ports, again.s)
        self._memory = memory
        if not set(repeated) <= set(still):
            self._memory.forget()
            raise StaleData(
                f"{self.link.address}: port {', '.join(map(str, repeated))}: the data are those of an "
                "earlier sweep, to the last bit; a fresh sweep gave others",
                hint="Nothing was measured with this connection; measure it again.",
            )
        return again


def _checked_pairs(ports: tuple[int, ...], pairs: Collection[tuple[int, int]]) -> Pairs:
    """Return the switch terms that are wanted, by driven port; raise UsageError where there are no such."""
    wrong = [pair for pair in pairs if pair[0] == pair[1] or not set(pair) <= set(ports)]
    if wrong:
        raise UsageError(
            f"switch term of port {wrong[0][0]} while port {wrong[0][1]} is driven: swept are {ports}",
            hint="A switch term belongs to a port that is swept, while another one that is swept is driven.",
        )
    return tuple(sorted(set(pairs), key=lambda pair: (pair[1], pair[0])))


def _unconfigured() -> UsageError:
    return UsageError("the analyzer has no settings yet", hint="Configure it before sweeping.")
