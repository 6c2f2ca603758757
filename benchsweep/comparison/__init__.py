"""A field tester's traces against the bench's: common grid, matched minima, swaps."""

__all__: list[str] = []
