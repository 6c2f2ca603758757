"""The same work on many records: grade them again, reduce their sweeps again.

The work on some records (a chunk) is one plain function of text and names, so that it runs in this process,
in other processes, or on a cluster, with the same results in the same order. What is finished stands in a
journal until the whole is done: an interrupted run goes on where it stopped.
"""

from benchsweep.qualification.bulk._job import RegradeJob
from benchsweep.qualification.bulk._journal import journal_trouble
from benchsweep.qualification.bulk._reduce import (
    Reduced,
    ReduceJob,
    exit_code_of_reduce,
    reduce_again,
    reduce_document,
)
from benchsweep.qualification.bulk._regrade import (
    Regraded,
    exit_code_of_regrade,
    regrade,
    regrade_document,
)
from benchsweep.qualification.bulk._runners import Runner, runner_for
from benchsweep.qualification.bulk._select import chosen_items
from benchsweep.qualification.bulk._sinks import keep_sink, table_sink
from benchsweep.qualification.bulk._work import Graded, Item, grade_chunk

__all__ = [
    "Graded",
    "Item",
    "ReduceJob",
    "Reduced",
    "RegradeJob",
    "Regraded",
    "Runner",
    "chosen_items",
    "exit_code_of_reduce",
    "exit_code_of_regrade",
    "grade_chunk",
    "journal_trouble",
    "keep_sink",
    "reduce_again",
    "reduce_document",
    "regrade",
    "regrade_document",
    "runner_for",
    "table_sink",
]
