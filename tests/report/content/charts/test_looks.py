"""Pairs are told apart by everybody: by dashes, by marker, and by colours that stay apart."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from benchsweep.records import FOUR_PAIRS
from benchsweep.report.content.charts import MARKERS, PAIR_LOOKS, pair_legend
from benchsweep.report.content.charts._looks import END_LOOKS, lightened, trace_look
from benchsweep.report.text import english

# How colours look to people without one kind of cone, on linear RGB: G. M. Machado, M. M. Oliveira, L. A. F.
# Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE Transactions on
# Visualization and Computer Graphics 15 (2009), severity 1.0; the figures from memory.
SEEN = {
    "everybody": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# Linear RGB to XYZ (IEC 61966-2-1, D65), and the white of it.
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)


def linear(colour: str) -> np.ndarray:
    """IEC 61966-2-1: from #rrggbb to linear RGB."""
    value = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def seen(colour: str, how: str) -> np.ndarray:
    return np.clip(SEEN[how] @ linear(colour), 0.0, 1.0)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIELAB (CIE 15)."""
    share = TO_XYZ @ rgb / TO_XYZ.sum(axis=1)
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def luminance(rgb: np.ndarray) -> float:
    return float(TO_XYZ[1] @ rgb)


@pytest.mark.parametrize("how", SEEN)
def test_white_stays_white(how: str) -> None:
    """The figures from memory at least leave grey alone, as the model does."""
    assert SEEN[how].sum(axis=1) == pytest.approx(1.0, abs=2e-6)


@pytest.mark.parametrize("how", SEEN)
def test_colours_of_pairs_stay_apart(how: str) -> None:
    """Two colours 2.3 apart are just told from each other beside one another; here it is many times that."""
    colours = {pair: lab(seen(look.colour, how)) for pair, look in PAIR_LOOKS.items()}
    distances = {
        (one, other): float(np.linalg.norm(colours[one] - colours[other]))
        for one, other in combinations(colours, 2)
    }
    assert min(distances.values()) > 15.0
    ends = [lab(seen(look.colour, how)) for look in END_LOOKS.values()]
    assert np.linalg.norm(ends[0] - ends[1]) > 30.0


@pytest.mark.parametrize("how", SEEN)
def test_colours_stand_out_from_white(how: str) -> None:
    """At least 3 : 1, as WCAG 2.1, criterion 1.4.11, asks of graphics."""
    for look in PAIR_LOOKS.values():
        assert 1.05 / (luminance(seen(look.colour, how)) + 0.05) >= 3.0


def test_without_colour_dashes_and_markers_tell_all() -> None:
    assert set(PAIR_LOOKS) == set(MARKERS) == set(FOUR_PAIRS)
    assert len({look.dashes for look in PAIR_LOOKS.values()}) == len(FOUR_PAIRS)
    assert len(set(MARKERS.values())) == len(FOUR_PAIRS)
    assert len({look.dashes for look in END_LOOKS.values()}) == 2


def test_the_first_pair_gives_the_line_the_second_the_marker() -> None:
    look = trace_look(("36", "78"))
    assert (look.colour, look.dashes, look.marker) == (
        PAIR_LOOKS["36"].colour,
        PAIR_LOOKS["36"].dashes,
        "diamond",
    )
    assert trace_look(("36",)).marker == ""
    assert trace_look(FOUR_PAIRS).colour not in {look.colour for look in PAIR_LOOKS.values()}
    assert trace_look(("36",), worst=True).width > trace_look(("36",)).width


def test_the_legend_says_it_in_words() -> None:
    told = pair_legend(english(), markers=True)
    for part in ("12 solid", "36 long dashes", "45 dots", "78 dash and dot", "12 circle", "78 diamond"):
        assert part in told
    assert "circle" not in pair_legend(english())


def test_lightened_is_between_the_colour_and_white() -> None:
    assert lightened("#000000") == "#737373"  # 255 x 0.45
    assert lightened("#FFFFFF") == "#FFFFFF"
