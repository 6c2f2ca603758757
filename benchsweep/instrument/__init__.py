"""The link to the analyzer, its command families and the analyzer itself. The only room that knows VISA.

Conventions: questions and answers stay in step or the link refuses to be used; every group of settings is
followed by the error queue; every setting is read back; matrices are raw, ``(n_freq, n, n)`` complex128,
row = receiving port, column = driven port, analyzer ports rising. How a group of analyzers spells its
operations is data (``families/*.toml``); where groups differ in more than words, the file picks a behaviour
by name.
"""

from benchsweep.instrument._analyzer import Analyzer, open_analyzer
from benchsweep.instrument._family import Family, list_families, load_family
from benchsweep.instrument._identify import identify
from benchsweep.instrument._relays import RelayMatrix, open_relays
from benchsweep.instrument.links import (
    Candidate,
    Link,
    Message,
    address_candidates,
    open_link,
    visa_libraries,
)

__all__ = [
    "Analyzer",
    "Candidate",
    "Family",
    "Link",
    "Message",
    "RelayMatrix",
    "address_candidates",
    "identify",
    "list_families",
    "load_family",
    "open_analyzer",
    "open_link",
    "open_relays",
    "visa_libraries",
]
