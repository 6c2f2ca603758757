"""TODO."""

__all__: list[str] = []
