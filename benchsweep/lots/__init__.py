"""The life of a lot: what its history says, what may happen next, and the decision. Pure rules, no files.

`_order` makes the random order, `_names` tells which names are none, `_state` reads a history, `_refusals`
says what may be added to it, `_clock` when, `_replanning` which plan may take the place of another,
`_decision` decides.
"""

from benchsweep.lots._clock import CLOCKS_APART_S, check_clock, clock_doubts, seconds_before
from benchsweep.lots._decision import LotDecision, decision, unjudged_by_variables, would_be_accepted
from benchsweep.lots._names import check_names
from benchsweep.lots._order import order_key, random_order, spare_reels
from benchsweep.lots._refusals import (
    check_added,
    check_closed,
    check_event,
    check_excluded,
    check_open,
    check_reel,
)
from benchsweep.lots._replanning import check_replanned
from benchsweep.lots._state import state_of

__all__ = [
    "CLOCKS_APART_S",
    "LotDecision",
    "check_added",
    "check_clock",
    "check_closed",
    "check_event",
    "check_excluded",
    "check_names",
    "check_open",
    "check_reel",
    "check_replanned",
    "clock_doubts",
    "decision",
    "order_key",
    "random_order",
    "seconds_before",
    "spare_reels",
    "state_of",
    "unjudged_by_variables",
    "would_be_accepted",
]
