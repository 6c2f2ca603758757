from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchsweep.records._arrays import frozen_array, frozen_grid

__all__ = ["SMatrix"]


@dataclass(frozen=True, slots=True, eq=False)
class SMatrix:
    """An S-matrix with its port labels and reference impedances.

    Parameters
    ----------
    frequency_hz
        ``(n_freq,)`` float64, strictly rising.
    s
        ``(n_freq, n_port, n_port)`` complex128; ``s[f, i, j]`` = wave out of port i over wave into port j.
    ports
        One label per port, all different: legs (``A:12.1``, 50 ohm) or modes (``A:12/d``, ``A:12/c``).
    z0_ohm
        Reference impedance of each port, real.
    """

    frequency_hz: NDArray[np.float64]
    s: NDArray[np.complex128]
    ports: tuple[str, ...]
    z0_ohm: tuple[float, ...]

    def __post_init__(self) -> None:
        n = len(self.ports)
        if len(set(self.ports)) != n or len(self.z0_ohm) != n:
            raise ValueError("an S-matrix needs one label and one reference impedance for each port")
        grid = frozen_grid(self.frequency_hz)
        object.__setattr__(self, "frequency_hz", grid)
        object.__setattr__(self, "s", frozen_array(self.s, np.complex128, (grid.size, n, n), "s"))

    def has(self, label: object) -> bool:
        """Tell whether there is a port of that label."""
        return str(label) in self.ports

    def at(self, *, out: object, into: object) -> NDArray[np.complex128]:
        """Return ``(n_freq,)``: wave out of the port `out` over the wave into the port `into`, by label.

        Raises
        ------
        KeyError
            No port of that label.
        """
        try:
            return self.s[:, self.ports.index(str(out)), self.ports.index(str(into))]
        except ValueError:
            raise KeyError(f"no S-parameter from {into} to {out}; ports: {', '.join(self.ports)}") from None
