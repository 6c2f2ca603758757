"""From budget terms to the random variables that they stand for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchsweep.records import StandardTerm, SweepSettings
from benchsweep.uncertainty import _budget as terms
from benchsweep.uncertainty._layout import Circumstances, thru_known, thru_ratio
from benchsweep.uncertainty._variables import Additive, Source, Space, What

__all__ = ["CABLE", "CONTACT", "collect_sources"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

CONTACT = (1.0, -2.0, 1.0, 1.0, -1.0)
"""A series contact in terms of D, R, source match, load match and transmission tracking."""
CABLE = (0.0, 2.0, 0.0, 0.0, 1.0)
"""A test cable that changed: each way through a port once, a reflection twice."""
_DIRECTIVITY = (1.0, 0.0, 0.0, 0.0, 0.0)
_RESIDUALS = {
    "directivity": _DIRECTIVITY,
    "source-match": (0.0, 0.0, 1.0, 0.0, 0.0),
    "load-match": (0.0, 0.0, 0.0, 1.0, 0.0),
}
_MATCH = (0.0, 0.0, 1.0, 1.0, 0.0)

_REFERENCE_OHM = 50.0
_NEPER_PER_DB = np.log(10.0) / 20.0
_ONE_PORT = frozenset({"open", "short", "load", "reflect"})


def collect_sources(
    budget: terms.Budget, frequency_hz: Real, circumstances: Circumstances, *, of_modes: bool, tapped: bool
) -> tuple[list[Source], list[Additive]]:
    """Return what the terms of `budget` stand for under the given circumstances.

    Parameters
    ----------
    of_modes
        The matrix was measured behind baluns.
    tapped
        Its common modes were measured, too.
    """
    maker = _Maker(frequency_hz, circumstances, of_modes=of_modes, tapped=tapped)
    for number, term in enumerate(budget.term):
        maker.add(number, term)
    return maker.sources, maker.additive


def _circular(amplitude: Real) -> Complex:
    return np.asarray(np.array([amplitude, 1j * amplitude]) * np.sqrt(0.5), dtype=np.complex128)


class _Maker:
    def __init__(
        self, frequency_hz: Real, circumstances: Circumstances, *, of_modes: bool, tapped: bool
    ) -> None:
        self.f = frequency_hz
        self.omega = 2.0 * np.pi * frequency_hz
        self.of_modes, self.tapped = of_modes, tapped
        self.given = circumstances
        self._of_standard: dict[int, Complex] = {}
        self.sources: list[Source] = []
        self.additive: list[Additive] = []

    def add(self, number: int, term: terms.Term) -> None:
        match term:
            case terms.Directivity() | terms.SourceMatch() | terms.LoadMatch():
                residual = _RESIDUALS[term.kind]
                self._terms(number, "analyzer", residual, _circular(term.level_db.amplitude(self.f)))
            case terms.Tracking():
                amplitude = term.level_db.amplitude(self.f)
                self._terms(number, "analyzer", CABLE, _circular(amplitude), "cable")
            case terms.DriftTemperature() | terms.DriftWalk():
                self._drift(number, term)
            case terms.Contact():
                self._contact(number, term)
            case terms.Flexing():
                self._flexing(number, term)
            case terms.Termination():
                self._termination(number, term)
            case terms.Standards():
                self._standards(number)
            case _:
                self._waves(number, term)

    def _of(self, term: StandardTerm) -> Complex:
        """Return the sensitivity to a standard, one array for all that happens to it."""
        if id(term) not in self._of_standard:
            self._of_standard[id(term)] = _of_standard(term)
        return self._of_standard[id(term)]

    def _terms(
        self,
        number: int,
        space: Space,
        sensitivity: Sequence[float],
        directions: Complex,
        what: What = "terms",
    ) -> None:
        base = np.array([sensitivity], dtype=np.complex128)
        self.sources.append(Source(number, space, base, directions, what))

    def _at_standards(self, number: int, deviations: Sequence[tuple[StandardTerm, Complex]]) -> None:
        """Let standards deviate at every port by itself, ``(n_variable, n_freq)`` directions each."""
        for term, directions in deviations:
            self.sources.append(Source(number, "analyzer", self._of(term), directions))

    def _contact(self, number: int, term: terms.Contact) -> None:
        z = np.array(
            [np.full(self.f.size, term.resistance_ohm), 1j * self.omega * term.inductance_ph * 1e-12]
        )
        d: Complex = np.asarray(z / (2.0 * _REFERENCE_OHM), dtype=np.complex128)
        if self.of_modes:
            self.sources.append(Source(number, "leg", np.ones((1, 1), dtype=np.complex128), d, "leg"))
            d = d * np.sqrt(0.5)  # the mean of two legs, at the standards
        else:
            self._terms(number, "mating", CONTACT, d, "contact")
        if not term.at_calibration:
            return
        reflections, transmissions = self._mated("reflection"), self._mated("transmission")
        through = {standard.standard: standard.nominal for standard in transmissions}
        for standard in reflections:
            if standard.standard in _ONE_PORT:
                directions = d * (1.0 - standard.nominal) ** 2
            else:  # both ends of a two-port reflect: d_1 + t^2 d_2
                directions = np.concatenate([d, through.get(standard.standard, np.ones(1)) ** 2 * d])
            self._at_standards(number, [(standard, directions)])
        for standard in transmissions:
            self._at_standards(number, [(standard, -np.sqrt(2.0) * standard.nominal * d)])
        if not any(standard.standard == "thru" for standard in reflections):
            self._known_thru_reflects(number, d)

    def _known_thru_reflects(self, number: int, d: Complex) -> None:
        """Contacts at a thru whose reflection has no uncertainty of its own: ``L = -(d_1 + t^2 d_2) / t^2``.

        By short-open-load-thru the load match is what makes a thru come back to its definition. Whether a
        calibration was of that kind, and t, show in what an error of directivity did to the load match:
        ``L = -D / t^2`` whatever the standard, where other methods have one match for driven and undriven.
        """
        if not thru_known(self.given):
            return
        known = {term.standard: term for term in self.given.standard_terms if term.quantity == "reflection"}
        ratio = thru_ratio(known["load"])
        sensitivity = np.zeros((self.f.size, 5), dtype=np.complex128)
        sensitivity[:, 3] = ratio
        self.sources.append(Source(number, "analyzer", sensitivity, np.concatenate([d, -d / ratio])))

    def _mated(self, quantity: Literal["reflection", "transmission"]) -> list[StandardTerm]:
        """Return one term of each standard: what a mating does does not depend on how it is known."""
        found: dict[str, StandardTerm] = {}
        for term in self.given.standard_terms:
            if term.quantity == quantity:
                found.setdefault(term.standard, term)
        return list(found.values())

    def _flexing(self, number: int, term: terms.Flexing) -> None:
        gain = np.full(self.f.size, 0.5 * term.gain_db * _NEPER_PER_DB)
        change = np.array([gain, -1j * self.omega * term.delay_ps * 1e-12])
        self._terms(number, "mating", CABLE, change, "cable")
        if term.mismatch_db is not None:
            size = np.sqrt(np.sum(np.abs(change) ** 2, axis=0))
            mismatch = _circular(2.0 * size * term.mismatch_db.amplitude(self.f))
            for kind in ("directivity", "source-match"):
                self._terms(number, "mating", _RESIDUALS[kind], mismatch)
            for standard in self._mated("reflection") if term.at_calibration else ():
                if standard.standard in _ONE_PORT:
                    self._at_standards(number, [(standard, mismatch)])
        if term.at_calibration:
            for standard in self._mated("reflection"):
                if standard.standard in _ONE_PORT:
                    self._at_standards(number, [(standard, 2.0 * change * standard.nominal)])
            for standard in self._mated("transmission"):
                self._at_standards(number, [(standard, np.sqrt(2.0) * change * standard.nominal)])

    def _termination(self, number: int, term: terms.Termination) -> None:
        directions = [
            np.full(self.f.size, term.resistance_ohm / (2.0 * _REFERENCE_OHM), dtype=np.complex128),
            -0.5j * self.omega * term.capacitance_pf * 1e-12 * _REFERENCE_OHM,
        ]
        if term.level_db is not None:
            directions += [*_circular(term.level_db.amplitude(self.f))]
        self._terms(number, "termination", (1.0,), np.array(directions), "termination")

    def _drift(self, number: int, term: terms.DriftTemperature | terms.DriftWalk) -> None:
        hours = max(self.given.hours, term.least_h)
        if isinstance(term, terms.DriftWalk):
            for sensitivity, level in ((_DIRECTIVITY, term.directivity_db), (_MATCH, term.match_db)):
                grown = np.sqrt(hours) * level.amplitude(self.f)
                self._terms(number, "analyzer", sensitivity, _circular(grown))
            return
        seconds = 3600.0 * hours
        kelvin = term.kelvin * np.sqrt(2.0 * (1.0 - np.exp(-seconds / term.time_constant_s)))
        gain = 0.5 * term.gain_db_per_k * _NEPER_PER_DB
        change = kelvin * (gain - 1j * self.omega * term.delay_ps_per_k * 1e-12)
        self._terms(number, "common", CABLE, change[None, :], "cable")

    def _standards(self, number: int) -> None:
        for term in self.given.standard_terms:
            directions = np.array([term.real + 0j, 1j * term.imaginary])
            space = "common" if term.same_piece else "analyzer"
            self.sources.append(Source(number, space, self._of(term), directions))

    def _waves(self, number: int, term: terms.Term) -> None:
        match term:
            case terms.NoiseTerm():
                self._noise(number, term)
            case terms.Crosstalk():
                level = term.level_db.amplitude(self.f)
                # Of the four entries of a pair's own block the two on the diagonal have none.
                own = 0.0 * level if self.of_modes else np.sqrt(0.5) * level
                self.additive.append(
                    Additive(number, np.array([own, level, level, level]), fresh=False, off_diagonal=True)
                )
            case terms.Floor():
                level = term.level_db.amplitude(self.f)
                only = frozenset(term.parameters)
                self.additive.append(Additive(number, np.array([level] * 4), fresh=False, parameters=only))
            case terms.BalanceTerm():
                self._balance(number, term)

    def _noise(self, number: int, term: terms.NoiseTerm) -> None:
        floor, trace = noise_levels(term, self.f, self.given.settings)
        self.additive.append(Additive(number, np.array([floor] * 4), fresh=True))
        self.additive.append(Additive(number, np.array([trace] * 4), fresh=True, relative=True))
        for quantity in ("reflection", "transmission"):
            for standard in self._mated(quantity):
                reading = np.hypot(floor, trace * np.abs(standard.nominal))
                self._at_standards(number, [(standard, _circular(reading))])

    def _balance(self, number: int, term: terms.BalanceTerm) -> None:
        if not self.of_modes:
            return
        if self.tapped:
            unit = np.ones(self.f.size)
            for base in np.eye(4):
                self._terms(number, "balance", tuple(base), _circular(unit), "balance")
            return
        osb, cmr, reflection = self._worst_balance(term)
        conversion = np.sqrt([level.amplitude(self.f) ** 2 for level in term.assumed_conversion_db])
        # Out or in at a balun: at one and the same both ways add up as waves.
        direct = np.hypot(osb, cmr) * conversion
        direct[0] = (osb + cmr) * conversion[0]
        # Into the unmeasured common mode and, by what some balun reflects of it, back.
        again = reflection * np.sqrt(_twice(conversion**2))
        self.additive.append(Additive(number, np.hypot(direct, again), fresh=False))
        # What the balanced side of a balun reflects from one mode into the other is as small as its balance.
        self.additive.append(Additive(number, osb * conversion, fresh=False, carried=True))

    def _worst_balance(self, term: terms.BalanceTerm) -> tuple[Real, Real, Real]:
        figures = (
            term.output_signal_balance_db,
            term.common_mode_rejection_db,
            term.common_mode_reflection_db,
        )
        if self.given.balance:
            one, two, three = (
                np.max([values[place] for values in self.given.balance.values()], axis=0)
                for place in range(3)
            )
            return one, two, three
        one, two, three = (figure.amplitude(self.f) for figure in figures)
        return one, two, three


def _twice(power: Real) -> Real:
    """Return ``(4, n_freq)``: mean square of ``sum over k of C_ik C_kj``, of four pairs; `power` is of C."""
    own, through, near, far = power
    return np.array(
        [
            own**2 + through**2 + 3.0 * (near**2 + far**2),
            2.0 * own * through + 6.0 * near * far,
            2.0 * (own * near + through * far + near**2 + far**2),
            2.0 * (own * far + through * near) + 4.0 * near * far,
        ]
    )


def _of_standard(term: StandardTerm) -> Complex:
    """Return ``(n_freq, 5)``; each of the two ports of a path has half of the transmission tracking."""
    return np.stack(
        [
            term.directivity,
            term.reflection_tracking,
            term.source_match,
            term.load_match,
            0.5 * term.transmission_tracking,
        ],
        axis=1,
    )


def noise_levels(
    term: terms.NoiseTerm, frequency_hz: Real, settings: SweepSettings | None
) -> tuple[Real, Real]:
    """Return the rms additive floor at the reference plane and relative trace noise, ``(n_freq,)``."""
    bandwidth = np.full(frequency_hz.size, term.assumed_if_bandwidth_hz)
    power_dbm, averages = term.assumed_power_dbm, 1
    if settings is not None:
        bandwidth[:] = settings.if_bandwidth_hz
        power_dbm, averages = settings.power_dbm, max(settings.averages, 1)
        for segment in settings.segments:
            if segment.if_bandwidth_hz is not None:
                within = (frequency_hz >= segment.start_hz) & (frequency_hz <= segment.stop_hz)
                bandwidth[within] = segment.if_bandwidth_hz
    floor_dbm = term.floor_dbm_in_10_hz + 10.0 * np.log10(bandwidth / 10.0)
    floor = 10.0 ** ((floor_dbm - power_dbm + term.path_loss_db.at(frequency_hz)) / 20.0)
    trace_db = np.maximum(
        term.trace_noise_db_rms_at_1_khz * np.sqrt(bandwidth / 1e3), term.trace_noise_db_rms_least
    )
    trace = 10.0 ** (trace_db / 20.0) - 1.0
    return floor / np.sqrt(averages), trace / np.sqrt(averages)
