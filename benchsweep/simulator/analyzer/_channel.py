"""One measurement channel of the simulated analyzer: its settings, its measurements and its data."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.analyzer._measured import Measured, Receiver, WaveRatio, source_of
from benchsweep.simulator.analyzer._segment import Segment, segment_fault, segment_grid
from benchsweep.simulator.analyzer._style import FamilyStyle
from benchsweep.simulator.bench import Bench, BenchDefinition, SweepRequest
from benchsweep.simulator.scpi import ScpiFault

__all__ = ["Channel", "preset_grid"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

_PLAIN = FamilyStyle()
# What the analyzer believes of itself while its own correction is on, over the truth: close, and wrong.
_BELIEVED_DIRECTIVITY = 0.97
_NEW_SEGMENT_POINTS = 21
_BELIEVED_TRACKING = 1.02 * np.exp(0.01j)


def preset_grid(bench: Bench) -> tuple[float, float, int]:
    """Return start and stop in Hz and points after a preset: the specimen's own grid, or the bench's."""
    preset = bench.definition.preset
    return bench.device.grid or (preset.start_hz, preset.stop_hz, preset.points)


@dataclass(slots=True, eq=False)
class Channel:
    """Settings and data of one channel. A new one is in the preset state.

    Parameters
    ----------
    bench
        Whose ports it sweeps.
    style
        What the command family changes.
    sweep_type
        ``LIN``, ``LOG`` or ``SEGM``.
    segment_bandwidths
        Whether each segment is read with its own bandwidth, and not with the channel's.
    segment_flags
        Columns that the segment table was sent with, where it is one list: centre and span, bandwidth,
        power, delay, time.
    sweep_count
        How many sweeps one start of a sweep stands for, where the family has such a setting.
    measurements
        Name -> S-parameter or ratio of receivers, in the order of definition.
    concurrent, data_format
        Whether several functions may be measured at once, and how one trace is shown, where the family has
        such settings.
    group
        Ports of a declared group, all of which are driven too.
    """

    bench: Bench
    style: FamilyStyle = _PLAIN
    start_hz: float = 0.0
    stop_hz: float = 0.0
    points: int = 0
    sweep_type: str = "LIN"
    segments: list[Segment] = field(default_factory=list)
    segment_bandwidths: bool = False
    segment_flags: tuple[int, ...] = (0, 0, 0, 0, 0)
    if_bandwidth_hz: float = 0.0
    power_dbm: dict[int, float] = field(default_factory=dict)
    power_coupled: bool = True
    averaging: bool = False
    average_count: int = 1
    average_mode: str = "SWE"
    mode: str = "CONT"
    group_count: int = 1
    sweep_count: int = 1
    concurrent: bool = False
    data_format: str = "MLOG"
    correction: bool = True
    extension: bool = False
    extension_s: dict[int, float] = field(default_factory=dict)
    fixture: bool = False
    measurements: dict[str, Measured] = field(default_factory=dict)
    group: tuple[int, ...] = ()
    selected: str | None = None
    averaged: int = 0
    _raw: Complex | None = None
    _references: Complex | None = None
    _grid: Real | None = None
    _conditions: tuple[object, ...] = ()

    def __post_init__(self) -> None:
        preset = self.bench.definition.preset
        self.start_hz, self.stop_hz, self.points = preset_grid(self.bench)
        self.if_bandwidth_hz = preset.if_bandwidth_hz
        ports = range(1, self.bench.ports + 1)
        self.power_dbm = dict.fromkeys(ports, preset.power_dbm)
        self.segments = [self.new_segment() for _ in range(self.style.first_segments)]
        self.segment_bandwidths = self.style.segment_bandwidths
        self.average_mode = self.style.average_mode
        self.mode = "CONT" if self.style.continuous else "HOLD"
        self.extension = self.style.extension_s > 0
        self.extension_s = {port: self.style.extension_s * (1 + 0.1 * (port - 1)) for port in ports}

    @property
    def definition(self) -> BenchDefinition:
        """The bench file."""
        return self.bench.definition

    def new_segment(self) -> Segment:
        """Return a segment as it is when it has just been added."""
        on = self.style.segments_start_on
        return Segment(self.start_hz, self.stop_hz, _NEW_SEGMENT_POINTS, self.if_bandwidth_hz, on)

    @property
    def swept_segments(self) -> list[Segment]:
        """The segments that take part, in order."""
        return [segment for segment in self.segments if segment.on]

    @property
    def frequency_hz(self) -> Real:
        """The grid of the present settings, ``(points,)``."""
        if self.sweep_type == "SEGM":
            return segment_grid(self.swept_segments)
        space = np.geomspace if self.sweep_type == "LOG" else np.linspace
        return np.asarray(space(self.start_hz, self.stop_hz, self.points), dtype=np.float64)

    @property
    def bandwidths_hz(self) -> tuple[tuple[int, float], ...]:
        """Points and the bandwidth that they are read with, part after part of the sweep."""
        if self.sweep_type != "SEGM":
            return ((self.points, self.if_bandwidth_hz),)
        own = self.segment_bandwidths
        return tuple(
            (one.points, one.if_bandwidth_hz if own else self.if_bandwidth_hz) for one in self.swept_segments
        )

    @property
    def driven(self) -> tuple[int, ...]:
        """The ports that a sweep drives: the sources of the defined measurements and the group, rising."""
        return tuple(
            sorted({source_of(measured) for measured in self.measurements.values()} | set(self.group))
        )

    @property
    def reads_references(self) -> bool:
        """True when a sweep needs more than the reference receiver of the driven port."""
        return any(isinstance(measured, WaveRatio) for measured in self.measurements.values())

    def check_sweep(self) -> None:
        """Raise -221 when there is nothing to sweep."""
        if not self.driven:
            raise ScpiFault(-221, "no measurement defined")
        self.check_segments(self.sweep_type)

    def check_segments(self, sweep_type: str) -> None:
        """Raise -221 when a sweep of that type is one of segments, and they cannot be swept."""
        if sweep_type == "SEGM":
            fault = segment_fault(self.swept_segments, self.definition.analyzer.max_points)
            if fault:
                raise ScpiFault(-221, fault)

    @property
    def readings(self) -> int:
        """Readings of each point within one sweep."""
        return self.average_count if self.averaging and self.average_mode == "POIN" else 1

    @property
    def pass_duration_s(self) -> float:
        """Duration of one sweep with one driven port."""
        return self.readings * sum(self.bench.pass_duration_s(n, width) for n, width in self.bandwidths_hz)

    @property
    def stated_duration_s(self) -> float:
        """Duration of one sweep with one driven port as the analyzer states it, which may be wrong."""
        if self.style.sweep_time_knows_segments:
            return self.pass_duration_s
        return self.readings * self.bench.pass_duration_s(self.points, self.if_bandwidth_hz)

    def prepare(self, sweeps: int) -> SweepRequest:
        """Return the request for `sweeps` sweeps, whose readings are averaged when averaging is on.

        Without averaging only the last sweep is kept.
        """
        averaged = sweeps if self._averages_sweeps else 1
        power = {port: self.power_dbm[port] for port in self.driven}
        readings = self.readings * min(averaged, self.average_count)
        lasts = self.pass_duration_s * len(power) * sweeps
        parts = self.bandwidths_hz
        width = (
            parts[0][1]
            if len(parts) == 1
            else np.repeat([one[1] for one in parts], [one[0] for one in parts])
        )
        references = self.reads_references
        return self.bench.prepare(self.frequency_hz, power, width, readings, lasts, references=references)

    @property
    def _averages_sweeps(self) -> bool:
        return self.averaging and self.average_mode != "POIN"

    def clear_averages(self) -> None:
        """Begin averaging anew with the next sweep."""
        self.averaged = 0

    def store(self, request: SweepRequest, raw: Complex, sweeps: int) -> None:
        """Keep what a sweep read, as `Bench.measure` returned it; columns of other ports stay as they are."""
        n = self.bench.ports
        if self._raw is None or self._grid is None or not np.array_equal(self._grid, request.frequency_hz):
            self._raw = np.zeros((request.frequency_hz.size, n, n), dtype=np.complex128)
            self._references = np.zeros(self._raw.shape, dtype=np.complex128)
            self._grid = request.frequency_hz
            self.averaged = 0
        width = np.asarray(request.if_bandwidth_hz).tobytes()
        conditions = (request.driven, request.power_dbm, width, self.average_mode, request.references)
        if conditions != self._conditions:
            self.averaged = 0
        self._conditions = conditions
        columns = np.array(request.driven, dtype=np.intp) - 1
        # A running mean up to the count, then an exponential one.
        before = min(self.averaged, self.average_count) if self._averages_sweeps else 0
        fresh = min(sweeps, self.average_count)
        kept = before if before + fresh <= self.average_count else self.average_count - fresh
        for held, read in ((self._raw, raw[:, :n]), (self._references, raw[:, n:])):
            if held is not None and read.size:
                with np.errstate(invalid="ignore"):  # an overload stays one in the mean
                    mean = (kept * held[:, :, columns] + fresh * read) / (kept + fresh) if kept else read
                held[:, :, columns] = mean
        self.averaged = self.averaged + sweeps if self._averages_sweeps else 0

    def read(self, receivers: NDArray[np.intp], sources: NDArray[np.intp]) -> Complex:
        """Return ``(points, n_receivers, n_sources)`` as the analyzer hands it out; indices count from 0.

        Zeros when nothing has been swept on the present grid. The analyzer's own correction and its port
        extension are applied where they are on.
        """
        grid = self.frequency_hz
        data = self.read_raw(receivers, sources)
        if not data.any():
            return data
        if self.correction:
            boxes = self.bench.error_boxes(grid)
            same = receivers[:, None] == sources
            believed = boxes.directivity[:, receivers, None] * _BELIEVED_DIRECTIVITY * same
            tracking = boxes.receiver_path[:, receivers, None] * boxes.source_path[:, None, sources]
            data = (data - believed) / (tracking * _BELIEVED_TRACKING)
        if self.extension:
            delay_s = np.array([self.extension_s[port + 1] for port in range(self.bench.ports)])
            turn = delay_s[receivers][:, None] + delay_s[sources]
            data = data * np.exp(2j * np.pi * grid[:, None, None] * turn)
        return np.asarray(data, dtype=np.complex128)

    def read_raw(self, receivers: NDArray[np.intp], sources: NDArray[np.intp]) -> Complex:
        """Return ``(points, n_receivers, n_sources)`` as the receivers read it; zeros where nothing was."""
        grid = self.frequency_hz
        if self._raw is None or self._grid is None or not np.array_equal(self._grid, grid):
            return np.zeros((grid.size, receivers.size, sources.size), dtype=np.complex128)
        return self._raw[:, receivers[:, None], sources]

    def read_ratio(self, ratio: WaveRatio) -> Complex:
        """Return one receiver over another, ``(points,)``; zeros where nothing was swept on this grid.

        Not a number where neither received anything.
        """
        grid = self.frequency_hz
        if self._grid is None or not np.array_equal(self._grid, grid):
            return np.zeros(grid.size, dtype=np.complex128)
        with np.errstate(divide="ignore", invalid="ignore"):
            quotient = self._wave(ratio.over, ratio.source) / self._wave(ratio.under, ratio.source)
        return np.asarray(quotient)

    def _wave(self, receiver: Receiver, source: int) -> Complex:
        held = self._references if receiver.wave == "A" else self._raw
        if held is None:
            return np.zeros(self.frequency_hz.size, dtype=np.complex128)
        return held[:, receiver.port - 1, source - 1]
