"""What tests of several commands begin with."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.simulator.specimen import load_specimen


@pytest.fixture
def touchstone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A 16-port file of a simulated cord, in a folder of its own in which the commands run."""
    monkeypatch.chdir(tmp_path)
    grid = np.linspace(1e6, 100e6, 12)
    s = load_specimen("cord-2m", seed=1).scatter(grid)
    lines = ["# Hz S RI R 50"]
    for f, matrix in zip(grid, s, strict=True):
        cells = [f"{v.real:.17g} {v.imag:.17g}" for v in matrix.ravel()]
        rows = [" ".join(cells[k : k + 4]) for k in range(0, 256, 4)]
        lines += [f"{f:.17g} {rows[0]}", *rows[1:]]
    path = tmp_path / "cord.s16p"
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
    return path
