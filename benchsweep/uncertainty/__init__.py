"""From the terms of an uncertainty budget to an expanded uncertainty of every trace."""

from benchsweep.uncertainty._budget import Budget, Level, load_budget, read_budget
from benchsweep.uncertainty._bundle import BundleModel
from benchsweep.uncertainty._interval import loss_interval, projected_variance
from benchsweep.uncertainty._layout import Circumstances
from benchsweep.uncertainty._model import Model

__all__ = [
    "Budget",
    "BundleModel",
    "Circumstances",
    "Level",
    "Model",
    "load_budget",
    "loss_interval",
    "projected_variance",
    "read_budget",
]
