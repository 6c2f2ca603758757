"""Sampling plans: tables as data and closed rules, what a plan accepts, when its severity switches."""

__all__: list[str] = []
