"""Name the fault and say where it is, from physical evidence: what each kind of defect does to a cable.

Each finding carries the figure that was found and the threshold that it passed. Thresholds are those of the
trade where there are any; the others are what good cords and links stay within with room to spare.
"""

from benchsweep.cabling.faults._locate import locate_faults

__all__ = ["locate_faults"]
