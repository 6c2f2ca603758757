"""From single-ended legs to differential and common modes, by label; modes pass through.

Conventions (Bockelman and Eisenstadt, IEEE Trans. MTT 43, 1995): the differential voltage is that of the
positive leg (first contact of the pair) over the negative one, the differential current half the difference
of their currents; the common voltage is the mean, the common current the sum. Two 50 ohm legs make 100 ohm
differential and 25 ohm common.
Ports of the result: ``A:12/d`` … ``B:78/d``, then ``A:12/c`` … ``B:78/c``; of a bundle those of the specimen
before those of the disturbing cables (``3.A:12/d``).
"""

from benchsweep.mixedmode._convert import to_mixed_mode
from benchsweep.mixedmode._touchstone_layout import is_mixed_mode
from benchsweep.mixedmode._touchstone_read import mixed_mode_legs
from benchsweep.mixedmode._touchstone_write import mixed_mode_text

__all__ = ["is_mixed_mode", "mixed_mode_legs", "mixed_mode_text", "to_mixed_mode"]
