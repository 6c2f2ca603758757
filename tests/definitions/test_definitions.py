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
    assert "inner[0].loss_bd: unknown key" in text
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
        ("hoel = 1", "hoel: unknown key; known here: hole, named"),
        ('[[hole]]\nkind = "round"\nradius = 2.0', "radius: unknown key; known here: radius_mm, kind"),
        ('[[hole]]\nkind = "square"\nsides = 2.0', "sides: unknown key; known here: side, kind"),
        ('[named.one]\nkind = "round"\nradius = 2.0', "radius: unknown key; known here: radius_mm, kind"),
    ],
)
def test_an_unknown_key_is_answered_by_those_there_are_likeliest_first(text: str, words: str) -> None:
    with pytest.raises(DefinitionError) as caught:
        validate_model(text, Board, where="board.toml")
    assert words in caught.value.message
