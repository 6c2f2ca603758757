"""Qualify balanced four-pair cords, cable and channels with a laboratory network analyzer.

The folders, in the order in which the data goes through them: ``instrument`` (raw sweeps from the analyzer),
``acquisition`` (plan of hookups), ``calibration``, ``fixture`` (corrected, assembled matrix), ``mixedmode``,
``cabling`` (parameter traces), ``limits`` (margins and outcome), ``archive`` (records), ``report``.
``qualification`` strings them together; ``cli`` speaks to people; ``simulator`` is a bench to practise on.
"""

__all__ = ["__version__"]
__version__ = "0.1.0"
