"""A network analyzer that sweeps raw matrices, whatever words its command family uses."""

from __future__ import annotations

import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer, BenchsweepError, InstrumentError, InstrumentTimeout, UsageError
from benchsweep.instrument._behaviours import MEASUREMENTS, PARAMETER_NAMES, SWEEP
from benchsweep.instrument._family import Family
from benchsweep.instrument._identify import recognise
from benchsweep.instrument._link import Link
from benchsweep.instrument._open import open_link
from benchsweep.instrument._readout import Order, find_order, in_order, read_parameters
from benchsweep.instrument._settings import Setup, apply_settings, check_settings
from benchsweep.records import AnalyzerIdentity, RawSweep, SweepSettings

__all__ = ["Analyzer", "open_analyzer"]

# Standard event status register (IEEE 488.2): bits.
_COMPLETE = 0x01
_ERRORS = 0x04 | 0x08 | 0x10 | 0x20
_POWER_ON = 0x80

_TIMEOUT_FACTOR = 3.0
_SHORTEST_POLL_S = 0.001
_LONGEST_POLL_S = 0.1


def open_analyzer(
    address: str,
    *,
    family: str | None = None,
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
    minimum_timeout_s
        A sweep may take three times what the analyzer states, plus this.

    Raises
    ------
    UsageError, LinkLost, InstrumentTimeout, UnknownFamily, UnknownName, DefinitionError, BadAnswer
    """
    link = open_link(address, backend=backend, timeout_s=timeout_s)
    try:
        identity, known = recognise(link, family)
        return Analyzer(link, identity, known, minimum_timeout_s=minimum_timeout_s)
    except BaseException:
        with suppress(BenchsweepError):
            link.close()
        raise


class Analyzer:
    """A network analyzer on a link.

    Every sweep is raw: the analyzer's own correction, port extension and fixture simulation are off. Before
    each sweep the analyzer is asked whether they and all settings still are as they were set.

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
    """

    def __init__(
        self, link: Link, identity: AnalyzerIdentity, family: Family, *, minimum_timeout_s: float = 10.0
    ) -> None:
        self.link = link
        self.identity = identity
        self.family = family
        self._minimum_timeout_s = minimum_timeout_s
        self._setup: Setup | None = None
        self._frequency_hz: NDArray[np.float64] | None = None
        self._defined: tuple[int, ...] = ()
        self._order: Order | None = None

    @property
    def was_switched_on(self) -> bool:
        """True when the analyzer had been switched on since anybody last asked: it may not be warm yet."""
        told = [item.answer for item in self.identity.evidence if item.probe == "*ESR?"]
        return any(bool(_register(self.link.address, answer) & _POWER_ON) for answer in told)

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """The frequency axis in Hz, ``(points,)``, as read back by `configure`.

        Raises
        ------
        UsageError
            `configure` has not been called.
        """
        if self._frequency_hz is None:
            raise UsageError("the analyzer has no settings yet", hint="Configure it before sweeping.")
        return self._frequency_hz

    def configure(self, settings: SweepSettings, ports: Sequence[int]) -> SweepSettings:
        """Preset the analyzer, make the settings and define what drives `ports`.

        Parameters
        ----------
        settings
            What is wanted; start, stop and points all None keep the grid that a preset leaves.
        ports
            Analyzer ports of the first sweep; `sweep` may be given others.

        Returns
        -------
        The settings as read back: points exact, frequency within 1 Hz, IF bandwidth the nearest legal value.

        Raises
        ------
        UsageError
            Settings or ports that make no sense.
        ScpiError
            The analyzer reports errors; with its own text, the commands and what they were for.
        InstrumentError
            The analyzer reads back something else than was set.
        LinkLost, InstrumentTimeout, BadAnswer
        """
        check_settings(settings)
        checked = self._checked_ports(ports)
        self._setup = None
        self._defined = ()
        setup = apply_settings(self.link, self.family, settings)
        used = setup.used
        grid = np.linspace(used.start_hz or 0.0, used.stop_hz or 0.0, used.points or 0)
        grid.flags.writeable = False
        self._frequency_hz = grid
        self._define(checked)
        self._event_status()
        self._setup = setup
        return used

    def sweep(self, ports: Sequence[int]) -> RawSweep:
        """Take one sweep (averages included) with every one of `ports` driven in turn.

        Parameters
        ----------
        ports
            Analyzer ports; the result has them rising.

        Raises
        ------
        UsageError
            Not configured, or ports that the analyzer has not.
        InstrumentError
            The settings are not those that were made: someone changed them, or the power went.
        InstrumentTimeout
            The sweep did not end; it has been aborted.
        ScpiError
            The analyzer reports errors.
        BadAnswer
            Data that cannot be right; see the message.
        LinkLost
        """
        checked = self._checked_ports(ports)
        if self._setup is None:
            raise UsageError("the analyzer has no settings yet", hint="Configure it before sweeping.")
        self._refuse_restart(self._event_status())
        if checked != self._defined:
            self._define(checked)
        changed = self._setup.differences(self.link)
        if changed:
            raise InstrumentError(
                f"{self.link.address}: the analyzer's settings changed since they were made: "
                f"{'; '.join(changed)}",
                hint="Leave the front panel alone, close other programs, and start this measurement again.",
            )
        started = time.monotonic()
        self._run(self._setup, len(checked))
        seconds = time.monotonic() - started
        taken_at = datetime.now(UTC).isoformat(timespec="milliseconds")
        return RawSweep(self.frequency_hz, self._read(checked), checked, taken_at, seconds)

    def close(self) -> None:
        """Close the link; the analyzer stays in hold. Harmless when closed already."""
        self.link.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _checked_ports(self, ports: Sequence[int]) -> tuple[int, ...]:
        checked = tuple(sorted(ports))
        missing = [port for port in checked if not 1 <= port <= self.identity.ports]
        if missing:
            raise UsageError(
                f"{self.link.address}: the analyzer has ports 1 to {self.identity.ports}, asked for port "
                f"{', '.join(map(str, missing))}",
                hint="Check the ports of the fixture and of the station file.",
            )
        if not checked or len(set(checked)) != len(checked):
            raise UsageError(f"{self.link.address}: ports {list(ports)}: give at least one, each once")
        return checked

    def _define(self, ports: tuple[int, ...]) -> None:
        """Define the measurements that drive `ports`, and one more to check the order of the matrix."""
        self._defined = ()
        self._order = None
        family = self.family
        pairs = list(MEASUREMENTS[family.behaviours.measurements](ports))
        if len(ports) > 1 and (ports[-1], ports[0]) not in pairs:
            pairs.append((ports[-1], ports[0]))
        wanted = {self._name(*pair): self._parameter(*pair) for pair in pairs}
        commands = family.fill("clear_measurements")
        for index, (name, parameter) in enumerate(wanted.items(), start=1):
            commands += family.fill("define_measurement", name=name, parameter=parameter, index=index)
        listed = ", ".join(map(str, ports))
        self.link.write_checked(*commands, doing=f"defining the measurements of ports {listed}")
        answer = self.link.query(family.ask("measurements"))
        words = [word.strip() for word in answer.strip("\"'").split(",")]
        found = dict(zip(words[0::2], words[1::2], strict=False))
        if found != wanted:
            raise InstrumentError(
                f"{self.link.address}: measurements of ports {listed}: defined "
                f"{', '.join(wanted.values())}; the analyzer has {', '.join(found.values()) or 'none'}",
                hint="The analyzer spells parameters otherwise than the family file says.",
            )
        self._defined = ports

    def _parameter(self, receiver: int, source: int) -> str:
        return PARAMETER_NAMES[self.family.behaviours.parameter_names](receiver, source)

    def _name(self, receiver: int, source: int) -> str:
        return f"BENCH_{receiver}_{source}"

    def _run(self, setup: Setup, driven: int) -> None:
        averages = setup.used.averages
        expected_s = setup.sweep_time_s * driven * averages
        limit_s = _TIMEOUT_FACTOR * expected_s + self._minimum_timeout_s
        commands = SWEEP[self.family.behaviours.sweep](self.family, averages)
        started = time.monotonic()
        try:
            self.link.write(*commands, "*OPC")
            self._wait(started, expected_s, limit_s, commands)
        except BaseException:
            # Whatever ended the waiting, the keyboard included: the analyzer must not go on sweeping.
            with suppress(BenchsweepError):
                self.link.write(*self.family.fill("abort"), *self.family.fill("hold"))
                self.link.errors()
            raise

    def _wait(self, started: float, expected_s: float, limit_s: float, commands: tuple[str, ...]) -> None:
        pause = _SHORTEST_POLL_S
        while True:
            status = self._event_status()
            self._refuse_restart(status)
            if status & _ERRORS:
                self.link.check("sweeping", commands)
            elapsed = time.monotonic() - started
            if status & _COMPLETE:
                return
            if elapsed > limit_s:
                raise InstrumentTimeout(
                    f"{self.link.address}: the sweep did not end: {elapsed:.1f} s passed, "
                    f"{expected_s:.3g} s were expected",
                    hint="The sweep was aborted. Check the trigger, then measure again.",
                )
            # Ever more rarely while the sweep must be running, then often again from its expected end on.
            if elapsed < expected_s:
                pause = min(2.0 * pause, _LONGEST_POLL_S, expected_s - elapsed)
            else:
                pause = min(0.2 * (elapsed - expected_s), _LONGEST_POLL_S)
            time.sleep(max(pause, _SHORTEST_POLL_S))

    def _event_status(self) -> int:
        return _register(self.link.address, self.link.query("*ESR?"))

    def _refuse_restart(self, status: int) -> None:
        if status & _POWER_ON:
            self._setup = None
            raise InstrumentError(
                f"{self.link.address}: the analyzer was switched off and on since it was set up",
                hint="Let it warm up, then start again; the calibration must be repeated.",
            )

    def _read(self, ports: tuple[int, ...]) -> NDArray[np.complex128]:
        n = len(ports)
        parameters = read_parameters(self.link, self.family, ports, self.frequency_hz)
        stated = self.family.behaviours.matrix_order
        order = self._order
        if order is None and n > 1:
            name = self._name(ports[-1], ports[0])
            single = self.link.query_doubles(self.family.ask("trace", name=name))
            order = find_order(self.link, parameters, n, single)
            if stated not in ("detect", order) and order is not None:
                raise BadAnswer(
                    f"{self.link.address}: the matrix of {n} ports comes {order}, not {stated} as in the "
                    "family file",
                    hint='Write matrix_order = "detect" in the family file.',
                )
            # Where both orders fit (nothing but noise-free zeros does that), the next sweep is checked again.
            self._order = order
        s = in_order(parameters, n, order or ("row-major" if stated == "detect" else stated))
        dead = [port for k, port in enumerate(ports) if not s[:, :, k].any()]
        if dead:
            raise BadAnswer(
                f"{self.link.address}: port {', '.join(map(str, dead))}: exactly zero everywhere while "
                "driven, so the sweep did not drive it",
                hint="The analyzer sweeps only ports of which a measurement is defined and shown.",
            )
        return s


def _register(address: str, answer: str) -> int:
    if not answer.lstrip("+").isdigit():
        raise BadAnswer(
            f"{address}: *ESR? was answered by {answer[:80]!r}, expected a whole number",
            hint="Answers are out of step, or the instrument does not follow IEEE 488.2.",
        )
    return int(answer)
