"""Field testers against a reference channel: register, add bench records, compare, follow, fall due."""

__all__: list[str] = []
