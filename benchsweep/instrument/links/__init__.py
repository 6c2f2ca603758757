"""How messages reach an instrument and come back in step. The only place that knows VISA.

From the bottom up: `_transport` (bytes there and back; any VISA resource and the raw TCP socket), `_bounded`
with `_hislip` and `_vxi11` (transports that mark where a message ends), `_blocks` (binary answers),
`_translate` (errors of VISA and of the operating system by our names), `_messages` (the last ones, kept for
errors), `_step` (no answer is taken for that of another question), `_link` (questions, blocks, the error
queue), `_open` (from an address to a link). Beside them: which addresses an instrument may have
(`_addresses`), and which VISA libraries this machine has (`_libraries`).

Nothing here knows what an instrument is for: analyzers and relay matrices are spoken to alike.
"""

from benchsweep.instrument.links._addresses import Candidate, address_candidates
from benchsweep.instrument.links._libraries import visa_libraries
from benchsweep.instrument.links._link import ERROR_ENTRY, Link
from benchsweep.instrument.links._messages import Message, with_messages
from benchsweep.instrument.links._open import open_link

__all__ = [
    "ERROR_ENTRY",
    "Candidate",
    "Link",
    "Message",
    "address_candidates",
    "open_link",
    "visa_libraries",
    "with_messages",
]
