from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal, Self

import pytest
from pydantic import Field, model_validator

from benchsweep.definitions import (
    Definition,
    data_folder,
    find_definition,
    list_definitions,
    load_model,
    validate_model,
)
from benchsweep.errors import DefinitionError, UnknownName


class Inner(Definition):
    loss_db: float


class Example(Definition):
    name: str
    inner: tuple[Inner, ...] = ()
    count: int = Field(default=1, ge=1)


def test_a_typo_names_file_and_key(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text('name = "x"\n[[inner]]\nloss_bd = 1.0\n')
    with pytest.raises(DefinitionError) as caught:
        load_model(path, Example)
    text = f"{caught.value.message} {caught.value.hint}"
    assert str(path) in text
    assert "inner[0].loss_bd: unknown key; did you mean loss_db?" in text
    assert "inner[0].loss_db: this key is missing" in text


def test_a_wrong_type_says_what_was_wanted() -> None:
    with pytest.raises(DefinitionError, match=r"here: count: .*greater than or equal to 1"):
        validate_model('name = "x"\ncount = 0', Example, where="here")


def test_broken_toml_names_the_line() -> None:
    with pytest.raises(DefinitionError, match=r"here: not valid TOML: .*line 1"):
        validate_model("name = \nx = 1", Example, where="here")


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", None])
def test_an_unreadable_file_is_a_definition_error(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "x.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(DefinitionError, match="cannot be read"):
        load_model(path, Example)


def test_the_working_folder_wins_over_the_data_folder_and_that_over_what_is_shipped(own_home: Path) -> None:
    shipped = find_definition("stations", "simulated")
    mine = data_folder() / "stations" / "simulated.toml"
    mine.parent.mkdir(parents=True)
    mine.write_text("")
    assert find_definition("stations", "simulated") == mine
    local = Path.cwd() / "stations" / "simulated.toml"
    local.parent.mkdir()
    local.write_text("")
    assert find_definition("stations", "simulated") == local
    assert shipped not in (mine, local)
    assert list_definitions("stations")["simulated"] == local


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(UnknownName, match=r"no station named 'bnech'; there are: .*simulated"):
        find_definition("stations", "bnech")
    with pytest.raises(UnknownName, match="no such file") as caught:
        find_definition("stations", "./bnech.toml")
    assert f"looked for {Path.cwd() / 'bnech.toml'}" in caught.value.message
    assert str(Path.cwd() / "stations") in caught.value.hint
    with pytest.raises(UnknownName, match=r"no such file$"):
        find_definition("stations", "/nowhere/bnech.toml")


class Bounded(Definition):
    wait_s: float = Field(default=1.0, ge=0, le=86_400)
    inner: tuple[Inner, ...] = ()
    ceilings: dict[str, float] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _never_three(self) -> Self:
        if self.wait_s == 3.0:
            raise ValueError("three is refused")
        return self


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
@pytest.mark.parametrize("key", ["wait_s = {}", "inner = [{{ loss_db = {} }}]", "ceilings = {{ a = {} }}"])
def test_no_number_of_any_file_is_infinite_or_none(number: str, key: str) -> None:
    with pytest.raises(DefinitionError, match="must be a finite number, not inf or nan") as caught:
        validate_model(key.format(number), Bounded, where="here")
    assert "than" not in caught.value.message


def test_what_is_wrong_with_the_whole_needs_no_key() -> None:
    with pytest.raises(DefinitionError, match=r"^here: three is refused$"):
        validate_model("wait_s = 3.0", Bounded, where="here")


class Round(Definition):
    kind: Literal["round"]
    radius_mm: float = 1.0


class Square(Definition):
    kind: Literal["square"]
    side_mm: float = Field(default=1.0, alias="side")


class Board(Definition):
    hole: tuple[Annotated[Round | Square, Field(discriminator="kind")], ...] = ()
    named: Mapping[str, Round] = {}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("hoel = 1", "hoel: unknown key; did you mean hole? Known here: hole, named"),
        ("zzz = 1", "zzz: unknown key; known here: hole, named"),
        (
            '[[hole]]\nkind = "round"\nradius = 2.0',
            "radius: unknown key; did you mean radius_mm? Known here: radius_mm, kind",
        ),
        (
            '[[hole]]\nkind = "square"\nsides = 2.0',
            "sides: unknown key; did you mean side? Known here: side, kind",
        ),
        (
            '[named.one]\nkind = "round"\nradius = 2.0',
            "named.one.radius: unknown key; did you mean radius_mm? Known here: radius_mm, kind",
        ),
    ],
)
def test_an_unknown_key_is_answered_by_those_there_are_likeliest_first(text: str, words: str) -> None:
    with pytest.raises(DefinitionError) as caught:
        validate_model(text, Board, where="board.toml")
    assert words in caught.value.message


class Screw(Definition):
    name: str
    length_mm: float


class Plate(Definition):
    holes: tuple[Annotated[Round | Square, Field(discriminator="kind")], ...] = Field(min_length=1)
    side: Literal["front", "back"] = "front"
    drilled: bool = False
    count: int = 1
    thickness_mm: float | None = None
    edges: tuple[float, ...] = ()
    screws: tuple[Screw, ...] = ()


def refused(text: str) -> DefinitionError:
    with pytest.raises(DefinitionError) as caught:
        validate_model(text, Plate, where="plate.toml")
    return caught.value


def test_a_list_is_not_called_too_short_because_its_items_are_wrong() -> None:
    error = refused('[[holes]]\nkind = "round"\nradius_mm = "wide"')
    assert error.message == (
        "plate.toml: holes[0].radius_mm: input should be a valid number (no. 1 of holes)"
    )
    assert "at least" not in error.hint
    assert "holes: tuple should have at least 1 item" in refused("holes = []").message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('holes = [{ kind = "rond" }]', "holes[0].kind: 'rond' is none of round, square; "),
        (
            'holes = [{ kind = "Round" }]',
            "'Round' is none of round, square; did you mean round? (no. 1 of holes)",
        ),
        ("holes = [{ }]", "holes[0].kind: this key is missing"),
        ('side = "fornt"', "side: 'fornt' is none of front, back; did you mean front?"),
        ('side = "zz"', "side: 'zz' is none of back, front"),
        (
            'holes = [{ kind = "round" }, { kind = "square", sid = 1.0 }]',
            "holes[1].sid: unknown key; did you mean side?",
        ),
        ('[[screws]]\nname = "long"', "screws[0].length_mm: this key is missing (no. 1 of screws, long)"),
        ("hole = []", "hole: unknown key; did you mean holes? Known here: holes, "),
    ],
)
def test_a_wrong_choice_is_answered_by_the_likeliest(text: str, words: str) -> None:
    message = f"{refused(text).message}; {refused(text).hint}"
    assert words in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('thickness_mm = "1"', "thickness_mm: must be a number; write 1 without quotes"),
        ('thickness_mm = "1,5"', "thickness_mm: must be a number; write 1.5 without quotes"),
        ("thickness_mm = true", "thickness_mm: input should be a valid number"),
        ('edges = [1.0, "2"]', "edges[1]: must be a number"),
        ('count = "2"', "count: must be a number; write 2 without quotes"),
        ('drilled = "yes"', "drilled: input should be a valid boolean"),
    ],
)
def test_a_number_in_quotes_is_none(text: str, words: str) -> None:
    error = refused(f'holes = [{{ kind = "round" }}]\n{text}')
    assert words in error.message


def test_a_whole_number_is_one_with_a_fraction_too() -> None:
    plate = validate_model(
        'holes = [{ kind = "round", radius_mm = 2 }]\nthickness_mm = 3\nedges = [1, 2]', Plate, where="here"
    )
    assert (plate.thickness_mm, plate.edges) == (3.0, (1.0, 2.0))
    assert isinstance(plate.thickness_mm, float)


@pytest.mark.parametrize(
    "text",
    [
        "thickness_mm = 46,4",
        "count = 1\nthickness_mm = 46,4  # mm\ncount = 2",
        'holes = [{ kind = "round", radius_mm = 46,4 }]',
        'holes = [{ radius_mm = 46,4, kind = "round" }]',
    ],
)
def test_a_decimal_comma_is_answered_by_a_point(text: str) -> None:
    error = refused(text)
    assert "not valid TOML" in error.message
    assert error.hint == "Write numbers with a point: 46.4 in place of 46,4."


def test_a_comma_elsewhere_is_not_taken_for_a_decimal_one() -> None:
    assert refused("edges = [46,4]\ncount =").hint == "Correct the file at that line."
    assert refused('side = "a = 1,2" x').hint == "Correct the file at that line."
