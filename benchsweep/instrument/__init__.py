"""The link to the analyzer, its command families and the analyzer itself. The only room that knows VISA.

From the bottom up: ``links`` brings messages to an instrument and back in step; ``families`` says how groups
of analyzers spell the same operations (``families/*.toml``) and finds out which one an instrument speaks;
`_asking` and `_status` are the two ways to hear from it; `_settings` with `_segments` brings it into a stated
state, `_sweeping` takes one sweep, ``matrix`` reads what it brought; `_analyzer` does all of it. `_relays`
is another instrument, a relay matrix, and needs nothing but a link.

Conventions: questions and answers stay in step or the link refuses to be used; every group of settings is
followed by the error queue; every setting is read back; matrices are raw, ``(n_freq, n, n)`` complex128,
row = receiving port, column = driven port, analyzer ports rising. Where groups of analyzers differ in more
than words, the family file picks a behaviour by name.
"""

from benchsweep.instrument._analyzer import Analyzer, analyzer_on, open_analyzer
from benchsweep.instrument._relays import RelayMatrix, open_relays
from benchsweep.instrument.families import Family, identify, list_families, load_family
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
    "analyzer_on",
    "identify",
    "list_families",
    "load_family",
    "open_analyzer",
    "open_link",
    "open_relays",
    "visa_libraries",
]
