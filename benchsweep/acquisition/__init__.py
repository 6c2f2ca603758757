"""Which hookups a job needs, who makes them, and running them so that an interruption loses nothing.

Conventions: a hookup maps analyzer ports to what is attached to them (a leg such as ``A:36.6``, or ``open``,
``short``, ``load``, ``thru 5``); the positive leg of a pair is on the first port of its place. Hookups count
from 1 in the order in which they are made. The plan is pure; only `run_plan` touches an instrument.
"""

from benchsweep.acquisition._bundle import check_disturbing, make_bundle_plan
from benchsweep.acquisition._grid import ChosenGrid, choose_grid, grid_text, settings_grid
from benchsweep.acquisition._grid_warnings import grid_warnings
from benchsweep.acquisition._person import PersonSwitch
from benchsweep.acquisition._plan import make_calibration_plan, make_plan
from benchsweep.acquisition._relay_switch import RelaySwitch
from benchsweep.acquisition._repeat import Repeats, Sweeper, overcome, sweep_hookup
from benchsweep.acquisition._routes import RelayRoutes
from benchsweep.acquisition._run import HookupStore, run_plan
from benchsweep.acquisition._switch import Again, Back, Done, Move, SimulatedSwitch, Switch

__all__ = [
    "Again",
    "Back",
    "ChosenGrid",
    "Done",
    "HookupStore",
    "Move",
    "PersonSwitch",
    "RelayRoutes",
    "RelaySwitch",
    "Repeats",
    "SimulatedSwitch",
    "Sweeper",
    "Switch",
    "check_disturbing",
    "choose_grid",
    "grid_text",
    "grid_warnings",
    "make_bundle_plan",
    "make_calibration_plan",
    "make_plan",
    "overcome",
    "run_plan",
    "settings_grid",
    "sweep_hookup",
]
