"""An unfinished job: each hookup is kept once it is measured, so that a killed run goes on where it was.

`_journal` is the folder of one job, `_job_notes` what it remembers besides its hookups.
"""

from benchsweep.archive.unfinished._job_notes import JobNotes
from benchsweep.archive.unfinished._journal import Journal, holds_work

__all__ = [
    "JobNotes",
    "Journal",
    "holds_work",
]
