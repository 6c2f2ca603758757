"""A simulated field tester: it measures a specimen with errors of its own and writes files."""

__all__: list[str] = []
