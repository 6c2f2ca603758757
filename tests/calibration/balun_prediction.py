"""What a calibration of the differential mode through baluns leaves, derived from the waves at a balun.

A balun with x, y at its 50 ohm side, b from the device and a into it (matches r and m, through t,
conversions e1 from the 50 ohm side and e2 from d to c, common-mode reflection G):
``y = r x + t b_d + e1 b_c``, ``a_d = t x + m b_d + e2 b_c``, ``a_c = e1 x + e2 b_d + G b_c``.
A calibration of the differential mode takes ``b' = (y - r x) / t`` and ``a' = t x + m b'`` for the waves.
With ``eta = e1 / t`` and ``kappa = m eta - e2`` this is, exactly,

    b_d = b' - eta b_c      a_d = a' - kappa b_c      a_c = eta a' - kappa b' + (G - e2 eta) b_c

so that, all of these being diagonal matrices over the ports behind baluns, with G' = G - e2 eta and
Q = (1 - Scc G')^-1 a device with the parts Sdd, Sdc, Scd, Scc is seen off by

    E0 = Sdc G' Q Scd                   common mode that the baluns send back; S0 = Sdd + E0
    E1 = (eta - S0 kappa) Q Scd + Sdc (1 + G' Q Scc) (eta - kappa S0)       balance times conversion
    E2 = (eta - S0 kappa) Q Scc (eta - kappa S0)                            balance squared

The standards do not convert: they are seen off by their own E2 alone, g (eta - z kappa)^2 / (1 - g G') with
g the reflection of the common mode and z that of the differential one. Deviations dO, dS, dL of open, short
and load leave the quadratic that takes their negative values at z = 1, -1 and 0: D = -dL,
R = -(dO - dS) / 2, M = dL - (dO + dS) / 2 and, transmissions being joined by reciprocity (unknown thru),

    Ec = D + (R S + S R) / 2 + S M S.

E0 + E1 + E2 + Ec is the prediction. The bound knows the sizes but no phases of the conversions: |E0| plus,
for each balun, |eta| = OSB / t and |kappa| <= OSB (1 + m / t), times the size of what they multiply in E1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.calibration.balun_network import LOSS, MATCH, Baluns, one_port_standard


def _diagonal(values: np.ndarray) -> np.ndarray:
    return values[:, :, None] * np.eye(values.shape[1])


def _conversions(baluns: Baluns, ports: tuple[int, ...]) -> tuple[np.ndarray, ...]:
    """eta, kappa, Gamma' of the head, each diagonal."""
    at = list(ports)
    eta = baluns.out[:, at] / baluns.through[:, at]
    kappa = baluns.match[:, at] * eta - baluns.back[:, at]
    return _diagonal(eta), _diagonal(kappa), _diagonal(baluns.common[:, at] - baluns.back[:, at] * eta)


def _parts(matrix: np.ndarray) -> tuple[np.ndarray, ...]:
    d, c = slice(0, None, 2), slice(1, None, 2)
    return matrix[:, d, d], matrix[:, d, c], matrix[:, c, d], matrix[:, c, c]


def orders(baluns: Baluns, ports: tuple[int, ...], matrix: np.ndarray) -> tuple[np.ndarray, ...]:
    """E0, E1, E2 of the head for a device in modes."""
    eta, kappa, gamma = _conversions(baluns, ports)
    dd, dc, cd, cc = _parts(matrix)
    one = np.eye(len(ports))
    loop = np.linalg.inv(one - cc @ gamma)
    zeroth = dc @ gamma @ loop @ cd
    seen = dd + zeroth
    left, right = eta - seen @ kappa, eta - kappa @ seen
    first = left @ loop @ cd + dc @ (one + gamma @ loop @ cc) @ right
    return zeroth, first, left @ loop @ cc @ right


def of_the_standards(baluns: Baluns, ports: tuple[int, ...], s: np.ndarray) -> np.ndarray:
    """Ec of the head, for the unknown thru."""

    def deviation(differential: complex, common: complex) -> np.ndarray:
        return np.stack(
            [orders(baluns, (port,), one_port_standard(differential, common))[2][:, 0, 0] for port in ports],
            axis=1,
        )

    open_, short, load = deviation(1, 1), deviation(-1, -1), deviation(0, 0)
    tracking = _diagonal((open_ - short) / 2)
    return (
        -_diagonal(load) - (tracking @ s + s @ tracking) / 2 - s @ _diagonal((open_ + short) / 2 - load) @ s
    )


@dataclass(frozen=True)
class Bound:
    """|E0| + max |E1| ``(n_freq, 2, 2)`` of two ports; what eta and kappa of each balun multiply in E1."""

    zeroth: np.ndarray
    of_eta: np.ndarray  # (2 baluns, n_freq, 2, 2)
    of_kappa: np.ndarray
    size: np.ndarray


def bound(baluns: Baluns, pair: tuple[int, int], matrix: np.ndarray, balance_db: int) -> Bound:
    gamma = _conversions(baluns, pair)[2]
    dd, dc, cd, cc = _parts(matrix)
    loop = np.linalg.inv(np.eye(2) - cc @ gamma)
    zeroth = dc @ gamma @ loop @ cd
    seen, out_of, into = dd + zeroth, loop @ cd, dc @ (np.eye(2) + gamma @ loop @ cc)
    pick = [np.diag(row) for row in np.eye(2)]
    of_eta = np.stack([one @ out_of + into @ one for one in pick])
    of_kappa = np.stack([-(seen @ one @ out_of) - into @ one @ seen for one in pick])
    balance = 10 ** (-balance_db / 20)
    size = np.abs(zeroth) + balance / LOSS * np.abs(of_eta).sum(0)
    return Bound(zeroth, of_eta, of_kappa, size + balance * (1 + MATCH / LOSS) * np.abs(of_kappa).sum(0))


def worst_placed(
    baluns: Baluns, pair: tuple[int, int], limits: Bound, point: int, entry: tuple[int, int]
) -> Baluns:
    """Turn conversions and matches so that at `point` all that is in E1 adds up with E0 in `entry`."""
    turned = {name: getattr(baluns, name).copy() for name in ("out", "back", "match")}
    phase = np.angle(limits.zeroth[point][entry]) if np.abs(limits.zeroth[point][entry]) > 0 else 0.0
    for m, port in enumerate(pair):
        eta = phase - np.angle(limits.of_eta[m, point][entry])
        kappa = phase - np.angle(limits.of_kappa[m, point][entry])
        wanted = {
            "out": eta + np.angle(baluns.through[point, port]),
            "back": kappa + np.pi,
            "match": kappa - eta,
        }
        for name, angle in wanted.items():
            turned[name][:, port] *= np.exp(1j * (angle - np.angle(turned[name][point, port])))
    return replace(baluns, **turned)
