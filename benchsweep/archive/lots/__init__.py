"""Histories of lots: text files in the archive that are only added to."""

__all__: list[str] = []
