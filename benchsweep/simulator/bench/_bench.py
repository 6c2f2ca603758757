"""The physical bench: analyzer ports, what is attached to them, and what a sweep reads.

A sweep is asked for in two steps: `Bench.prepare` takes down the state of the bench at that moment (cheap, in
the server's loop), `Bench.measure` computes from it (slow, in a thread).
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import UsageError
from benchsweep.simulator.bench._attachments import matrix_seen
from benchsweep.simulator.bench._connections import (
    Attached,
    ImpossibleConnection,
    format_connections,
    legs_of,
    parse_connections,
)
from benchsweep.simulator.bench._definition import BenchDefinition
from benchsweep.simulator.bench._drift import (
    Flex,
    Moment,
    Wandering,
    receiver_change,
    with_drift,
)
from benchsweep.simulator.bench._error_terms import (
    ErrorBoxes,
    draw_error_boxes,
    raw_matrix,
    reference_waves,
    with_series_contacts,
)
from benchsweep.simulator.bench._kept import KeptMatrices
from benchsweep.simulator.bench._mishaps import Mishaps
from benchsweep.simulator.bench._networks import REFERENCE_OHM
from benchsweep.simulator.bench._noise import with_noise
from benchsweep.simulator.bench._pieces import Pieces
from benchsweep.simulator.bench._request import Device, SweepRequest
from benchsweep.simulator.bench._terminations import format_terminators, parse_terminators

__all__ = ["Bench"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_QUICK_ELEMENTS = 8192
_HOUR_S = 3600.0


class Bench:
    """A bench in its present state.

    Parameters
    ----------
    definition
        What the bench file says.
    ports
        Number of analyzer ports.
    seed
        Draws error terms, noise and drift.
    noiseless
        No noise, no drift, no change by re-connection; the error terms stay.
    device, specimen
        The specimen, and how it was asked for (name or path).

    Raises
    ------
    UsageError
        More ports than the bench has use for.
    """

    def __init__(
        self,
        definition: BenchDefinition,
        *,
        ports: int,
        seed: int,
        noiseless: bool,
        device: Device,
        specimen: str = "",
    ) -> None:
        self.definition = definition
        self.ports = ports
        self.seed = seed
        self.noiseless = noiseless
        self.device = device
        self.specimen = specimen or device.name
        self.time_s = 0.0
        self.switched = False
        self.slope = (0.0, 0.0)
        self.warmer_k = 0.0
        self._slope_since_s = 0.0
        self._connections: dict[int, Attached] = {}
        self._terminators: dict[str, str] = {}
        _check_ports(definition, ports)
        self._pieces = Pieces(definition, seed=seed, as_defined=noiseless)
        self._matings = [0] * ports
        self._sweeps = 0
        self._wandering = Wandering(definition.drift, ports, seed)
        self._flex = Flex(seed)
        names = self._pieces.loads.names
        worn = names[-1] if names else ""
        self._mishaps = Mishaps(seed, self._pieces.wiring.balun_of, worn)
        self._lock = threading.Lock()
        self._kept = KeptMatrices()
        self._boxes: dict[bytes, ErrorBoxes] = {}

    @property
    def connections(self) -> str:
        """What is attached where, ports rising."""
        return format_connections(self._connections)

    def connect(self, text: str) -> None:
        """Replace the whole connection state by what `text` says (``1=A:12.1,2=open,3=thru 4,4=thru 3``).

        Raises
        ------
        ImpossibleConnection
            It cannot be made; nothing changes.
        """
        if self.switched:
            raise ImpossibleConnection("the relay matrix decides what is attached")
        wanted = parse_connections(text, self.ports, self._pieces.offer)
        self._pieces.wiring.at_ends(wanted)
        for port in range(1, self.ports + 1):
            if wanted.get(port) != self._connections.get(port):
                self._matings[port - 1] += 1
        if wanted != self._connections:
            self.time_s += self.definition.drift.seconds_per_connection
        self._connections = wanted
        self._mishaps.connected(wanted)
        # Hands take a terminator off where they attach a leg.
        attached = {leg for one in wanted.values() for leg in one.conductors}
        self._terminators = {
            balanced: name
            for balanced, name in self._terminators.items()
            if not attached & set(legs_of(balanced))
        }

    @property
    def terminators(self) -> str:
        """Which terminator sits on which balanced port, where not the usual termination."""
        return format_terminators(self._terminators)

    def terminate(self, text: str) -> None:
        """Replace all terminators by what `text` says (``A:36=T1,B:12=none``); other legs get the usual ones.

        ``none`` leaves both legs open. A terminator is taken off when a leg of its port is attached.

        Raises
        ------
        ImpossibleConnection
            There is no such terminator or balanced port; nothing changes.
        """
        wanted = parse_terminators(text, self._pieces.loads.names)
        if wanted != self._terminators:
            self.time_s += self.definition.drift.seconds_per_connection
        self._terminators = wanted

    @property
    def possible_mishaps(self) -> tuple[str, ...]:
        """What may go wrong with the connection that has just been made."""
        return self._mishaps.possible(self._connections, self.device.disturbing)

    def mishap(self, name: str) -> None:
        """Let one of `possible_mishaps` have happened while the present connection was made."""
        self._mishaps.strike(name, self._connections, self.device.disturbing)

    def repair(self) -> None:
        """Undo what mishaps have left behind."""
        self._mishaps.repair()

    def warm(self, kelvin: float) -> None:
        """Let test cables and receivers be warmer than now at once and from now on, also without noise.

        Parameters
        ----------
        kelvin
            Step of the temperature; negative: colder. Steps add up in `warmer_k`.
        """
        self.warmer_k += kelvin

    def switch(self, attached: Mapping[int, Attached], duration_s: float) -> None:
        """Attach by relays: no connector is touched, so no port is re-connected.

        Raises
        ------
        UsageError
            The ports do not lead to contacts directly.
        """
        if self._pieces.wiring.way != "contacts":
            raise UsageError(
                f"bench {self.definition.name}: relays can only lead to direct contacts",
                hint="Attach by hand, or take a bench with direct contacts.",
            )
        self.switched = True
        self._connections = dict(attached)
        self.time_s += duration_s

    def set_slope(self, gain_db_per_h: float, delay_ps_per_h: float) -> None:
        """Let every receiver path change linearly from now on, also on a bench without noise.

        Parameters
        ----------
        gain_db_per_h
            Positive: what the receivers read grows.
        delay_ps_per_h
            Positive: it comes later.
        """
        self.slope = (gain_db_per_h, delay_ps_per_h)
        self._slope_since_s = self.time_s

    def let_pass(self, seconds: float) -> None:
        """Let the bench's clock run on."""
        self.time_s += seconds

    def pass_duration_s(self, points: int, if_bandwidth_hz: float) -> float:
        """Return how long one sweep over all points with one driven port takes."""
        return points * (1.2 / if_bandwidth_hz + self.definition.overhead_per_point_s)

    def prepare(
        self,
        frequency_hz: Real,
        power_dbm: Mapping[int, float],
        if_bandwidth_hz: float | Real,
        readings: int,
        duration_s: float,
        *,
        references: bool = False,
    ) -> SweepRequest:
        """Take down what a sweep needs, and let the bench's clock run on by its duration.

        Parameters
        ----------
        power_dbm
            Source power by driven port.
        if_bandwidth_hz
            One for all points or ``(n_freq,)``.
        readings
            How many readings of each point are averaged.
        duration_s
            How long it takes on the bench's clock.
        references
            Whether the reference receivers are read too.
        """
        driven = tuple(sorted(power_dbm))
        hours = (self.time_s - self._slope_since_s) / _HOUR_S
        request = SweepRequest(
            frequency_hz=frequency_hz,
            driven=driven,
            if_bandwidth_hz=if_bandwidth_hz,
            readings=readings,
            power_dbm=tuple(power_dbm[port] for port in driven),
            device=self.device,
            connections=self._mishaps.really(self._connections),
            terminators=self._mishaps.really_on(self._terminators),
            matings=tuple(self._matings),
            moment=self._moment(),
            number=self._sweeps,
            slope=(self.slope[0] * hours, self.slope[1] * 1e-12 * hours),
            loose=self._mishaps.loose(self._sweeps),
            references=references,
        )
        self._sweeps += 1
        self.time_s += duration_s
        return request

    def _moment(self) -> Moment:
        moment = self._wandering.at(self.time_s)
        if self.noiseless:
            moment = Moment(0.0, np.zeros_like(moment.walks))
        return replace(moment, kelvin=moment.kelvin + self.warmer_k)

    def is_quick(self, request: SweepRequest) -> bool:
        """Return whether `measure` would take less time than handing it to a thread and back."""
        if request.frequency_hz.size * self._pieces.wiring.ends(self.ports) ** 2 > _QUICK_ELEMENTS:
            return False
        return not request.uses_specimen or self._specimen_key(request) in self._kept

    def measure(self, request: SweepRequest) -> Complex:
        """Return the raw readings ``(n_freq, n_ports, n_driven)``. May be called from any thread.

        Readings are over that of the reference receiver of the driven port. Where the reference receivers are
        read too, they follow: ``(n_freq, 2 n_ports, n_driven)``.

        Raises
        ------
        BenchsweepError
            The specimen cannot be computed on that grid.
        """
        with self._lock:
            s = self._seen(request)
            boxes = self.error_boxes(request.frequency_hz)
            flex = self._flex.draws(request.matings)
        if not self.noiseless or request.moment.kelvin:
            boxes = with_drift(
                boxes,
                self.definition.drift,
                request.frequency_hz,
                moment=request.moment,
                flex=np.zeros_like(flex) if self.noiseless else flex,
                cable_delay_s=self.definition.error_terms.cable_delay_s,
            )
        if request.loose is not None:
            contact = request.loose.impedance_ohm(request.frequency_hz, self.ports)
            boxes = with_series_contacts(boxes, contact, REFERENCE_OHM)
        driven = np.array([port - 1 for port in request.driven], dtype=np.intp)
        raw = raw_matrix(s, boxes, driven)
        references = reference_waves(raw, boxes, driven) if request.references else None
        if any(request.slope):
            raw *= receiver_change(request.frequency_hz, *request.slope)[:, None, None]
        if references is not None:
            raw = np.concatenate([raw, references], axis=1)
        if not self.noiseless:
            raw = with_noise(raw, request, self.definition.noise, self.seed)
        if references is not None:
            # Every reading is over that of this receiver, which is therefore one.
            raw[:, self.ports + driven, np.arange(driven.size)] = 1.0
        return raw

    def _seen(self, request: SweepRequest) -> Complex:
        attached = tuple(sorted(request.connections.items()))
        terminators = tuple(sorted(request.terminators.items()))
        key = (id(request.device), attached, terminators, request.frequency_hz.tobytes())

        def compute() -> Complex:
            return matrix_seen(
                request.frequency_hz,
                request.connections,
                self.ports,
                self._pieces,
                conductors=request.conductors,
                scattering=self._specimen_matrix(request) if request.uses_specimen else None,
                terminators=request.terminators,
            )

        return self._kept.get(key, request.device, compute)

    def _specimen_matrix(self, request: SweepRequest) -> Complex:
        key = self._specimen_key(request)

        def compute() -> Complex:
            if request.cables == (0,):
                return request.device.scatter(request.frequency_hz)
            return request.device.together(request.frequency_hz, request.cables)

        return self._kept.get(key, request.device, compute)

    @staticmethod
    def _specimen_key(request: SweepRequest) -> tuple[int, tuple[int, ...], bytes]:
        return id(request.device), request.cables, request.frequency_hz.tobytes()

    def error_boxes(self, frequency_hz: Real) -> ErrorBoxes:
        """Return the error boxes without drift."""
        key = frequency_hz.tobytes()
        boxes = self._boxes.get(key)
        if boxes is None:
            boxes = draw_error_boxes(self.definition.error_terms, self.ports, self.seed, frequency_hz)
            self._boxes = {key: boxes}
        return boxes


def _check_ports(definition: BenchDefinition, ports: int) -> None:
    most = definition.wiring.most_ports
    if ports > most:
        raise UsageError(
            f"bench {definition.name} with {ports} analyzer ports: it has no more than {most}",
            hint=f"Give at most {most} ports.",
        )
