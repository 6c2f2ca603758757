from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["scheme_accepted"]


def scheme_accepted(normal: NDArray[np.float64], tightened: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the probability of acceptance in the long run under normal and tightened inspection.

    Lots of one process, with the switching rules: to tightened after 2 of 5 or fewer consecutive lots not
    accepted, back after 5 accepted in a row; as if inspection were never discontinued, never reduced.

    Parameters
    ----------
    normal, tightened
        Probabilities of acceptance of a lot under each, of the same shape.

    Notes
    -----
    Stephens and Larson (1967): (a PN + b PT) / (a + b) with the expected numbers of lots on each severity,
    a = (2 - PN^4) / ((1 - PN) (1 - PN^4)) and b = (1 - PT^5) / ((1 - PT) PT^5). Both are multiplied by what
    would be divided by zero, so that certain acceptance and certain refusal need no rule of their own.
    """
    to_tightened = (1.0 - normal) * (1.0 - normal**4)
    on_normal = (2.0 - normal**4) * tightened**5
    on_tightened = sum(tightened**power for power in range(5)) * to_tightened
    lots = on_normal + on_tightened
    # Both are zero only where normal inspection accepts all and tightened none: it stays on normal.
    certain = lots == 0.0
    return np.where(
        certain, normal, (on_normal * normal + on_tightened * tightened) / np.where(certain, 1.0, lots)
    )
