"""The life of a lot: what its history says, what may happen next, and the decision. Pure rules, no files."""

__all__: list[str] = []
