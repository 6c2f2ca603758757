"""Texts with fields, and translations: found, checked, refused."""

from __future__ import annotations

import pickle
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.report.document import Given, Strong, plain
from benchsweep.report.text import Texts, english, load_texts
from benchsweep.report.text._entries import TextsByTable
from tests.report.text.pseudo import TAG, marked, outside_marks, pseudo_language, translation

MADE = Texts(
    "en",
    {
        "a.plain": "words",
        "a.two": "{second} before {first}, {second} again",
        "a.count": {"one": "a trace of {whole}", "other": "{count} traces of {whole}"},
    },
)


def test_fields_are_filled_in_once() -> None:
    assert MADE("a.plain") == "words"
    # What is filled in is not looked at again.
    assert MADE("a.two", first="{second}", second=7) == "7 before {second}, 7 again"


@pytest.mark.parametrize(
    ("count", "words"), [(0, "0 traces of 9"), (1, "a trace of 9"), (2, "2 traces of 9")]
)
def test_the_count_chooses_the_form(count: int, words: str) -> None:
    assert MADE("a.count", count=count, whole=9) == words


def test_a_field_too_few_or_too_many_is_a_mistake_of_ours() -> None:
    with pytest.raises(KeyError):
        MADE("a.nowhere")
    with pytest.raises(KeyError, match="first"):
        MADE("a.two", second="x")
    with pytest.raises(TypeError, match="no field third"):
        MADE("a.two", first="x", second="y", third="z")
    with pytest.raises(KeyError, match="count"):
        MADE("a.count", whole=3)


def test_a_line_keeps_what_others_gave_apart() -> None:
    line = MADE.line("a.two", first=Given("<b>{second}"), second=(Strong("so"), " on"))
    assert line == (
        Strong("so"),
        " on",
        " before ",
        Given("<b>{second}"),
        ", ",
        Strong("so"),
        " on",
        " again",
    )
    assert plain(line) == MADE("a.two", first="<b>{second}", second="so on")
    assert MADE.line("a.count", count=2, whole=3) == ("2", " traces of ", "3")


def test_texts_go_to_other_processes() -> None:
    english()("count.all_pass", count=3)
    again = pickle.loads(pickle.dumps(english()))
    assert again == english()
    assert again("count.all_pass", count=3) == "all 3 graded traces pass"


def test_a_translation_says_everything_in_its_own_words(tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    assert texts.language == TAG
    assert texts.entries.keys() == english().entries.keys()
    assert texts("parameter.ps_acr_f") == "«PS ACR-F»"
    told = texts("where.pair", pairs=texts("where.all"))
    assert told == "«pair «all»»"
    assert outside_marks(f"{told} 12.5 dB") == " 12.5 dB"


def test_a_name_is_looked_for_in_the_working_folder_then_in_the_data_folder(own_home: Path) -> None:
    with pytest.raises(UnknownName, match="no language named 'qps-ploc'; there are: en"):
        load_texts(TAG)
    data = own_home / "xdg_data_home" / "benchsweep" / "texts"
    data.mkdir(parents=True)
    translation(data, lambda text: f"(data) {text}")
    assert load_texts(TAG)("parameter.next") == "(data) NEXT"
    here = own_home / "texts"
    here.mkdir()
    translation(here, lambda text: f"(here) {text}")
    assert load_texts(TAG)("parameter.next") == "(here) NEXT"


def test_own_english_words_are_used_by_name_and_never_by_default(own_home: Path) -> None:
    folder = own_home / "texts"
    folder.mkdir()
    translation(folder, language="en")
    assert load_texts("en")("parameter.next") == "«NEXT»"
    assert english()("parameter.next") == "NEXT"


def test_a_language_of_one_form_and_fields_in_another_order(tmp_path: Path) -> None:
    entries = dict(english().entries)
    entries["count.of"] = "{told} / {count}"
    # A text with a count may have two forms where English has one.
    entries["origins.more"] = {"one": "another", "other": "{count} others"}
    texts = load_texts(translation(tmp_path, lambda text: text, entries=entries))
    assert texts("count.of", count=1, told="3 pass") == "3 pass / 1"
    assert texts("origins.more", count=1) == "another"
    assert texts("origins.more", count=4) == "4 others"


def without(key: str) -> Callable[[dict[str, object]], None]:
    return lambda entries: entries.__delitem__(key)


def with_entry(key: str, value: object) -> Callable[[dict[str, object]], None]:
    return lambda entries: entries.__setitem__(key, value)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (without("row.inside"), r"row\.inside: this key is missing; in English: '\{what\}"),
        (with_entry("row.insde", "x"), r"row\.insde: unknown key; did you mean row\.inside\?"),
        (with_entry("row.inside", "{what} {margin}"), r"row\.inside: the field \{unit\} is missing"),
        (
            with_entry("row.inside", "{what} {margin} {unit} {untt}"),
            r"row\.inside: \{untt\} is no field of this text; did you mean unit\?",
        ),
        (with_entry("where.end", ""), r"where\.end: must not be empty"),
        (with_entry("where.end", "{end}" + "x" * 2000), r"where\.end: must have at most 2000 characters"),
        (with_entry("where.end", "\u202e{end}"), r"where\.end: control, direction"),
        (with_entry("where.end", "{end}\n"), r"where\.end: control, direction"),
        (with_entry("where.end", 3), r"where\.end: must be a text"),
        (with_entry("where.end", ["{end}"]), r"where\.end: must be a text"),
        (
            with_entry("where.end", {"one": "{end}", "other": "{end}"}),
            r"chosen by \{count\}, which this text",
        ),
        (
            with_entry("count.of", {"one": "{told}", "other": "{told}"}),
            r"count\.of: other: the field \{count\}",
        ),
        (
            with_entry("count.of", {"one": "", "other": "{count} {told}"}),
            r"count\.of: one: must not be empty",
        ),
        (
            with_entry("count.of", {"one": "{told}", "few": "{told}", "other": "x"}),
            r"count\.of\.one: unknown key",
        ),
    ],
)
def test_a_translation_that_says_other_than_english_is_refused_by_file_and_key(
    tmp_path: Path, spoil: Callable[[dict[str, object]], None], words: str
) -> None:
    entries = dict(english().entries)
    spoil(entries)
    path = translation(tmp_path, lambda text: text, entries=entries)
    with pytest.raises(DefinitionError, match=words) as told:
        load_texts(path)
    assert told.value.message.startswith(f"{path}: ")
    assert told.value.hint


# Format strings of Python that would reach into objects, or make a text of any length.
HOSTILE = (
    "{end.__class__}",
    "{end.__class__.__mro__}",
    "{end[0]}",
    "{0}",
    "{}",
    "{end!r}",
    "{end:>1000000000}",
    "{end:{end}}",
    "{{end}}",
    "{ end }",
    "{END}",
    "{end",
    "end}",
    "%(end)s {",
    "{éend}",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_formats_attributes_and_indexes_are_refused(tmp_path: Path, text: str) -> None:
    entries = {**english().entries, "where.end": text}
    path = translation(tmp_path, lambda text: text, entries=entries)
    with pytest.raises(
        DefinitionError, match=r"where\.end: braces stand around the name of a field and nowhere"
    ):
        load_texts(path)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("schema = 1", "schema = 2", "schema: must be 1"),
        ("schema = 1", "schema = true", "schema: must be 1"),
        ("schema = 1", "", "schema: must be 1"),
        (f'language = "{TAG}"', 'language = "de\\" onload=\\""', "language: must be the BCP 47 tag"),
        (f'language = "{TAG}"', "language = 7", "language: must be the BCP 47 tag"),
        (f'language = "{TAG}"', "", "language: must be the BCP 47 tag"),
        ("schema = 1", "schema = 1\nauthor = 'x'", "author: unknown key"),
        ("schema = 1", "schema = 1 1", "not valid TOML"),
    ],
)
def test_the_head_of_a_translation(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = pseudo_language(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(DefinitionError, match=words) as told:
        load_texts(path)
    assert told.value.message.startswith(f"{path}: ")


def test_a_translation_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(UnknownName, match=r"language .*nowhere\.toml: no such file"):
        load_texts(tmp_path / "nowhere.toml")
    path = tmp_path / "bytes.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DefinitionError, match=r"bytes\.toml: cannot be read"):
        load_texts(path)


def test_many_missing_keys_are_named_together(tmp_path: Path) -> None:
    path = tmp_path / "short.toml"
    path.write_text('schema = 1\nlanguage = "de"\n[parameter]\nnext = "NEXT"\n', encoding="utf-8")
    with pytest.raises(
        DefinitionError, match=r"parameter\.insertion_loss: this key is missing.* and \d+ more"
    ):
        load_texts(path)


def test_marks() -> None:
    assert marked("a") == "«a»"
    with pytest.raises(AssertionError):
        outside_marks("«a")


def test_a_table_is_read_when_it_is_asked_for() -> None:
    text = '[a]\nx = "1"\n[b.c]\ny = { one = "2", other = "3 {count}" }\n[b.d]\nz = "4"\n[e]\nbroken = \n'
    lazy = TextsByTable(text)
    assert lazy["b.d.z"] == "4"
    assert lazy["a.x"] == "1"
    assert lazy["b.c.y"] == {"one": "2", "other": "3 {count}"}
    with pytest.raises(KeyError):
        lazy["a.nothing"]
    with pytest.raises(KeyError):
        lazy["nowhere.x"]
    with pytest.raises(tomllib.TOMLDecodeError):
        lazy["e.broken"]
    whole = TextsByTable(text[: text.index("[e]")])
    assert whole["b.d.z"] == "4"
    assert list(whole) == ["a.x", "b.c.y", "b.d.z"]
    assert len(whole) == 3
    assert whole == {"b.d.z": "4", "b.c.y": {"one": "2", "other": "3 {count}"}, "a.x": "1"}
    assert whole != {"a.x": "1"}
