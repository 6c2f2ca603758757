"""Statistics of lots and processes: sampling plans, capability, control charts. Pure numbers, no files.

`sampling`: how many units of a lot are tested and what that accepts; `process`: whether a process drifts and
how far its margins are from zero.
"""

__all__: list[str] = []
