"""Command families as data: what a file may say, and that a user's own file wins."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from benchsweep.definitions import find_definition
from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.instrument import list_families, load_family
from benchsweep.instrument.families._behaviours import PARAMETER_NAMES, SWEEP, parse_parameter
from benchsweep.instrument.families._family import Behaviours
from benchsweep.instrument.matrix._ways import WAYS

SHIPPED = "named-measurement"


def shipped_text() -> str:
    return find_definition("families", SHIPPED).read_text(encoding="utf-8")


def write(tmp_path: Path, text: str) -> str:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_shipped_family_states_its_standing() -> None:
    for family in list_families():
        assert family.standing in ("common-practice", "from-memory")
        assert "memory" in family.source


def test_numbers_lose_nothing() -> None:
    family = load_family(SHIPPED)
    commands = family.fill("grid", start_hz=1e6, stop_hz=499_999_999.5, points=1001)
    assert commands == ("SENS1:FREQ:STAR 1000000", "SENS1:FREQ:STOP 499999999.5", "SENS1:SWE:POIN 1001")
    assert family.fill("power", power_dbm=-5.0) == ("SOUR1:POW -5",)
    assert family.ask("matrix", ports="1,2") == "CALC1:DATA:SNP:PORT? '1,2'"


def test_own_file_of_the_same_name_wins(own_home: Path) -> None:
    folder = own_home / "families"
    folder.mkdir()
    (folder / f"{SHIPPED}.toml").write_text(
        shipped_text().replace("channel = 1", "channel = 3"), encoding="utf-8"
    )
    assert load_family(SHIPPED).fill("hold")[0] == "INIT3:CONT OFF"


def test_every_behaviour_that_a_file_may_name_exists() -> None:
    def choices(field: str) -> set[str]:
        annotation = Behaviours.model_fields[field].annotation
        words = get_args(annotation)
        return set(get_args(words[0])) if words[-1] is Ellipsis else set(words)

    assert choices("sweep") == set(SWEEP)
    assert choices("matrix") == set(WAYS)
    assert choices("parameter_names") == set(PARAMETER_NAMES)


def test_parameter_names() -> None:
    equal = PARAMETER_NAMES["equal-digits-above-nine"]
    underscore = PARAMETER_NAMES["underscore-above-nine"]
    assert [equal(2, 1), equal(10, 1), equal(1, 9), equal(9, 16)] == ["S21", "S1001", "S19", "S0916"]
    assert [underscore(2, 1), underscore(10, 1), underscore(9, 16)] == ["S21", "S10_1", "S9_16"]
    for spelling in (equal, underscore):
        for pair in ((2, 1), (1, 9), (10, 1), (9, 16), (16, 16)):
            assert parse_parameter(spelling(*pair)) == pair
            assert parse_parameter(f'"{spelling(*pair).lower()}"') == pair
    assert parse_parameter("'XFR:S21'") == (2, 1)
    assert [parse_parameter(text) for text in ("", "S", "S1", "S123", "A21", "S1_", "NO CATALOG")] == [
        None
    ] * 7


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("abort = ", "abrot = ", "abrot"),
        ("{start_hz}", "{start}", "unknown field {start}"),
        ('"ABOR"', '"ABOR?"', "is a question"),
        ('matrix = ["snp-rows", "by-trace"]', 'matrix = ["by-magic"]', "behaviours.matrix"),
        ('matrix = ["snp-rows", "by-trace"]', "matrix = []", "behaviours.matrix"),
        ('trace = "CALC', '# trace = "CALC', "queries.trace: missing"),
        ('matrix = "CALC', '# matrix = "CALC', "queries.matrix: missing"),
        ("averaged_sweep = ", "# averaged_sweep = ", "commands.averaged_sweep: missing"),
        ('segments = "one-by-one"', "", "behaviours.segments: missing"),
        ("segment_sweep = ", "# segment_sweep = ", "commands.segment_sweep: missing"),
        ('["snp-rows", "by-trace"]', '["by-trace", "by-sweep"]', "cannot stand beside"),
        ("channel = 1", "channel = 1\nfixed_ports = 2", "number of ports"),
        ("schema = 1", "schema = 2", "schema"),
        ('tells = "ports"', 'tells = "nothing"', "number of ports"),
        ('points = "SENS{channel}:SWE:POIN?"', 'points = "SENS{channel}:SWE:POIN"', "no question"),
        ('"SYST:PRES"', '"SYST:{PRES"', "SYST:{PRES"),
    ],
)
def test_a_wrong_file_names_file_and_key(tmp_path: Path, old: str, new: str, words: str) -> None:
    text = shipped_text()
    assert old in text
    with pytest.raises(DefinitionError) as caught:
        load_family(write(tmp_path, text.replace(old, new, 1)))
    assert "own.toml" in caught.value.message
    assert words in caught.value.message + caught.value.hint


def test_unknown_name_lists_what_there_is() -> None:
    with pytest.raises(UnknownName, match=SHIPPED):
        load_family("telepathy")


def test_a_file_is_named_as_the_family_in_it(own_home: Path) -> None:
    folder = own_home / "families"
    folder.mkdir()
    (folder / "mill.toml").write_text(shipped_text(), encoding="utf-8")
    with pytest.raises(
        DefinitionError, match=r"mill\.toml: name: 'named-measurement' is not .* 'mill'"
    ) as caught:
        load_family("mill")
    assert "rename the file" in caught.value.hint
    assert "mill" not in [family.name for family in list_families()]


def test_the_digest_changes_with_what_is_said_and_not_with_words_for_people(tmp_path: Path) -> None:
    def digest(old: str, new: str) -> str:
        assert old in shipped_text()
        path = tmp_path / f"{SHIPPED}.toml"
        path.write_text(shipped_text().replace(old, new, 1), encoding="utf-8")
        return load_family(str(path)).digest

    same = load_family(SHIPPED).digest
    assert len(same) == 12
    assert digest("\ntitle = ", "\n# a remark\ntitle = ") == same
    assert digest('title = "', 'title = "Our ') == same
    assert digest("INIT", "INITiate") != same
    assert digest("channel = 1", "channel = 2") != same
