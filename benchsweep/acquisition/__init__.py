"""Which hookups a job needs, who makes them, and running them so that an interruption loses nothing.

Conventions: a hookup maps analyzer ports to what is attached to them (a leg such as ``A:36.6``, or ``open``,
``short``, ``load``, ``thru 5``); the positive leg of a pair is on the first port of its place. Hookups count
from 1 in the order in which they are made. The plan is pure; only `run_plan` touches an instrument.
"""

from benchsweep.acquisition._plan import make_calibration_plan, make_plan
from benchsweep.acquisition._run import HookupStore, Sweeper, run_plan
from benchsweep.acquisition._switch import PersonSwitch, SimulatedSwitch, Switch

__all__ = [
    "HookupStore",
    "PersonSwitch",
    "SimulatedSwitch",
    "Sweeper",
    "Switch",
    "make_calibration_plan",
    "make_plan",
    "run_plan",
]
