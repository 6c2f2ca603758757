"""A share of points beyond their uncertainty decides, but not of a handful of points."""

from __future__ import annotations

import pytest

from benchsweep.qualification.comparisons._rows import _decided
from benchsweep.qualification.comparisons._uncertainty_parts import Sources
from benchsweep.records import Agreement, ComparedPoint, ComparedTrace, Parameter


@pytest.mark.parametrize(
    ("compared", "share", "e_n", "outcome"),
    [
        # One of two points, two of three: no share yet. The point that decides still does.
        (2, 0.5, 0.7, Agreement.AGREES),
        (3, 0.67, 0.7, Agreement.AGREES),
        (3, 0.67, 1.01, Agreement.DISAGREES),
        (11, 0.9, 0.7, Agreement.AGREES),
        (12, 0.26, 0.7, Agreement.DISAGREES),
        (400, 0.26, 0.7, Agreement.DISAGREES),
        (400, 0.25, 0.7, Agreement.AGREES),
    ],
)
def test_a_share_needs_points(compared: int, share: float, e_n: float, outcome: Agreement) -> None:
    point = ComparedPoint(100e6, 40.0, 40.0 + 2.0 * e_n, 2.0 * e_n, uncertainty=2.0, e_n=e_n)
    row = ComparedTrace(
        Parameter.NEXT,
        "A",
        ("36", "45"),
        Agreement.UNDECIDED,
        "",
        compared=compared,
        decisive=point,
        largest=point,
        share_beyond=share,
    )
    # The bench is asked only where an uncertainty is missing.
    found = _decided(row, None, Sources(None, None), whole=True)  # type: ignore[arg-type]
    assert found.outcome is outcome
    assert ("lie beyond" in found.words) == (compared >= 12 and share > 0.25)
