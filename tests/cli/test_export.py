"""`export`, and `import` of what it wrote: every bit, every polarity, no file outside its folder."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from benchsweep import archive
from benchsweep.archive import SeriesWriter
from benchsweep.qualification import evaluate
from benchsweep.records import (
    AnalyzerIdentity,
    Correction,
    Hookup,
    Measurement,
    RawHookup,
    RawSweep,
    SeriesEnding,
    SeriesHead,
    SeriesSweep,
    SMatrix,
    Specimen,
    SweepSettings,
    balanced_ports,
)

LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
GRID = np.linspace(1e6, 500e6, 9) * (1 + 1e-9)
AT = "2026-03-01T12:30:05Z"


def matrix(ports: tuple[str, ...] = LEGS, seed: int = 3, z0: tuple[float, ...] | None = None) -> SMatrix:
    """A small passive network without any symmetry, straight through where there is another end."""
    rng = np.random.default_rng(seed)
    n = len(ports)
    s = 0.02 * (rng.normal(size=(GRID.size, n, n, 2)) @ [1.0, 1.0j])
    for k, label in enumerate(ports):
        other = label.replace("A:", "x").replace("B:", "A:").replace("x", "B:")
        if other != label and other in ports:
            s[:, ports.index(other), k] += 0.9 * np.exp(-2j * np.pi * GRID * 10e-9)
    return SMatrix(GRID, s, ports, z0 or (50.0,) * n)


def hookup(number: int, legs: tuple[str, ...], *, switch: bool = False) -> RawHookup:
    rng = np.random.default_rng(number)
    n = len(legs)
    s = 0.1 * (rng.normal(size=(GRID.size, n, n, 2)) @ [1.0, 1.0j])
    sweep = RawSweep(GRID, s, tuple(range(1, n + 1)), AT, 0.5, {}, 0.1 * s if switch else None)
    return RawHookup(Hookup(number, dict(enumerate(legs, start=1))), sweep)


def measurement(name: str = "cord 7", **changes: object) -> Measurement:
    content = {
        "specimen": Specimen(name, 2.0),
        "created_at": AT,
        "origin": "bench",
        "station": "bench",
        "operator": "me",
        "corrected": matrix(),
        "hookups": (hookup(1, LEGS[:4]), hookup(2, LEGS[8:12], switch=True)),
    }
    return Measurement(**(content | changes))


def store(*measurements: Measurement) -> list[Path]:
    return [archive.write_record(one, Path("archive")) for one in measurements]


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.mark.parametrize("version", ["1.0", "2.0", "2.1"])
def test_a_touchstone_file_is_imported_to_the_bit_and_exported_alike(run: Callable, version: str) -> None:
    (record,) = store(measurement())
    answer = run("export", record, "--to", "touchstone", "--version", version, "--json", "-q")
    assert answer.code == 0
    (written,) = answer.json["files"]
    assert written == {
        "file": "20260301T123005Z-cord-7.s16p",
        "what": "matrix",
        "records": [str(record)],
        "notes": [],
    }
    found = run("import", written["file"], "--specimen", "cord 7", "--archive", "back", "--json").json
    again = archive.read_record(Path(found["record"]))
    assert again.corrected.s.tobytes() == matrix().s.tobytes()
    assert again.corrected.frequency_hz.tobytes() == GRID.tobytes()
    assert (again.corrected.ports, again.corrected.z0_ohm) == (LEGS, (50.0,) * 16)
    run("export", found["record"], "--to", "touchstone", "--version", version, "-o", "x.s16p")
    texts = [Path(name).read_text() for name in (written["file"], "x.s16p")]
    differing = ("! measured", "! record", "! length")
    bare = [[line for line in text.splitlines() if not line.startswith(differing)] for text in texts]
    assert bare[0] == bare[1]
    assert f"! record: {archive.content_hash(record)}" in texts[0]


def test_mixed_modes_are_imported_as_the_same_legs(run: Callable) -> None:
    (record,) = store(measurement())
    (written,) = run("export", record, "--to", "touchstone-mixed", "--json", "-q").json["files"]
    assert written["file"].endswith("-cord-7-mixed-mode.s16p")
    text = Path(written["file"]).read_text()
    # The same network told with the opposite polarity of one mode: its row and column change sign.
    lines = text.split("\n")
    start = lines.index("[Network Data]") + 1
    for point in range(GRID.size):
        for row in range(16):
            words = lines[start + 16 * point + row].split()
            head = words[:-32]
            values = np.array(list(map(float, words[-32:]))).reshape(16, 2)
            values[1] *= -1
            if row == 1:
                values *= -1
            lines[start + 16 * point + row] = " ".join([*head, *(repr(float(v)) for v in values.ravel())])
    reversed_text = "\n".join(lines).replace(" D3,4 ", " D4,3 ")
    assert " D4,3 " in reversed_text
    Path("reversed.ts").write_text(reversed_text)
    for name in (written["file"], "reversed.ts"):
        found = run("import", name, "--specimen", "c", "--archive", "back", "--json").json
        again = archive.read_record(Path(found["record"])).corrected
        assert again.ports == LEGS
        np.testing.assert_allclose(again.s, matrix().s, atol=1e-15)
    Path("wrong.ts").write_text(reversed_text.replace(" D4,3 ", " D3,4 "))
    found = run("import", "wrong.ts", "--specimen", "c", "--archive", "back", "--json").json
    assert np.max(np.abs(archive.read_record(Path(found["record"])).corrected.s - matrix().s)) > 0.5


def test_a_mixed_file_that_cannot_become_legs_is_refused(run: Callable) -> None:
    (record,) = store(measurement(corrected=matrix(LEGS[:2] + LEGS[8:10])))
    run("export", record, "--to", "touchstone-mixed", "-o", "x.ts")
    text = Path("x.ts").read_text()
    Path("y.s4p").write_text(text.replace("D3,4 C1,2 C3,4", "D2,1 C3,4 C4,3"))
    answer = run("import", "y.s4p", "--specimen", "c")
    assert answer.code == 2
    assert "[Mixed-Mode Order] has D, D of the ports of D1,2" in answer.err
    assert not Path("archive/x").exists()
    assert len(list(Path("archive").glob("*.h5"))) == 1


HOSTILE = [
    "../../x",
    "/etc/passwd",
    "C:\\Windows\\x",
    "CON",
    "NUL.s16p",
    "a\nb",
    "x" * 300,
    "..",
    ".hidden",
    "-rf",
    "~root",
    "$(touch x)",
    "\u202ecod.exe",
    "Kabel Ü",
    "=cmd|' /C calc'!A0",
    '*?<>|"',
    "  ",
]


def test_hostile_names_stay_in_the_folder_and_harm_nobody(run: Callable, own_home: Path) -> None:
    # A legal record of any name: the command line asks for tamer ones, other programs may not.
    small = matrix(LEGS[:2] + LEGS[8:10])
    records = store(*(measurement(name, corrected=small) for name in HOSTILE))
    before = {path for path in own_home.rglob("*") if path.is_file()}
    answer = run(
        "export",
        *records,
        "--to",
        "csv",
        "--what",
        "verdict",
        "--against",
        "tia-6-cord",
        "-o",
        "out",
        "--json",
        "-q",
    )
    assert answer.code == 0
    new = {path for path in own_home.rglob("*") if path.is_file()} - before
    new = {path for path in new if "cache" not in path.parts[len(own_home.parts)]}
    assert {path.resolve() for path in new} == {Path(one["file"]).resolve() for one in answer.json["files"]}
    assert {path.parent for path in new} == {own_home / "out"}
    assert len(new) == len(HOSTILE)
    for path in new:
        assert path.name.startswith("20260301T123005Z-")
        assert path.name.isascii()
        assert len(path.name) < 130
        assert not set(path.name) & set("/\\:*?\"<>|\n $()'")
    assert run("export", *records[:5], "--to", "touchstone", "-o", "out", "-q").code == 0
    names = [path.name for path in (own_home / "out").glob("*.s4p")]
    assert len({name.casefold() for name in names}) == 5
    run(
        "export",
        *records,
        "--to",
        "csv",
        "--what",
        "verdict",
        "--against",
        "tia-6-cord",
        "-o",
        "all.csv",
        "-q",
    )
    cells = [cell for row in rows(Path("all.csv")) for cell in row.values()]
    risky = [cell for cell in cells if cell.lstrip()[:1] in tuple("=+@\t\r") and cell.strip()]
    assert not risky
    assert {row["specimen"] for row in rows(Path("all.csv"))} >= {
        "'=cmd|' /C calc'!A0",
        "'-rf",
        "CON",
        "a\nb",
    }


def test_nothing_is_overwritten_unasked(run: Callable) -> None:
    (record,) = store(measurement())
    out = Path("cord.csv")
    out.write_text("mine")
    answer = run("export", record, "--to", "csv", "-o", out)
    assert answer.code == 2
    assert "exists already" in answer.err
    assert "--overwrite" in answer.err
    assert out.read_text() == "mine"
    assert run("export", record, "--to", "csv", "-o", out, "--overwrite").code == 0
    assert len(rows(out)) == GRID.size
    assert run("export", record, "--to", "parquet").code == 0
    assert run("export", record, "--to", "parquet").code == 2
    assert not list(Path().glob(".*.partial"))


def test_names_that_capitals_alone_tell_apart(run: Callable) -> None:
    records = store(measurement("Cord"), measurement("cord"), measurement("cord"))
    answer = run("export", *records, "--to", "touchstone", "--json", "-q")
    names = [Path(one["file"]).name for one in answer.json["files"]]
    assert names == [f"20260301T123005Z-{name}.s16p" for name in ("Cord", "cord~2", "cord~3")]


def test_traces_are_those_of_the_reduction(run: Callable) -> None:
    (record,) = store(measurement())
    assert run("export", record, "--to", "csv", "-o", "t.csv").code == 0
    assert run("export", record, "--to", "parquet", "-o", "t.parquet").code == 0
    traces = evaluate(archive.read_record(record)).traces
    table, frame = rows(Path("t.csv")), pd.read_parquet("t.parquet")
    assert list(table[0]) == list(frame)
    assert [float(row["frequency_hz"]) for row in table] == GRID.tolist()
    assert len(table[0]) == 1 + len(traces)
    for trace in traces:
        end = f"{trace.end} " if trace.end else ""
        name = f"{trace.parameter} {end}{'-'.join(trace.pairs)} ({trace.parameter.unit})"
        found = {float(row["frequency_hz"]): float(row[name]) for row in table if row[name]}
        assert found == dict(zip(trace.frequency_hz.tolist(), trace.value.tolist(), strict=True))
        assert frame[name].dropna().to_numpy().tobytes() == trace.value.tobytes()


def test_verdict_rows_are_those_of_grade(run: Callable) -> None:
    records = store(measurement("=one"), measurement("two"))
    options = ("--against", "tia-6-cord", "--against", "tia-6a-cord", "--length-m", "3")
    answer = run(
        "export", *records, "--to", "csv", "--what", "verdict", *options, "-o", "v.csv", "--json", "-q"
    )
    assert answer.code == 0
    assert answer.json["files"] == [
        {"file": "v.csv", "what": "verdict", "records": [str(record) for record in records], "notes": []}
    ]
    expected = [
        {
            "record": verdict["record"],
            "specimen": "'=one" if verdict["specimen"] == "=one" else "two",
            "requirement": verdict["requirement"],
            "verdict": verdict["outcome"],
            "length_m": verdict["length_m"],
            "pairs": "-".join(row["pairs"]),
            **{name: row[name] for name in ("parameter", "end", "outcome", "unit", "value", "limit")},
            "worst_margin": row["worst_margin_db"],
        }
        for record in records
        for verdict in run("grade", record, *options, "--json").json
        for row in verdict["rows"]
    ]
    found = rows(Path("v.csv"))
    assert len(found) == len(expected) > 60
    for row, wanted in zip(found, expected, strict=True):
        for name, value in wanted.items():
            if isinstance(value, float):
                assert float(row[name]) == value
            else:
                assert row[name] == (value or "")


def test_a_row_tells_what_was_kept_before(run: Callable) -> None:
    (record,) = store(measurement())
    options = (
        "--what",
        "verdict",
        "--against",
        "tia-6-cord",
        "--length-m",
        "3",
        "--overwrite",
        "-o",
        "v.csv",
    )

    def before() -> set[str]:
        assert run("export", record, "--to", "csv", *options).code == 0
        return {row["verdict_before"] for row in rows(Path("v.csv"))}

    assert before() == {""}
    grade = ("grade", record, "--length-m", "3", "--keep", "--json", "--against")
    assert run(*grade, "tia-6-cord").json["outcome"] == "fail"
    assert before() == {"fail"}
    withdrawn = Correction(archive.content_hash(record), "me", AT, "wrong", {}, withdrawn=True)
    archive.write_note(withdrawn, Path("archive"))
    assert before() == {"fail"}
    answer = run(*grade, "tia-6-cord")
    assert before() == {"undecided"}
    assert run(*grade, "tia-6a-cord").code == 3
    assert before() == {"undecided"}
    damaged = Path(answer.json["grading"])
    damaged.write_bytes(damaged.read_bytes()[:-1])
    assert before() == {""}
    assert "what was kept before is not known" in run("export", record, "--to", "csv", *options).err


@pytest.mark.parametrize("to", ["csv", "parquet"])
def test_matrix_and_raw_sweeps_as_tables(run: Callable, to: str) -> None:
    measured = measurement()
    (record,) = store(measured)

    def table(path: str) -> pd.DataFrame:
        if to == "parquet":
            return pd.read_parquet(path)
        return pd.DataFrame(rows(Path(path))).replace("", "nan")

    run("export", record, "--to", to, "--what", "matrix", "-o", f"m.{to}")
    frame = table(f"m.{to}")
    s = frame["re"].astype(float).to_numpy() + 1j * frame["im"].astype(float).to_numpy()
    assert s.tobytes() == measured.corrected.s.tobytes()
    place = 5 * 256 + 3 * 16 + 7
    assert (frame["out"][place], frame["into"][place]) == (LEGS[3], LEGS[7])
    assert float(frame["frequency_hz"][place]) == GRID[5]
    run("export", record, "--to", to, "--what", "raw", "-o", f"r.{to}")
    frame = table(f"r.{to}")
    for raw in measured.hookups:
        part = frame[frame["hookup"].astype(int) == raw.hookup.number]
        s = part["re"].astype(float).to_numpy() + 1j * part["im"].astype(float).to_numpy()
        assert s.tobytes() == raw.sweep.s.tobytes()
        assert (
            part["out"].tolist()[:16:4] == part["into"].tolist()[:4] == list(raw.hookup.connections.values())
        )
        switch = part["switch_re"].astype(float).to_numpy()
        if raw.sweep.switch_terms is None:
            assert np.all(np.isnan(switch))
        else:
            assert switch.tobytes() == np.ascontiguousarray(raw.sweep.switch_terms.real).tobytes()


def test_a_raw_sweep_is_never_taken_for_corrected_legs(run: Callable) -> None:
    measured = measurement()
    (record,) = store(measured)
    answer = run("export", record, "--to", "touchstone", "--what", "raw", "--json", "-q")
    names = [one["file"] for one in answer.json["files"]]
    assert names == [f"20260301T123005Z-cord-7-hookup{n}.s4p" for n in (1, 2)]
    assert "! Port[2] = analyzer port 2, A:12.2\n" in Path(names[0]).read_text()
    refused = run("import", names[0], "--specimen", "x")
    assert refused.code == 2
    assert "needs a port map" in refused.err


def test_a_bundle_gives_a_file_for_each_disturbing_cable(run: Callable) -> None:
    beside = tuple(f"3.{leg}" for leg in LEGS[:2])
    measured = measurement(couplings=(matrix(LEGS[:2] + beside),), hookups=())
    (record,) = store(measured)
    answer = run("export", record, "--to", "touchstone", "--json", "-q")
    names = [one["file"] for one in answer.json["files"]]
    assert names == ["20260301T123005Z-cord-7.s16p", "20260301T123005Z-cord-7-cable3.s4p"]
    found = run("import", names[1], "--specimen", "b", "--archive", "back", "--json").json
    again = archive.read_record(Path(found["record"]))
    assert again.couplings[0].ports == LEGS[:2] + beside
    assert again.couplings[0].s.tobytes() == measured.couplings[0].s.tobytes()


def test_modes_behind_baluns_go_into_a_mixed_file_alone(run: Callable) -> None:
    ports = tuple(f"{port}/{mode}" for mode in "dc" for port in ("A:12", "B:12"))
    tapped = measurement(corrected=matrix(ports, z0=(100.0, 100.0, 25.0, 25.0)))
    untapped = measurement("no taps", corrected=matrix(ports[:2], z0=(100.0, 100.0)))
    with_taps, without = store(tapped, untapped)
    for record in (with_taps, without):
        answer = run("export", record, "--to", "touchstone")
        assert answer.code == 2
        assert "touchstone-mixed" in answer.err
    answer = run("export", without, "--to", "touchstone-mixed")
    assert answer.code == 2
    assert "A:12/c was not measured" in answer.err
    run("export", with_taps, "--to", "touchstone-mixed", "-o", "m.s4p")
    text = Path("m.s4p").read_text()
    assert "[Reference] 50.0 50.0 50.0 50.0\n" in text
    assert "[Mixed-Mode Order] D1,2 D3,4 C1,2 C3,4\n" in text
    values = np.array(text.split("[Network Data]")[1].split("[End]")[0].split(), float).reshape(GRID.size, 33)
    assert values[:, 1:].copy().view(complex).tobytes() == tapped.corrected.s.tobytes()
    assert run("export", without, "--to", "parquet", "-o", "t.parquet").code == 0
    assert [name for name in pd.read_parquet("t.parquet") if name.startswith("return_loss")] == [
        "return_loss A 12 (dB)",
        "return_loss B 12 (dB)",
    ]


def test_corrections_of_a_record_count(run: Callable) -> None:
    (record,) = store(measurement("wrong"))
    note = Correction(archive.content_hash(record), "me", AT, "mixed up", {"identifier": "right"})
    archive.write_note(note, Path("archive"))
    answer = run("export", record, "--to", "touchstone", "--json", "-q")
    (written,) = answer.json["files"]
    assert written["file"] == "20260301T123005Z-right.s16p"
    text = Path(written["file"]).read_text()
    assert "! specimen: right\n" in text
    assert "mixed up" in written["notes"][0]
    assert f"! note: {written['notes'][0]}\n" in text
    withdrawn = Correction(note.record, "me", AT, "wrong fixture", {}, withdrawn=True)
    archive.write_note(withdrawn, Path("archive"))
    options = ("--what", "verdict", "--against", "tia-6-cord", "-o", "v.csv")
    answer = run("export", record, "--to", "csv", *options)
    assert "withdrawn by me" in answer.err
    table = rows(Path("v.csv"))
    assert {(row["specimen"], row["verdict"]) for row in table} == {("right", "undecided")}
    assert all("withdrawn by me" in row["doubts"] for row in table)


def test_a_sweep_of_a_series(run: Callable) -> None:
    legs = LEGS[:4]
    head = SeriesHead(
        *(Specimen("soak"), AT, "bench", "", "soak", Hookup(1, dict(enumerate(legs, 1))), GRID),
        *(AnalyzerIdentity("x", "named-measurement", 4), SweepSettings(1e6, 500e6, GRID.size, 1e3), None, ""),
    )
    sweeps = [hookup(number, legs).sweep for number in (1, 2, 3)]
    with SeriesWriter(Path("series"), "key") as writer:
        writer.begin(head)
        for number, sweep in enumerate(sweeps, 1):
            writer.append(SeriesSweep(number, replace(sweep, taken_at=AT), {}, ()))
        path = writer.pack(SeriesEnding(AT, "enough"))
    for options, expected in ((("--sweep", "2"), sweeps[1]), ((), sweeps[2])):
        answer = run(
            "export",
            path,
            "--to",
            "touchstone",
            "--what",
            "raw",
            *options,
            "--json",
            "-q",
            "-o",
            "o",
            "--overwrite",
        )
        (written,) = answer.json["files"]
        found = Path(written["file"])
        assert written["records"][0].endswith(f"sweep {sweeps.index(expected) + 1}")
        numbers = [line for line in found.read_text().splitlines() if line[0] not in "!#"]
        values = np.array(" ".join(numbers).split(), float).reshape(GRID.size, 33)[:, 1:]
        assert values.copy().view(complex).tobytes() == expected.s.tobytes()
    answer = run("export", path, "--to", "csv")
    assert answer.code == 2
    assert "recorded without a calibration" in answer.err


REFUSED = [
    (("--to", "csv", "-o", "x.parquet"), "is a .csv file"),
    (("--to", "touchstone", "-o", "x.s4p"), "is a .s16p file"),
    (("--to", "touchstone", "-o", "x.ts"), "is a .s16p file"),
    (("--to", "touchstone", "--version", "3.0"), "version 3.0 is not written"),
    (("--to", "touchstone-mixed", "--version", "1.0"), "version 2.0 or 2.1, not 1.0"),
    (("--to", "csv", "--version", "2.0"), "says nothing of csv"),
    (("--to", "touchstone", "--what", "traces"), "cannot hold 'traces'"),
    (("--to", "touchstone-mixed", "--what", "raw"), "cannot hold 'raw'"),
    (("--to", "csv", "--what", "verdict"), "a verdict needs a requirement"),
    (("--to", "csv", "--against", "tia-6-cord"), "nothing is graded for an export of traces"),
    (("--to", "csv", "--decision", "guard-band"), "--decision does nothing"),
    (("--to", "csv", "--what", "matrix", "--length-m", "2"), "--length-m does nothing"),
    (("--to", "csv", "--sweep", "2"), "is no series"),
    (("--to", "touchstone", "--what", "raw", "-o", "x.s4p"), "2 files do not go into one file"),
    (("--to", "xlsx"), "xlsx"),
]


def test_what_makes_no_sense_is_refused_and_writes_nothing(run: Callable) -> None:
    (record,) = store(measurement())
    suffixes = (".csv", ".s16p", ".s4p", ".ts", ".parquet")
    for options, words in REFUSED:
        answer = run("export", record, *options)
        assert answer.code == 2, options
        assert words in " ".join(answer.err.split()), options
        assert not [path for path in Path().rglob("*") if path.suffix in suffixes], options
    assert run("export", record, "--to", "csv", "-o", "archive").code == 0
    assert [path.name for path in Path("archive").glob("*.csv")] == ["20260301T123005Z-cord-7-traces.csv"]


def test_records_that_are_none_or_have_no_sweeps(run: Callable) -> None:
    first, second = store(measurement(), measurement("imported", hookups=(), source_file="x.s16p"))
    assert run("export", "nothing.h5", "--to", "csv").code == 2
    answer = run("export", second, "--to", "csv", "--what", "raw")
    assert answer.code == 2
    assert "imported from x.s16p" in answer.err
    assert run("export", first, second, "--to", "csv", "-o", "x.csv").code == 2
    damaged = bytearray(first.read_bytes())
    damaged[-100] ^= 1
    first.write_bytes(damaged)
    assert run("export", first, "--to", "touchstone").code == 6
    assert not list(Path().glob("*.s16p"))
