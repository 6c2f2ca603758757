"""Designs for repeatability and reproducibility and their evaluation: Gauge R&R, ISO 5725, nested."""

__all__: list[str] = []
