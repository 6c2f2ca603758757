"""Words of ours in a report, by key, in English and in translations; and what is said with them.

``texts("count.all_pass", count=5)`` is a text with its fields filled in; ``texts.line(...)`` the same as a
line of `benchsweep.report.document`, in which fields that others gave stay apart. Keys made up of a fixed
beginning and a word of a closed list (``parameter.next``) are told in `FAMILIES`.

A translation is one file with the keys of ``en.toml``. It is found as other definitions are: by its path, in
``./texts``, in the data folder, among the shipped ones.
"""

from benchsweep.report.text._families import FAMILIES
from benchsweep.report.text._load import load_texts
from benchsweep.report.text._texts import Texts, english

__all__ = ["FAMILIES", "Texts", "english", "load_texts"]
