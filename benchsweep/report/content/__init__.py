"""What a report says, from records, before it is printed as anything.

The order of a specimen's part is the order in which people ask: does it pass, what makes that doubtful, what
is wrong and where, by how much, and only then how it was measured.
"""

from benchsweep.report.content._comparison import comparison_document
from benchsweep.report.content._comparison_item import ComparisonItem
from benchsweep.report.content._document import assembled, report_document
from benchsweep.report.content._findings import BestCategory, Findings, KeptOutcome, LengthRule
from benchsweep.report.content._item import ReportItem, TraceKey, grouped
from benchsweep.report.content._lot import lot_document
from benchsweep.report.content._lot_item import LotItem
from benchsweep.report.content._overview import overview_section
from benchsweep.report.content._particulars import Particulars, check_stated, load_particulars
from benchsweep.report.content._picks import pick_list_document
from benchsweep.report.content._process_report import process_report_document
from benchsweep.report.content._series import series_section
from benchsweep.report.content._series_item import SeriesItem
from benchsweep.report.content._study import study_document
from benchsweep.report.content._study_item import StudyItem, StudyResult
from benchsweep.report.content._subject import Detail, ReportPart, report_part, subject_section

__all__ = [
    "BestCategory",
    "ComparisonItem",
    "Detail",
    "Findings",
    "KeptOutcome",
    "LengthRule",
    "LotItem",
    "Particulars",
    "ReportItem",
    "ReportPart",
    "SeriesItem",
    "StudyItem",
    "StudyResult",
    "TraceKey",
    "assembled",
    "check_stated",
    "comparison_document",
    "grouped",
    "load_particulars",
    "lot_document",
    "overview_section",
    "pick_list_document",
    "process_report_document",
    "report_document",
    "report_part",
    "series_section",
    "study_document",
    "subject_section",
]
