"""Distributions that sampling and process share, where scipy.special has none that can be relied on."""

from benchsweep.statistics.distributions._noncentral_t import noncentral_t_above

__all__ = ["noncentral_t_above"]
