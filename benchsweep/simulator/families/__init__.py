"""What the analyzer can be told, in each command family: one module for each family, and a list of them.

A family is a table of `Command` besides those that all analyzers have, and a `FamilyStyle`: what it changes
outside its commands. No family knows another one; what several have in common stands in `shared`.
"""

from benchsweep.simulator.families._families import FAMILIES

__all__ = ["FAMILIES"]
