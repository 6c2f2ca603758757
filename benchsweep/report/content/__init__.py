"""What a report says, from records, before it is printed as anything.

The order of a specimen's part is the order in which people ask: does it pass, what makes that doubtful, what
is wrong and where, by how much, and only then how it was measured.
"""

from benchsweep.report.content._findings import BestCategory, Findings, LengthRule
from benchsweep.report.content._item import ReportItem, TraceKey

__all__ = ["BestCategory", "Findings", "LengthRule", "ReportItem", "TraceKey"]
