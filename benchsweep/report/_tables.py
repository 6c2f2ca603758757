from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

from benchsweep.records import Fault, Measurement, Origin, Outcome, Verdict, VerdictRow
from benchsweep.report._select import bad_rows, other_notes, row_notes, standings, worst_row, worst_rows
from benchsweep.report._stopping import nearest_words
from benchsweep.report._words import (
    CONDITIONAL_WORDS,
    NOT_EVALUATED,
    PARAMETER_WORDS,
    STANDING_MARKS,
    STANDING_WORDS,
    UNCERTAINTY_WORDS,
    bad_words,
    clean,
    columns,
    count_words,
    decided_elsewhere,
    length_words,
    megahertz,
    number,
    origins_words,
    pairs_words,
    row_words,
    signed,
    taken,
    wiring_words,
    wrapped,
)

__all__ = [
    "budget_name",
    "definition_lines",
    "entry",
    "fixture_name",
    "incident_table",
    "measurement_table",
    "requirement_table",
    "verdict_table",
]

_LABEL = 13
_NARROWEST = 40


def verdict_table(
    verdict: Verdict, *, faults: Sequence[Fault] = (), origins: Sequence[Origin] = (), width: int = 80
) -> str:
    """Return a verdict as plain text of at most `width` columns, at least 40.

    Outcome first, then what stands against a pass, the wiring in words, the `faults` found and where they
    are, from where the failing traces come (`origins`), and a table with the worst row of every parameter and
    end, or sentences where the table is too wide.
    The text holds no control characters, whatever the names hold.
    """
    width = max(width, _NARROWEST)
    lines = [*entry("outcome", [f"{verdict.outcome.value}: {count_words(verdict)}"], width)]
    bad = bad_rows(verdict)
    worst = worst_row(verdict)
    if bad:
        lines += entry("", bad_words(bad), width)
    elif worst is not None:
        lines += entry("closest", [row_words(worst)], width)
    lines += entry("doubtful", verdict.doubts, width)
    wiring = wiring_words(verdict.wiring)
    lines += entry("wiring", wiring, width)
    told = [fault.words for fault in faults if fault.words not in wiring]
    if told and verdict.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS):
        told = ["found, though no limit of this requirement is broken:", *told]
    lines += entry("faults", told, width)
    lines += entry("comes from", origins_words(origins), width)
    lines += entry("specimen", [verdict.specimen], width)
    against = f"{verdict.requirement}, decision rule {verdict.decision_rule}"
    if verdict.budget:
        against += f", uncertainty by budget {clean(verdict.budget)}"
    if verdict.length_m is not None:
        against += f", length {length_words(verdict.length_m)}"
    lines += entry("against", [against], width)
    lines += entry("record", [verdict.record or "not stored"], width)
    rows = worst_rows(verdict)
    if rows:
        lines += ["", *_rows_table(rows, width)]
        for row in rows:
            if row.outcome is Outcome.CONDITIONAL_PASS and decided_elsewhere(row):
                lines += wrapped(f"{row.outcome.value}: {row_words(row)}", width)
        lines += _legend(verdict.rows, width)
    for note in other_notes(verdict):
        lines += entry("note", [note], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def requirement_table(verdicts: Sequence[Verdict], *, width: int = 80) -> str:
    """Return one line for each requirement: its outcome, and what stands against a pass or came closest.

    At most `width` columns, at least 40; sentences where there is no room for three columns.
    """
    width = max(width, _NARROWEST)
    cells = [
        (clean(verdict.requirement), verdict.outcome.value, nearest_words(verdict)) for verdict in verdicts
    ]
    heads = ("requirement", "outcome", "worst")
    first, second = (max(columns(line[i]) for line in (heads, *cells)) + 2 for i in (0, 1))
    room = width - first - second
    if room < _NARROWEST // 2:
        return "\n".join(text for cell in cells for text in wrapped("{}: {}; {}".format(*cell), width)) + "\n"
    lines = [f"{heads[0]:<{first}}{heads[1]:<{second}}{heads[2]}"]
    lines.append("-" * min(width, first + second + max(columns(cell[2]) for cell in cells)))
    for name, outcome, worst in cells:
        texts = wrapped(worst, room)
        lines.append(f"{name}{' ' * (first - columns(name))}{outcome:<{second}}{texts[0]}")
        lines += [f"{'':<{first + second}}{text}" for text in texts[1:]]
    return "\n".join(lines) + "\n"


def _rows_table(rows: Sequence[VerdictRow], width: int) -> list[str]:
    """Return the rows as a table, without the column of units where it is too wide, or as sentences."""
    told = any(row.expanded_uncertainty is not None for row in rows)
    leave_out = set() if told else {"U"}
    for unwanted in (leave_out, leave_out | {"unit"} if told else leave_out):
        lines = _table(rows, unwanted, width)
        if all(columns(line.rstrip()) <= width for line in lines):
            if "unit" in unwanted:
                lines += wrapped("delay and skew in ns, all else in dB", width)
            return lines
    # a narrow terminal: one sentence a row instead
    return [line for row in rows for line in wrapped(f"{row.outcome.value}: {_sentence(row)}", width)]


def _sentence(row: VerdictRow) -> str:
    if row.expanded_uncertainty is None:
        return row_words(row)
    return f"{row_words(row)}; U {number(row.expanded_uncertainty)} {row.parameter.unit}"


def _table(rows: Sequence[VerdictRow], leave_out: Collection[str], width: int) -> list[str]:
    heads = [name for name in _COLUMNS if name not in leave_out]
    cells = [[_COLUMNS[name](row) for name in heads] for row in rows]
    widths = [max(columns(line[i]) for line in (heads, *cells)) for i in range(len(heads))]
    gap = 2 if sum(widths) + 2 * (len(widths) - 1) <= width else 1
    at = heads.index("limit")
    heads[at] = "limit "  # its cells end in the mark of their standing
    widths[at] = max(widths[at], columns(heads[at]))
    lines = [
        (" " * gap).join(
            cell.rjust(widths[i]) if heads[i].strip() in _FIGURES else cell.ljust(widths[i])
            for i, cell in enumerate(line)
        )
        for line in (heads, *cells)
    ]
    return [lines[0], "-" * columns(lines[0].rstrip()), *lines[1:]]


_COLUMNS: Mapping[str, Callable[[VerdictRow], str]] = {
    "parameter": lambda row: PARAMETER_WORDS[row.parameter],
    "end": lambda row: row.end or "",
    "pairs": lambda row: pairs_words(row.pairs),
    "margin": lambda row: signed(row.worst_margin_db),
    "MHz": lambda row: megahertz(row.frequency_hz),
    "value": lambda row: number(row.value),
    "U": lambda row: number(row.expanded_uncertainty),
    "limit": lambda row: f"{number(row.limit)}{STANDING_MARKS.get(row.standing, '?') or ' '}",
    "unit": lambda row: row.parameter.unit,
    "outcome": lambda row: row.outcome.value,
}
_FIGURES = frozenset({"margin", "MHz", "value", "U", "limit"})


def _legend(rows: Sequence[VerdictRow], width: int) -> list[str]:
    lines = [""]
    if any(len(row.pairs) == 2 and row.end for row in rows):
        lines += wrapped("pairs: the receiving pair first, then the disturbing one", width)
    if any(row.expanded_uncertainty is not None for row in rows):
        lines += wrapped(UNCERTAINTY_WORDS, width)
    else:
        lines += wrapped(NOT_EVALUATED, width)
    for outcome, words in CONDITIONAL_WORDS.items():
        if any(row.outcome is outcome for row in rows):
            lines += wrapped(f"{outcome.value}: {words}", width)
    for standing in standings(rows):
        mark = STANDING_MARKS.get(standing, "?")
        if mark:
            lines += wrapped(f"{mark} limit {STANDING_WORDS.get(standing, standing)}", width)
    for parameter, note in row_notes(rows):
        lines += wrapped(f"{PARAMETER_WORDS[parameter]}: {note}", width)
    return lines


def measurement_table(measurement: Measurement, *, width: int = 80) -> str:
    """Return what a record holds as plain text of at most `width` columns, at least 40.

    The text holds no control characters, whatever the names hold.
    """
    width = max(width, _NARROWEST)
    specimen = measurement.specimen
    lines = entry("specimen", [specimen.identifier], width)
    lines += entry("lot", [specimen.lot], width)
    lines += entry("length", [length_words(specimen.length_m)], width)
    lines += entry("description", [specimen.description], width)
    lines += entry(f"{taken(measurement)} at", [measurement.created_at], width)
    lines += entry("origin", [_origin(measurement)], width)
    lines += entry("station", [measurement.station], width)
    lines += entry("operator", [measurement.operator], width)
    for label, texts in (
        ("matrix", _matrix_words(measurement)),
        ("bundle", _bundle_words(measurement)),
        ("analyzer", _analyzer_words(measurement)),
        ("hookups", _hookup_words(measurement)),
        ("calibration", _calibration_words(measurement)),
        ("fixture", [fixture_name(measurement.fixture_toml)]),
        ("verification", [measurement.verification]),
        ("budget", [budget_name(measurement.budget_toml)]),
        ("consistency", _consistency_words(measurement)),
        ("ambient", [f"{name} {value:g}" for name, value in measurement.ambient.items()]),
        ("safety", _safety_words(measurement)),
        ("incidents", measurement.incidents),
        ("software", [", ".join(f"{name} {version}" for name, version in measurement.software.items())]),
    ):
        lines += entry(label, texts, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def incident_table(measurement: Measurement, *, width: int = 80) -> str:
    """Return who confirmed the cautions and what was overcome while measuring, as lines; empty when neither.

    They stand below a verdict, as in `measurement_table`.
    """
    width = max(width, _NARROWEST)
    lines = entry("safety", _safety_words(measurement), width)
    return "\n".join(lines + entry("incidents", measurement.incidents, width))


def labelled_table(entries: Iterable[tuple[str, Iterable[str]]], *, width: int = 80) -> str:
    """Return lines below labels, as in `measurement_table`; labels without a text are left out."""
    width = max(width, _NARROWEST)
    lines = [line.rstrip() for label, texts in entries for line in entry(label, texts, width)]
    return "\n".join(lines)


def entry(label: str, texts: Iterable[str], width: int) -> list[str]:
    """Return lines ``label   text``; none when there is no text."""
    lines = [line for text in texts if text for line in wrapped(text, width - _LABEL)]
    heads = [label.ljust(_LABEL)] + [" " * _LABEL] * (len(lines) - 1)
    return [f"{head}{line}" for head, line in zip(heads, lines, strict=False)]


def _origin(measurement: Measurement) -> str:
    known = {"bench": "measured on the bench", "touchstone": "imported from a Touchstone file"}
    words = known.get(measurement.origin, measurement.origin)
    return f"{words}: {measurement.source_file}" if measurement.source_file else words


def _matrix_words(measurement: Measurement) -> list[str]:
    grid = measurement.corrected.frequency_hz
    span = f"{megahertz(float(grid[0]))} to {megahertz(float(grid[-1]))} MHz, {grid.size} points"
    legs = measurement.corrected.ports
    return [f"{len(legs)} legs, {span}", f"{legs[0]} to {legs[-1]}" if legs else ""]


def _bundle_words(measurement: Measurement) -> list[str]:
    cables = measurement.disturbing_cables
    if not cables:
        return []
    words = "disturbing cable" if len(cables) == 1 else "disturbing cables"
    return [f"{words} {', '.join(map(str, cables))}; couplings in {len(measurement.couplings)} matrices"]


def _analyzer_words(measurement: Measurement) -> list[str]:
    texts = []
    if measurement.analyzer is not None:
        analyzer = measurement.analyzer
        texts += [analyzer.idn, f"command family {analyzer.family}, {analyzer.ports} ports"]
    if measurement.settings is not None:
        settings = measurement.settings
        texts.append(
            f"IF bandwidth {settings.if_bandwidth_hz:g} Hz, averages {settings.averages}, "
            f"power {settings.power_dbm:g} dBm"
        )
    return texts


def _hookup_words(measurement: Measurement) -> list[str]:
    hookups = measurement.hookups
    if not hookups:
        return []
    ports = len(hookups[0].sweep.analyzer_ports)
    seconds = sum(raw.sweep.seconds for raw in hookups)
    return [f"{len(hookups)}, {ports} analyzer ports in the first, {seconds:.1f} s of sweeping"]


def _calibration_words(measurement: Measurement) -> list[str]:
    calibration = measurement.calibration
    if calibration is None:
        return ["none applied here"]
    texts = [
        f"{calibration.identifier} of {calibration.created_at}",
        f"kit {calibration.kit}; {calibration.method}",
    ]
    if calibration.residuals_db:
        name, value = max(calibration.residuals_db.items(), key=lambda item: item[1])
        texts.append(f"largest of {len(calibration.residuals_db)} residuals {number(value, 1)} dB ({name})")
    return texts


def _safety_words(measurement: Measurement) -> list[str]:
    safety = measurement.safety
    return [] if safety is None else [f"cautions confirmed by {safety.by} at {safety.at}"]


def _consistency_words(measurement: Measurement) -> list[str]:
    if not measurement.consistency_db:
        return []
    leg, value = max(measurement.consistency_db.items(), key=lambda item: item[1])
    return [f"hookups disagree by at most {number(value, 1)} dB (leg {leg})"]


def fixture_name(toml: str) -> str:
    """Return the name that the fixture definition gives itself, or that there is none."""
    return _name_in(toml) or ("unnamed" if toml else "none")


def definition_lines(toml: str) -> list[str]:
    """Return the lines of a fixture definition; of a measured file that is kept with it how many it has.

    Such files stand at the end, in the table ``[embedded]``, and have thousands of lines.
    """
    try:
        files = tomllib.loads(toml).get("embedded", {})
    except tomllib.TOMLDecodeError:
        files = {}
    lines = toml.splitlines()
    if not isinstance(files, dict) or not files or "[embedded]" not in lines:
        return lines
    kept = [f"# {name}: {len(str(text).splitlines())} lines, in the record" for name, text in files.items()]
    return [*lines[: lines.index("[embedded]") + 1], *kept]


def budget_name(toml: str) -> str:
    """Return the name that the uncertainty budget gives itself, or that there is none."""
    return _name_in(toml) or ("unnamed" if toml else "none: no uncertainty is stated")


def _name_in(toml: str) -> str:
    try:
        name = tomllib.loads(toml).get("name")
    except tomllib.TOMLDecodeError:
        return ""
    return clean(name) if isinstance(name, str) else ""
