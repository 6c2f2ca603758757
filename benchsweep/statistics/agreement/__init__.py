"""Agreement of two measurements and stability of check standards: E_n, limits of agreement, t limits."""

__all__: list[str] = []
