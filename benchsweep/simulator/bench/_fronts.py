"""What stands between the ends of the test cables and the legs, as networks: baluns and fixture halves.

Both are made of parts that are lossless or matched by themselves, joined wave by wave, so that they are
reciprocal and passive by construction, and all coefficients are real, so that their response in time is real.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchsweep.simulator.bench._networks import amplitude, behind, cascade, delay, line, root_loss
from benchsweep.simulator.bench._pieces_definition import Baluns, FixtureHalf

__all__ = ["MODES", "balun", "fixture_half"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

MODES = np.array([[1.0, -1.0], [1.0, 1.0]]) / np.sqrt(2.0)
"""Differential (100 ohm) and common (25 ohm) wave of the waves of the legs (50 ohm each)."""

_BALUN_STREAM = 14
_HALF_STREAM = 15
# From the leads of the transformer to the contacts, and how much longer the unwanted ways are: at most.
_LEADS_S = (20e-12, 60e-12)
_DETOUR_S = 150e-12
_TAP_LAST = np.array([0, 2, 3, 1])
# What is left of the difference to the declared balance after a round is about a tenth.
_ROUNDS = 4


def balun(definition: Baluns, seed: int, number: int, frequency_hz: Real) -> Complex:
    """Return one balun.

    Parameters
    ----------
    definition
        What all baluns of the bench are like.
    seed, number
        Of the bench; number of the balun, from 1.
    frequency_hz
        ``(n_freq,)``.

    Returns
    -------
    ``(n_freq, 4, 4)`` with a tap, ports: unbalanced, tap, positive leg, negative leg. ``(n_freq, 3, 3)``
    without: unbalanced, positive leg, negative leg. 50 ohm at each.

    Notes
    -----
    From the ports to the legs: a mismatch and a way with loss and delay for each mode; a lossless mixing of
    the two modes; a lossless mismatch of both modes, which turns one into the other by the balance too; the
    leads. So much is mixed that the whole, with the tap ended as it is, has the declared output signal
    balance; the rejection is the same by reciprocity.
    """
    rng = np.random.default_rng((seed, _BALUN_STREAM, number))
    omega = 2.0 * np.pi * frequency_hz

    def about(value: float) -> float:
        return value * (1.0 + definition.spread * float(rng.standard_normal()))

    def sign() -> float:
        return float(rng.choice((-1.0, 1.0)))

    # Two mismatches that add up in the root mean square.
    mismatch = amplitude(-definition.return_loss_db) / np.sqrt(2.0)
    common_loss_db, common_mismatch = 0.0, 0.0
    # Drawn in any case, so that the rest does not depend on how the tap is ended.
    ending_sign = sign()
    ends_in = None
    if definition.tapped:
        common_loss_db = definition.insertion_loss_db
        common_mismatch = (
            amplitude(-definition.common_mode_return_loss_db) / np.sqrt(2.0)
            if definition.common_mode_return_loss_db is not None
            else mismatch
        )
    elif definition.common_mode_return_loss_db is None:
        ends_in = 1.0
    else:
        ends_in = amplitude(-definition.common_mode_return_loss_db) * ending_sign
    balance = amplitude(-definition.output_signal_balance_db)
    near = _both(
        cascade(
            _step(sign() * about(mismatch)), _way(omega, about(definition.insertion_loss_db), definition)
        ),
        cascade(_step(sign() * about(common_mismatch)), _way(omega, about(common_loss_db), definition)),
    )
    wanted = sign() * balance * delay(omega, rng.uniform(0.0, _DETOUR_S))
    turn = sign() * balance
    far = np.array([[sign() * about(mismatch), turn], [turn, sign() * about(common_mismatch)]])
    beyond = cascade(_junction(far), _matched(delay(omega, rng.uniform(*_LEADS_S))))

    def made(mixed: Complex) -> Complex:
        """Return the balun, modes at its far ports."""
        whole = cascade(near, _mixing(mixed), beyond)
        if ends_in is None:
            return whole
        tap = np.full((omega.size, 1, 1), ends_in, dtype=np.complex128)
        return behind(whole[:, _TAP_LAST[:, None], _TAP_LAST], tap)

    mixed = wanted
    for _ in range(_ROUNDS):
        found = made(mixed)
        mixed = mixed + wanted - found[:, -1, 0] / found[:, -2, 0]
    return _far_ports_turned(made(mixed))


def fixture_half(
    definition: FixtureHalf, seed: int, number: int, frequency_hz: Real, *, as_defined: bool
) -> Complex:
    """Return one fixture half, ``(n_freq, 4, 4)``; ports: coaxial 1 and 2, leg 1 and 2, 50 ohm each.

    Parameters
    ----------
    seed, number
        Of the bench; number of the half, from 1.
    as_defined
        Without the deviation that `seed` draws.
    """
    rng = np.random.default_rng((seed, _HALF_STREAM, number))
    omega = 2.0 * np.pi * frequency_hz
    loss = root_loss(omega, definition.loss_db_at_500_mhz)
    scale = 0.0 if as_defined else definition.impedance_spread
    even, odd = (
        line(loss + 1j * omega * seconds, ohm * (1.0 + scale * float(rng.standard_normal())))
        for ohm, seconds in (
            (definition.impedance_even_ohm, definition.delay_even_s),
            (definition.impedance_odd_ohm, definition.delay_odd_s),
        )
    )
    both = np.kron(np.eye(2), MODES)
    return np.asarray(both.T @ _both(odd, even) @ both)


def _step(rho: float) -> Complex:
    """Return a lossless step of impedance."""
    through = np.sqrt(1.0 - rho**2)
    return np.array([[[rho, through], [through, -rho]]], dtype=np.complex128)


def _way(omega: Real, loss_db: float, definition: Baluns) -> Complex:
    """Return a matched way; half of its loss at 500 MHz does not depend on frequency."""
    half = loss_db / 2.0
    through = amplitude(-half) * np.exp(-root_loss(omega, half)) * delay(omega, definition.delay_s)
    s = np.zeros((omega.size, 2, 2), dtype=np.complex128)
    s[:, 0, 1] = s[:, 1, 0] = through
    return s


def _both(first: Complex, second: Complex) -> Complex:
    """Return two two-ports beside each other, both near ports first."""
    s = np.zeros((max(len(first), len(second)), 4, 4), dtype=np.complex128)
    for place, one in enumerate((first, second)):
        where = np.array([place, place + 2])
        s[:, where[:, None], where] = one
    return s


def _mixing(share: Complex) -> Complex:
    """Return a matched lossless network that passes `share` ``(n_freq,)`` of one mode to the other."""
    straight = np.sqrt(1.0 - np.abs(share) ** 2)
    s = np.zeros((share.size, 4, 4), dtype=np.complex128)
    s[:, 2, 0] = s[:, 0, 2] = s[:, 3, 1] = s[:, 1, 3] = straight
    s[:, 3, 0] = s[:, 0, 3] = share
    s[:, 2, 1] = s[:, 1, 2] = -share.conj()
    return s


def _junction(reflection: NDArray[np.float64]) -> Complex:
    """Return the lossless network that reflects `reflection` (real, symmetric) at its far side."""
    values, vectors = np.linalg.eigh(reflection)
    through = vectors @ np.diag(np.sqrt(1.0 - values**2)) @ vectors.T
    return np.array([np.block([[-reflection, through], [through, reflection]])], dtype=np.complex128)


def _matched(through: Complex) -> Complex:
    s = np.zeros((through.size, 4, 4), dtype=np.complex128)
    s[:, 0, 2] = s[:, 2, 0] = s[:, 1, 3] = s[:, 3, 1] = through
    return s


def _far_ports_turned(s: Complex) -> Complex:
    """Return `s` with the waves of legs at its last two ports instead of those of modes."""
    turn = np.eye(s.shape[-1])
    turn[-2:, -2:] = MODES
    return np.asarray(turn.T @ s @ turn)
