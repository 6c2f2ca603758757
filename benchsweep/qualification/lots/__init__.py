"""Lots of reels: open, draw, add records, decide, and watch the process over lots."""

__all__: list[str] = []
