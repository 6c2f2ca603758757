"""Histories of reference channels, field testers and studies: text files that are only added to."""

__all__: list[str] = []
