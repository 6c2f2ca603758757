"""What hangs on the bench: a cord, cable, link or channel as a scattering matrix, with what is wrong with it.

A specimen is modelled from a description (``specimens/*.toml``) out of a cable construction
(``cables/*.toml``), or read from a Touchstone file. Everything here is cable physics: nothing knows of
analyzers or commands. From the bottom up: `_modes` and `_profiles` (one mode, and what chance makes of it),
`_sections` and `_parts` (a piece of cable, plugs and jacks), `_conditions` (what can be wrong), `_assembly`
(the parts in order), `_alien` and `_bundle` (cables side by side), `_production` (reel after
reel of a product, ``productions/*.toml``), `_specimen` (by name or path).
"""

from benchsweep.simulator.specimen._production import is_reel
from benchsweep.simulator.specimen._specimen import SimulatedSpecimen, list_specimens, load_specimen

__all__ = ["SimulatedSpecimen", "is_reel", "list_specimens", "load_specimen"]
