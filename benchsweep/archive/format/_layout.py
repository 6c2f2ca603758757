"""What stands where in a file: one line per data set and attribute.

``{n}`` in a path stands for the place of a hookup or of a coupling, three digits or more. Letters in shapes:
``f`` points, ``p`` analyzer ports, ``l`` legs, ``n`` sweeps of a series, ``k`` as many as there are entries.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from benchsweep.archive.format._seal import Kind

__all__ = ["Item", "describe", "layout"]


@dataclass(frozen=True, slots=True)
class Item:
    """One data set (``/corrected/s``) or attribute (``/specimen@identifier``) of the layout."""

    path: str
    shape: str
    type: str
    unit: str
    meaning: str


def _settings(at: str, who: str) -> tuple[Item, ...]:
    if_absent = "absent: the grid was the analyzer's own"
    return (
        Item(f"{at}@start_hz", "-", "float64", "Hz", f"first frequency {who}; {if_absent}"),
        Item(f"{at}@stop_hz", "-", "float64", "Hz", f"last frequency {who}; {if_absent}"),
        Item(f"{at}@points", "-", "int64", "1", f"number of points {who}; {if_absent}"),
        Item(f"{at}@if_bandwidth_hz", "-", "float64", "Hz", "IF bandwidth"),
        Item(f"{at}@averages", "-", "int64", "1", "sweeps averaged by the analyzer"),
        Item(f"{at}@power_dbm", "-", "float64", "dBm", "source power at every port"),
        Item(f"{at}@spacing", "-", "text", "", "how the points lie: linear, logarithmic or segments"),
        Item(f"{at}/segment_start_hz", "k", "float64", "Hz", "first frequency of each segment"),
        Item(f"{at}/segment_stop_hz", "k", "float64", "Hz", "last frequency of each segment"),
        Item(f"{at}/segment_points", "k", "int64", "1", "number of points of each segment"),
        Item(
            f"{at}/segment_if_bandwidth_hz",
            "k",
            "float64",
            "Hz",
            "IF bandwidth in each segment; not a number: that of the whole sweep",
        ),
    )


def _calibration(at: str) -> tuple[Item, ...]:
    head = at or "/"
    return (
        Item(f"{head}@identifier", "-", "text", "", "name under which the calibration is stored"),
        Item(f"{head}@created_at", "-", "text", "", "ISO 8601 time in UTC"),
        Item(f"{head}@idn", "-", "text", "", "answer of the analyzer to *IDN?, to which it is bound"),
        Item(f"{head}@kit", "-", "text", "", "name of the calibration kit"),
        Item(f"{head}@method", "-", "text", "", "how it was solved, in words"),
        Item(f"{head}@reached", "-", "text", "", "relay matrix and map it was reached through; may be empty"),
        *_settings(f"{at}/settings", "of the calibration"),
        Item(f"{at}/terms/frequency_hz", "f", "float64", "Hz", "frequency of each point"),
        Item(f"{at}/terms/analyzer_ports", "p", "int64", "1", "analyzer port of each column"),
        Item(f"{at}/terms/directivity", "f,p", "complex128", "1", "directivity at each port"),
        Item(f"{at}/terms/source_match", "f,p", "complex128", "1", "match of each port while driven"),
        Item(f"{at}/terms/load_match", "f,p", "complex128", "1", "match of each port while not driven"),
        Item(f"{at}/terms/reflection_tracking", "f,p", "complex128", "1", "reflection tracking at each port"),
        Item(
            f"{at}/terms/transmission_tracking",
            "f,p,p",
            "complex128",
            "1",
            "transmission tracking, [point, receiver, driven port]; the diagonal is 1 and not used",
        ),
        Item(f"{at}/residuals/name", "k", "text", "", "which quality figure of the calibration"),
        Item(f"{at}/residuals/value_db", "k", "float64", "dB", "its value, more negative is better"),
        *_standards(f"{at}/standards"),
    )


def _standards(at: str) -> tuple[Item, ...]:
    residual = "residual left by a deviation of one"
    return (
        Item(f"{at}/standard", "k", "text", "", "standard of the kit, for each of its doubtful figures"),
        Item(f"{at}/quantity", "k", "text", "", "which figure of it: reflection or transmission"),
        Item(f"{at}/same_piece", "k", "int64", "1", "1: one piece served all ports; 0: each port its own"),
        Item(f"{at}/nominal", "k,f", "complex128", "1", "what the kit defines"),
        Item(f"{at}/real", "k,f", "float64", "1", "standard uncertainty of its real part"),
        Item(f"{at}/imaginary", "k,f", "float64", "1", "standard uncertainty of its imaginary part"),
        Item(f"{at}/directivity", "k,f", "complex128", "1", f"{residual}: directivity"),
        Item(f"{at}/source_match", "k,f", "complex128", "1", f"{residual}: source match"),
        Item(f"{at}/load_match", "k,f", "complex128", "1", f"{residual}: load match"),
        Item(f"{at}/reflection_tracking", "k,f", "complex128", "1", f"{residual}: reflection, relative"),
        Item(f"{at}/transmission_tracking", "k,f", "complex128", "1", f"{residual}: transmission, relative"),
    )


def _hookup(at: str) -> tuple[Item, ...]:
    head = at or "/"
    return (
        Item(f"{head}@number", "-", "int64", "1", "number of the hookup within its plan, from 1"),
        Item(f"{head}@taken_at", "-", "text", "", "ISO 8601 time in UTC at the end of the sweep"),
        Item(f"{head}@seconds", "-", "float64", "s", "how long the sweep took"),
        Item(f"{at}/connected_port", "k", "int64", "1", "analyzer port, for each connection"),
        Item(
            f"{at}/connected_to",
            "k",
            "text",
            "",
            "what is attached to it: a leg such as A:36.6, or a standard",
        ),
        Item(f"{at}/terminated_port", "k", "text", "", "balanced port on a terminator that has a name"),
        Item(f"{at}/terminated_by", "k", "text", "", "name of that terminator"),
        Item(f"{at}/analyzer_ports", "p", "int64", "1", "analyzer port of each row and column of s"),
        Item(f"{at}/frequency_hz", "f", "float64", "Hz", "frequency of each point"),
        Item(
            f"{at}/s",
            "f,p,p",
            "complex128",
            "1",
            "raw S-parameters as received, [point, receiving port, driven port], uncorrected",
        ),
        Item(
            f"{at}/switch_terms",
            "f,p,p",
            "complex128",
            "1",
            "wave that a port not driven sends back over the wave that it receives, [point, that port, "
            "driven port], uncorrected; 0 on the diagonal and where none was measured; absent: none at all",
        ),
        Item(f"{at}/state_question", "k", "text", "", "question about the settings of the analyzer"),
        Item(f"{at}/state_answer", "k", "text", "", "what it answered before the sweep and again after it"),
    )


def _coupling(at: str) -> tuple[Item, ...]:
    return (
        Item(f"{at}/frequency_hz", "f", "float64", "Hz", "frequency of each point"),
        Item(
            f"{at}/ports",
            "l",
            "text",
            "",
            "leg of each row and column of s: of the specimen, or with its number before it of a disturbing "
            "cable of the bundle, such as 3.A:36.6; the group is absent without a bundle",
        ),
        Item(f"{at}/z0_ohm", "l", "float64", "ohm", "reference impedance of each leg"),
        Item(
            f"{at}/s",
            "f,l,l",
            "complex128",
            "1",
            "corrected S-parameters of specimen and disturbing cable, [point, wave out of, wave into]; all "
            "other legs of the bundle on their terminations",
        ),
    )


def _analyzer(absent: str = "") -> tuple[Item, ...]:
    return (
        Item("/analyzer@idn", "-", "text", "", f"answer to *IDN?{absent}"),
        Item("/analyzer@family", "-", "text", "", "command family"),
        Item("/analyzer@ports", "-", "int64", "1", "number of analyzer ports"),
        Item("/analyzer/evidence_probe", "k", "text", "", "question asked to recognise the command family"),
        Item("/analyzer/evidence_answer", "k", "text", "", "what came back"),
        Item(
            "/analyzer/limit_name",
            "k",
            "text",
            "",
            "which limit the analyzer states of itself, with its unit",
        ),
        Item("/analyzer/limit_value", "k", "float64", "as named", "its value"),
        Item("/analyzer/lacks", "k", "text", "", "what the command family cannot do"),
    )


_SPECIMEN = (
    Item("/specimen@identifier", "-", "text", "", "what the laboratory calls the specimen"),
    Item("/specimen@length_m", "-", "float64", "m", "length; absent when not known"),
    Item("/specimen@description", "-", "text", "", "free text"),
    Item("/specimen@lot", "-", "text", "", "production lot it was drawn from, or the drum; may be empty"),
    Item("/specimen@product", "-", "text", "", "what it is, as its maker names it; absent when not told"),
)
_FIXTURE = (
    Item("/fixture/toml", "scalar", "text", "", "the fixture definition as used: port map, terminations"),
)
_BUDGET = (Item("/budget/toml", "scalar", "text", "", "the uncertainty budget as used; empty without one"),)
_SAFETY = (
    Item("/safety@by", "-", "text", "", "who confirmed the cautions; absent for imports and simulation"),
    Item("/safety@at", "-", "text", "", "ISO 8601 time in UTC"),
    Item("/safety/cautions", "k", "text", "", "the sentences that were shown"),
)
_SOFTWARE = (
    Item("/software/name", "k", "text", "", "package that took part"),
    Item("/software/version", "k", "text", "", "its version"),
)
_UNSUMMED = (
    Item("/@format", "-", "text", "", "what the file is, for example benchsweep record"),
    Item("/@format_version", "-", "int64", "1", "version of the layout"),
)
_FORMAT = (
    *_UNSUMMED,
    Item("/@content_sha256", "-", "text", "", "hash over the checksums of all items; names the content"),
)

_RECORD = (
    *_FORMAT,
    Item("/@created_at", "-", "text", "", "ISO 8601 time in UTC"),
    Item("/@origin", "-", "text", "", "bench: measured here; touchstone: imported"),
    Item("/@station", "-", "text", "", "name of the station"),
    Item("/@operator", "-", "text", "", "who measured; may be empty"),
    Item("/@source_file", "-", "text", "", "name of the imported file; empty for a measurement"),
    Item("/@verification", "-", "text", "", "what the last verification of the calibration found; or empty"),
    Item(
        "/@reduced_from",
        "-",
        "text",
        "",
        "content hash of the record whose raw sweeps were reduced again to make this one; else empty",
    ),
    Item("/@reason", "-", "text", "", "why they were reduced again; else empty"),
    Item("/@reduced_at", "-", "text", "", "ISO 8601 time in UTC at which they were; else absent"),
    *_SPECIMEN,
    Item("/corrected/frequency_hz", "f", "float64", "Hz", "frequency of each point"),
    Item("/corrected/ports", "l", "text", "", "leg of each row and column of s: end, pair and contact"),
    Item("/corrected/z0_ohm", "l", "float64", "ohm", "reference impedance of each leg"),
    Item(
        "/corrected/s",
        "f,l,l",
        "complex128",
        "1",
        "corrected, assembled single-ended S-parameters, [point, wave out of, wave into]",
    ),
    *_coupling("/couplings/{n}"),
    *_analyzer("; the group is absent for an import"),
    *_settings("/sweep", "as read back; the group is absent for an import"),
    *_FIXTURE,
    *_BUDGET,
    *_calibration("/calibration"),
    *_hookup("/hookups/{n}"),
    Item("/consistency/leg", "k", "text", "", "leg measured in more than one hookup"),
    Item("/consistency/residual_db", "k", "float64", "dB", "largest disagreement between those hookups"),
    Item("/consistency/note", "n", "text", "", "likely cause of a disagreement; other notes on the assembly"),
    Item("/ambient/name", "k", "text", "", "which ambient quantity, with its unit"),
    Item("/ambient/value", "k", "float64", "as named", "its value"),
    *_SAFETY,
    Item("/incidents/text", "k", "text", "", "what went wrong while measuring and was overcome"),
    *_SOFTWARE,
)

_SERIES_HEAD = (
    *_FORMAT,
    Item("/@started_at", "-", "text", "", "ISO 8601 time in UTC at which the series began"),
    Item("/@station", "-", "text", "", "name of the station"),
    Item("/@operator", "-", "text", "", "who measured; may be empty"),
    Item("/@description", "-", "text", "", "why it was recorded: soak, flexing, temperature cycling, …"),
    *_SPECIMEN,
    Item("/hookup@number", "-", "int64", "1", "number of the hookup, from 1"),
    Item("/hookup/connected_port", "p", "int64", "1", "analyzer port, for each connection"),
    Item("/hookup/connected_to", "p", "text", "", "what was attached to it: a leg such as A:36.6"),
    Item("/hookup/terminated_port", "k", "text", "", "balanced port on a terminator that has a name"),
    Item("/hookup/terminated_by", "k", "text", "", "name of that terminator"),
    Item("/grid/frequency_hz", "f", "float64", "Hz", "frequency of each point of every sweep"),
    *_analyzer(),
    *_settings("/settings", "as read back"),
    *_FIXTURE,
    *_calibration("/calibration"),
    *_SAFETY,
    *_SOFTWARE,
)
_S = "raw S-parameters as received, [{}point, receiving port, driven port], uncorrected; ports as /hookup"


def _events(before: bool) -> tuple[Item, ...]:
    place = Item("/events/before", "k", "int64", "1", "number of the sweep that came next, or would have")
    return (
        *((place,) if before else ()),
        Item("/events/at", "k", "text", "", "ISO 8601 time in UTC of something that happened"),
        Item(
            "/events/kind",
            "k",
            "text",
            "",
            "gap, power, late, ambient, clock, resumed, lost or ended",
        ),
        Item("/events/words", "k", "text", "", "what it was"),
        Item("/events/seconds", "k", "float64", "s", "how long it lasted; not a number where nothing lasts"),
    )


_SERIES = (
    *_SERIES_HEAD,
    Item("/@series", "-", "text", "", "content hash of the head as it was written when the series began"),
    Item("/@sweeps", "-", "int64", "1", "number of sweeps, n"),
    Item("/@ended_at", "-", "text", "", "ISO 8601 time in UTC at which it ended"),
    Item("/@ending", "-", "text", "", "how it ended, in words"),
    Item("/sweeps/s", "n,f,p,p", "complex128", "1", _S.format("sweep, ")),
    Item("/sweeps/s_sha256", "n,32", "uint8", "1", "SHA-256 of each sweep of s, in C order, little-endian"),
    Item("/sweeps/number", "n", "int64", "1", "number of each sweep, from 1; lost ones are left out"),
    Item("/sweeps/taken_at", "n", "text", "", "ISO 8601 time in UTC at the end of each sweep"),
    Item("/sweeps/seconds", "n", "float64", "s", "how long each sweep took"),
    Item("/sweeps/state", "n", "int64", "1", "set of /states that the analyzer was in"),
    Item("/states/set", "k", "int64", "1", "number of a set of settings of the analyzer, from 0"),
    Item("/states/question", "k", "text", "", "question about a setting"),
    Item("/states/answer", "k", "text", "", "what it answered before each sweep and again after it"),
    Item("/ambient/name", "k", "text", "", "which ambient quantity, with its unit"),
    Item("/ambient/value", "n,k", "float64", "as named", "reading at each sweep; not a number: none"),
    *_events(before=True),
)

_OF_RECORD = (
    *_FORMAT,
    Item("/@record", "-", "text", "", "content hash of the record or series that it is about"),
    Item("/@by", "-", "text", "", "who says so"),
    Item("/@at", "-", "text", "", "ISO 8601 time in UTC"),
)
_CORRECTION = (
    *_OF_RECORD,
    Item("/@reason", "-", "text", "", "why it is corrected"),
    Item(
        "/@withdrawn", "-", "int64", "1", "1: not to be used any more; 0: to be used again; absent: neither"
    ),
    Item(
        "/texts/name", "k", "text", "", "what is corrected: identifier, lot, product, description or operator"
    ),
    Item("/texts/value", "k", "text", "", "what it is instead"),
    Item(
        "/numbers/name", "k", "text", "", "what is corrected: length_m, or ambient. and the ambient quantity"
    ),
    Item("/numbers/value", "k", "float64", "as named", "what it is instead; not a number: not known"),
)


def _word(path: str, shape: str, meaning: str) -> Item:
    return Item(path, shape, "int32", "1", f"{meaning}; place in /words/text, from 0")


def _row(name: str, unit: str, meaning: str) -> Item:
    return Item(f"/rows/{name}", "r", "float64", unit, f"{meaning}; not a number or absent: none")


_UNIT = "dB or ns"
_OUTCOMES = "0 pass, 1 conditional-pass, 2 conditional-fail, 3 fail, 4 undecided"
_GRADING = (
    *_FORMAT,
    Item("/@made_at", "-", "text", "", "ISO 8601 time in UTC"),
    Item("/@by", "-", "text", "", "who graded; may be empty"),
    *_SOFTWARE,
    Item("/told/name", "k", "text", "", "what was told in place of what the records say"),
    Item("/told/value", "k", "text", "", "its value, or the whole text of a budget"),
    Item("/requirements/name", "k", "text", "", "requirement that was used"),
    Item("/requirements/edition", "k", "text", "", "its edition"),
    Item("/definitions/requirement", "k", "int32", "1", "place of the requirement in /requirements, from 0"),
    Item("/definitions/toml", "k", "text", "", "its file as used, then that of the one it is a variant of"),
    Item("/words/text", "k", "text", "", "every text that a column below points at"),
    _word("/verdicts/record", "v", "content hash of the record graded"),
    _word("/verdicts/name", "v", "path of the record as it was named"),
    _word("/verdicts/specimen", "v", "the specimen, after corrections"),
    _word("/verdicts/requirement", "v", "what it was graded against"),
    _word("/verdicts/decision_rule", "v", "decision rule"),
    _word("/verdicts/budget", "v", "name of the uncertainty budget, or empty"),
    Item("/verdicts/length_m", "v", "float64", "m", "length used; not a number: none"),
    Item("/verdicts/outcome", "v", "int8", "1", f"outcome of the whole: {_OUTCOMES}"),
    Item("/verdicts/wiring", "v", "int32", "1", "place in /wirings, from 0; -1: none"),
    Item("/verdicts/rows", "v", "int32", "1", "how many of /rows are its own, after those of the one before"),
    Item("/verdicts/notes", "v", "int32", "1", "how many of /notes are its own, likewise"),
    Item("/verdicts/doubts", "v", "int32", "1", "how many of /doubts are its own, likewise"),
    _word("/notes/text", "k", "what a reader of the verdict must know"),
    _word("/doubts/text", "k", "those of the notes that make the verdict doubtful"),
    Item("/traces/parameter", "t", "text", "", "parameter of a trace that rows are of"),
    Item("/traces/end", "t", "text", "", "A or B: where the receiver is; empty where the ends cannot differ"),
    Item("/traces/pairs", "t", "text", "", "pairs of it, with one space between two"),
    Item("/traces/standing", "t", "text", "", "standing of the limit line"),
    Item("/rows/trace", "r", "int32", "1", "which trace; place in /traces, from 0"),
    Item("/rows/outcome", "r", "int8", "1", f"outcome of the row: {_OUTCOMES}"),
    _word("/rows/note", "r", "why the row is undecided or no point counted"),
    _row("worst_margin_db", _UNIT, "margin at the worst point, positive is good"),
    _row("frequency_hz", "Hz", "where that is"),
    _row("value", _UNIT, "measured value there"),
    _row("limit", _UNIT, "limit there"),
    _row("expanded_uncertainty", _UNIT, "k = 2 uncertainty of the value, the larger of both sides"),
    _row("uncertainty_low", _UNIT, "the value may be lower by so much, with 95 %"),
    _row("uncertainty_high", _UNIT, "the value may be higher by so much"),
    _row("guard_band", _UNIT, "guard band at the point that decides"),
    Item("/wirings/checked", "w", "int8", "1", "1: the wiring was checked; 0: the data could not tell"),
    Item("/wirings/contact_at_b", "w,8", "int8", "1", "where contacts 1 to 8 of end A lead; 0: nowhere"),
    Item("/findings/wiring", "k", "int32", "1", "report of which the finding is; place in /wirings, from 0"),
    Item("/findings/kind", "k", "text", "", "what is wrong: open, short, reversed, crossed, split, …"),
    Item("/findings/contacts", "k", "text", "", "contacts concerned, seen from end A, with spaces between"),
    Item("/findings/pairs", "k", "text", "", "pairs concerned, with spaces between"),
    Item("/findings/end", "k", "text", "", "A or B: where it is; empty where that cannot be told"),
    Item("/findings/words", "k", "text", "", "one sentence for a technician"),
)

_LAYOUTS: dict[Kind, tuple[Item, ...]] = {
    "record": _RECORD,
    "calibration": (*_FORMAT, *_calibration("")),
    "hookup": (
        *_UNSUMMED,
        *_hookup(""),
        Item("/job/name", "k", "text", "", "which statement about the job the hookup belongs to"),
        Item("/job/value", "k", "text", "", "what it says"),
    ),
    "series": _SERIES,
    "series-head": _SERIES_HEAD,
    "series-sweep": (
        *_UNSUMMED,
        Item("/@series", "-", "text", "", "content hash of the head that the sweep belongs to"),
        Item("/@number", "-", "int64", "1", "number of the sweep, from 1"),
        Item("/@taken_at", "-", "text", "", "ISO 8601 time in UTC at the end of the sweep"),
        Item("/@seconds", "-", "float64", "s", "how long the sweep took"),
        Item("/s", "f,p,p", "complex128", "1", _S.format("")),
        Item("/state_question", "k", "text", "", "question about the settings of the analyzer"),
        Item("/state_answer", "k", "text", "", "what it answered before the sweep and again after it"),
        Item("/ambient/name", "k", "text", "", "which ambient quantity, with its unit"),
        Item("/ambient/value", "k", "float64", "as named", "its reading"),
        *_events(before=False),
    ),
    "series-ending": (
        *_FORMAT,
        Item("/@series", "-", "text", "", "content hash of the head that the ending belongs to"),
        Item("/@after", "-", "int64", "1", "number of the last sweep"),
        Item("/@ended_at", "-", "text", "", "ISO 8601 time in UTC"),
        Item("/@ending", "-", "text", "", "how it ended, in words"),
        *_events(before=False),
    ),
    "comment": (*_OF_RECORD, Item("/@text", "-", "text", "", "what is said of the record")),
    "correction": _CORRECTION,
    "grading": _GRADING,
}


def layout(kind: Kind) -> tuple[Item, ...]:
    """Return the items of a file of that kind."""
    return _LAYOUTS[kind]


@cache
def describe(kind: Kind, path: str) -> tuple[str, str]:
    """Return unit and meaning of the data set or attribute at `path`.

    Raises
    ------
    KeyError
        Nothing of that path belongs to the layout.
    """
    general = re.sub(r"^/(hookups|couplings)/[0-9]+", r"/\1/{n}", path)
    for item in layout(kind):
        if item.path == general:
            return item.unit, item.meaning
    raise KeyError(f"{path} does not belong to a {kind}")
