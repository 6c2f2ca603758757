"""Whether a process is steady and capable: control charts, run rules, capability, tolerance limits."""

__all__: list[str] = []
