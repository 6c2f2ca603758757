"""Statistics of lots, processes and agreement. Pure numbers, no files.

`sampling`: how many units of a lot are tested and what that accepts; `process`: whether a process drifts and
how far its margins are from zero; `agreement`: whether two measurements agree within their uncertainties,
whether a check standard is where it was, when to measure again; `repeatability`: studies of re-mating,
operators and laboratories.
"""

__all__: list[str] = []
