"""Field testers through the command line: register, bench records, look, compare, follow, report, prove."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from benchsweep import archive
from benchsweep.records import FOUR_PAIRS
from tests.cli.test_hostile_text import HIDDEN, assert_harmless
from tests.qualification.comparisons.made import (
    CHANNEL,
    TESTER,
    Errors,
    constant,
    measured,
    no_error,
    statement,
    told_file,
)

Run = Callable[..., Any]
BY = ("--by", "I. Vogt")


@pytest.fixture
def lab(run: Run, own_home: Path) -> Iterator[Run]:
    """An archive with a channel, a bench record of it, and a tester; and the commands."""
    channel = ("compare", "channel", CHANNEL, "--part", "2 m cord", "--part", "90 m cable")
    assert run(*channel, "--length-m", "100", "--against", "tia-6-channel", *BY).code == 0
    record = archive.write_record(measured(), Path("archive"))
    assert run("compare", "bench", CHANNEL, record, *BY).code == 0
    assert run("compare", "tester", TESTER, "--accuracy", "demonstration", *BY).code == 0
    return run


def told(name: str = "told.csv", errors: Errors = no_error, **how: Any) -> Path:
    return told_file(Path(name), errors, **how)


def add(run: Run, path: Path, *more: str | Path) -> Any:
    return run("compare", "add", TESTER, CHANNEL, path, "--mapping", "long-values", *BY, *more)


def test_from_the_file_to_report_and_proof(lab: Run) -> None:
    path, stated = told(), statement(Path("mating.toml"))
    looked = lab("compare", "look", path, "--mapping", "long-values", "--channel", CHANNEL)
    assert (looked.code, "does not fit" in looked.out) == (0, False)
    last = " ".join(looked.out.split("\nresult ")[1].split())
    assert last.startswith(f"it fits the channel {CHANNEL}: ")
    assert "it lacks" in last
    assert len(looked.out.splitlines()) < 40
    every = lab("compare", "look", path, "--mapping", "long-values", "--channel", CHANNEL, "--every")
    assert len(every.out.splitlines()) > len(looked.out.splitlines()) + 20
    document = lab("compare", "look", path, "--mapping", "long-values", "--channel", CHANNEL, "--json").json
    assert document["fits"] == last
    alone = lab("compare", "look", path, "--mapping", "long-values")
    assert "--channel names" in " ".join(alone.out.split())
    done = add(lab, path, "--statement", stated)
    assert done.code == 0, done.out + done.err
    assert done.out.startswith("outcome      agrees")
    answer = add(lab, path, "--statement", stated, "--json")
    assert answer.code == 0
    assert answer.json["schema"] == "benchsweep.comparison/1"
    assert answer.json["outcome"] == "agrees"
    history = lab("compare", "history", "tester", TESTER, "--json")
    assert history.json["schema"] == "benchsweep.tester/1"
    written = lab("compare", "report", TESTER, "-o", "a.html", "-o", "a.pdf", "--json")
    assert written.code == 0, written.err
    page = Path("a.html").read_text()
    for words in (TESTER, CHANNEL, "agrees", "demonstration", written.json["number"]):
        assert words in page
    assert Path("a.pdf").read_bytes().startswith(b"%PDF")
    proof = lab("compare", "prove", TESTER, "--number", "1")
    assert proof.code == 0, proof.out + proof.err
    kept = lab("compare", "prove", TESTER, "--json").json
    assert lab("compare", "prove", TESTER, "--digest", kept["digest"][:16]).code == 0
    assert lab("compare", "prove", TESTER, "--digest", "0" * 64).code == 1


def test_a_tester_that_tells_too_much_disagrees(lab: Run) -> None:
    done = add(lab, told(errors=constant(4.0)), "--statement", statement(Path("mating.toml")))
    assert done.code == 1
    assert done.out.startswith("outcome      disagrees")
    assert "E_n" in done.out
    listed = lab("compare", "list")
    assert "disagrees" in listed.out


def test_exchanged_pairs_are_noticed_before_and_after(lab: Run) -> None:
    exchanged = dict(zip(FOUR_PAIRS, ("12", "45", "36", "78"), strict=True))
    path = told(names=exchanged.__getitem__)
    looked = lab("compare", "look", path, "--mapping", "long-values", "--channel", CHANNEL)
    assert looked.code == 3
    assert len(re.findall("^does not fit ", looked.out, re.MULTILINE)) == 2
    assert "does not fit the channel" in " ".join(looked.out.split("\nresult ")[1].split())
    assert "36" in looked.out.split("file")[0]
    assert "45" in looked.out.split("file")[0]
    document = lab("compare", "look", path, "--mapping", "long-values", "--channel", CHANNEL, "--json").json
    assert [each["kind"] for each in document["suspicions"]] == ["pairs-swapped"]
    done = add(lab, path, "--statement", statement(Path("mating.toml")))
    assert done.code == 3
    assert done.out.startswith("outcome      undecided")


def test_numbers_read_off_the_tester(lab: Run) -> None:
    stated = statement(Path("mating.toml"))
    first = add(lab, told(), "--statement", stated, "--json").json
    row = next(row for row in first["rows"] if row["parameter"] == "insertion_loss")
    text = f"insertion_loss {row['end'] or 'A'} {row['pairs'][0]} margin {row['bench_margin']:.2f} at 1 MHz"
    done = lab("compare", "add", TESTER, CHANNEL, "--told", text, "--statement", stated, *BY)
    assert done.code in (0, 3), done.out + done.err
    assert "typed in" in done.out
    assert "not noticed if" in done.out.split("\nnote ")[1]
    assert "does not fit" not in done.out
    wrong = lab("compare", "add", TESTER, CHANNEL, "--told", "next A 36-45 margin much", *BY)
    assert wrong.code == 2
    assert "much" in wrong.err
    both = add(lab, told("b.csv"), "--told", text)
    assert both.code == 2


def test_out_of_use_back_again_and_due(lab: Run) -> None:
    late = lab("compare", "due", "--at", "2030-01-01")
    assert late.code == 1
    soon = lab("compare", "due", "--json")
    assert soon.json["schema"] == "benchsweep.due/1"
    gone = lab("compare", "withdraw", "tester", TESTER, "--reason", "fell down", *BY)
    assert gone.code == 0
    assert "fell down" in gone.out
    refused = add(lab, told())
    assert refused.code == 2
    assert "fell down" in refused.err
    back = lab("compare", "return", "tester", TESTER, "--reason", "repaired", *BY)
    assert back.code == 0
    changed = lab("compare", "interval", "tester", TESTER, "--every-days", "45", "--reason", "young", *BY)
    assert changed.code == 0
    assert "every 45 days" in lab("compare", "history", "tester", TESTER).out + changed.out


def test_a_study_from_plan_to_report(lab: Run) -> None:
    people = ("--operator", "Maren", "--operator", "Ilja")
    parts = ("--part", "link 1", "--part", "link 2")
    plan = ("compare", "study", "plan", "winter", "--subject", TESTER, *parts, *people, "--matings", "2", *BY)
    drawn = lab(*plan, "--seed", "dice", "--json")
    assert drawn.code == 0, drawn.err
    assert drawn.json["schema"] == "benchsweep.study/1"
    assert lab(*plan).code == 2
    for run in range(1, 9):
        value = 3.0 + 0.1 * (run * 7 % 5) + (run % 2)
        asked = ("compare", "study", "add", "winter", str(run), "--value", f"next A 36-45={value}", *BY)
        assert lab(*asked).code == 0
    shown = lab("compare", "study", "show", "winter")
    assert "Gauge R&R" in lab("compare", "study", "show", "winter", "--every").out
    assert "one fresh mating" in shown.out
    assert lab("compare", "study", "report", "winter", "-o", "s.html").code == 0
    assert "Gauge repeatability" in Path("s.html").read_text()
    for bad in ("next A 36-45", "=3", "next A 36-45=three"):
        answer = lab("compare", "study", "add", "winter", "1", "--value", bad, *BY)
        assert answer.code == 2


def test_mappings_and_accuracies_are_listed(run: Run, own_home: Path) -> None:
    listed = run("compare", "mappings")
    assert listed.code == 0
    for name in ("wide-values", "worst-margins", "demonstration"):
        assert name in listed.out
    assert "template: a template, to be copied" in " ".join(listed.out.split())
    assert "not filled" not in listed.out
    Path("mappings").mkdir()
    Path("mappings/broken.toml").write_text("schema = 7\n")
    again = run("compare", "mappings", "--json")
    assert again.code == 0
    found = {each["name"]: each for each in again.json["found"]}
    assert found["broken"]["error"]
    assert not found["broken"]["shipped"]
    assert found["template"]["template"]
    assert Path(found["wide-values"]["file"]).is_file()
    assert "broken: cannot be used" in run("compare", "mappings").out


def test_a_mapping_is_copied_under_its_own_name(run: Run, own_home: Path) -> None:
    shown = run("compare", "mappings", "long-values")
    assert shown.code == 0
    assert tomllib.loads(shown.out)["name"] == "long-values"
    assert run("compare", "mappings", "long-values", "-o", "mappings/our tester.toml").code == 0
    own = tomllib.loads(Path("mappings/our tester.toml").read_text())
    assert own == {**tomllib.loads(shown.out), "name": "our tester"}
    looked = run("compare", "look", told(), "--mapping", "our tester", "--json")
    assert looked.json["mapping"] == "our tester"
    written = run("compare", "mappings", "template", "-o", "accuracies/ours.toml", "--json")
    assert (written.code, written.json["kind"]) == (0, "accuracy")
    for words in (
        ("long-values", "-o", "mappings/our tester.toml"),
        ("long-values", "-o", "mappings/ours.txt"),
        ("long-vallues",),
        ("-o", "mappings/x.toml"),
    ):
        assert run("compare", "mappings", *words).code == 2
    Path("mappings/demonstration.toml").write_text(shown.out)
    both = run("compare", "mappings", "demonstration")
    assert both.code == 2
    assert "mapping and an accuracy file" in " ".join(both.err.split())


def test_a_template_filled_in_part_registers_no_tester(run: Run, own_home: Path) -> None:
    assert run("compare", "mappings", "template", "-o", "accuracies/ours.toml").code == 0
    path = Path("accuracies/ours.toml")
    path.write_text(path.read_text().replace("\ntemplate = true\n", "\n"))
    refused = run("compare", "tester", "FT-09", "--accuracy", "ours", *BY)
    assert refused.code == 2
    assert "description" in refused.err
    assert "from the template" in " ".join(refused.err.split())
    assert not Path("archive").exists()


def test_another_accuracy_from_now_on(lab: Run) -> None:
    stated = statement(Path("mating.toml"))
    path = told(errors=constant(0.45))
    assert add(lab, path, "--statement", stated).code == 0
    shipped = lab("compare", "mappings", "demonstration", "-o", "accuracies/narrow.toml")
    assert shipped.code == 0
    narrow = Path("accuracies/narrow.toml")
    narrow.write_text(re.sub(r"form = .*", "form = { a = 0.05 }", narrow.read_text()))
    change = ("compare", "accuracy", TESTER)
    done = lab(*change, "narrow", "--reason", "new manual", *BY)
    assert done.code == 0, done.err
    assert "narrow, since" in done.out
    assert "before: demonstration" in done.out
    # The same numbers are further from the bench than this accuracy allows.
    path.write_text(path.read_text() + "\n")
    after = add(lab, path, "--statement", stated, "--json").json
    assert after["outcome"] == "disagrees"
    assert any("narrow" in line for line in after["budget"])
    for number, name in (("1", "demonstration"), ("2", "narrow")):
        assert lab("compare", "prove", TESTER, "--number", number).code == 0
        page = ("compare", "report", TESTER, "--comparison", number, "-o", f"{number}.html")
        assert lab(*page).code == 0
        assert f"declared accuracy {name}" in Path(f"{number}.html").read_text()
    shown = lab("compare", "history", "tester", TESTER, "--json").json
    assert shown["accuracy"] == "narrow"
    (entry,) = [each for each in shown["history"] if each["what"] == "AccuracyDeclared"]
    assert (entry["accuracy"], entry["reason"]) == ("narrow", "new manual")
    assert "narrow" in lab("compare", "list").out
    assert lab("compare", "list", "--json").json["references"][-1]["accuracy"] == "narrow"
    for words in (("narrow",), ("nowhere",), ("template",)):
        assert lab(*change, *words, "--reason", "again", *BY).code == 2
    assert lab(*change, "", "--reason", " ", *BY).code == 2
    none = lab(*change, "", "--reason", "manual lost", *BY)
    assert "none, since" in none.out
    assert lab("compare", "accuracy", "FT-99", "demonstration", "--reason", "x", *BY).code == 2
    again = lab("compare", "tester", TESTER, "--accuracy", "demonstration", *BY)
    assert again.code == 2
    assert "compare accuracy" in " ".join(again.err.split())
    assert re.search(r"registered on \d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC", " ".join(again.err.split()))


def test_a_statement_that_is_missing_says_how_one_is_written(lab: Run) -> None:
    refused = add(lab, told(), "--statement", "nowhere.toml")
    assert refused.code == 2
    words = " ".join(refused.err.split())
    assert "there is no such statement" in words
    assert "[[mating]]" in words
    assert "encoding" not in words


def test_unknown_names_are_told_which_there_are(lab: Run) -> None:
    for name in ("FT-12", "FT-09", "FT-10"):
        assert lab("compare", "tester", name, *BY).code == 0
    refused = lab("compare", "history", "tester", "XY")
    assert "There are: FT-07, FT-09, FT-10, FT-12." in " ".join(refused.err.split())
    for number in range(20, 26):
        assert lab("compare", "tester", f"FT-{number}", *BY).code == 0
    refused = lab("compare", "history", "tester", "FT-2")
    words = " ".join(refused.err.split())
    named = re.search(r"There are: (.*) and 7 more\.", words)
    assert named is not None, words
    assert named[1].split(", ") == sorted(named[1].split(", "))


def test_help_speaks_of_no_lots(run: Run) -> None:
    for verb in ("channel", "tester", "bench", "look", "add", "accuracy", "list", "due", "prove"):
        told_help = run("compare", verb, "--help").out
        assert "--archive" in told_help
        assert "lots" not in told_help


@pytest.mark.parametrize(
    "words",
    [
        ("history", "tester", "nobody"),
        ("history", "channel", "nowhere"),
        ("prove", TESTER),
        ("prove", TESTER, "--number", "9"),
        ("report", TESTER),
        ("add", TESTER, CHANNEL, *BY),
        ("add", TESTER, CHANNEL, "nowhere.csv", "--mapping", "long-values", *BY),
        ("add", TESTER, CHANNEL, "told.csv", *BY),
        ("add", TESTER, CHANNEL, "told.csv", "--mapping", "no-such", *BY),
        ("tester", "FT-09", "--accuracy", "template", *BY),
        ("tester", "FT-09", "--every-days", "nan", *BY),
        ("tester", TESTER, *BY),
        ("channel", CHANNEL, "--against", "tia-6-channel", *BY),
        ("channel", "c2", "--against", "no-such", *BY),
        ("bench", CHANNEL, "nowhere.h5", *BY),
        ("due", "--at", "soon"),
        ("interval", "tester", TESTER, "--every-days", "-3", "--reason", "x", *BY),
        ("study", "show", "nothing"),
        ("withdraw", "tester", TESTER, "--reason", "", *BY),
    ],
)
def test_what_makes_no_sense_is_exit_code_2_with_words(lab: Run, words: tuple[str, ...]) -> None:
    told()
    answer = lab("compare", *words)
    assert answer.code == 2, answer.out + answer.err
    assert answer.err.strip()
    assert "Traceback" not in answer.err


def test_names_never_act_on_a_terminal(run: Run, own_home: Path) -> None:
    answer = run("compare", "tester", HIDDEN, *BY)
    assert answer.code == 2
    assert_harmless(answer.out + answer.err)
    Path("told.csv").write_text(f'Parameter,End,Pairs,Frequency (Hz),Value,Unit\n"{HIDDEN}",A,12,1,1,dB\n')
    answer = run("compare", "look", "told.csv", "--mapping", "long-values")
    assert answer.code == 2
    assert_harmless(answer.out + answer.err)


def test_a_damaged_history_hides_no_other(lab: Run) -> None:
    assert lab("compare", "tester", "FT-08", *BY).code == 0
    (path,) = Path("archive/references").glob("tester-FT-08-*.txt")
    path.write_bytes(path.read_bytes().replace(b"FT-08", b"FT-88"))
    listed = lab("compare", "list", "--json")
    assert listed.code == 6
    assert json.loads(listed.out)["damaged"]
    assert TESTER in lab("compare", "list").out


def test_a_simulated_tester_writes_a_file_that_can_be_looked_at(run: Run, own_home: Path) -> None:
    wrote = ("simulate-tester", "--specimen", "cord-2m", "--against", "tia-6-cord", "--length-m", "2")
    for shape in ("wide-values", "long-values", "long-margins-decimal-comma", "worst-margins"):
        assert run(*wrote, "--points", "30", "--shape", shape, "-o", f"{shape}.csv").code == 0
        looked = run("compare", "look", f"{shape}.csv", "--mapping", shape, "--json")
        assert looked.code == 0, looked.err
        assert looked.json["traces"] or looked.json["points"]
    assert run(*wrote, "-o", "wide-values.csv").code == 2
    assert run(*wrote, "--fault", "bent", "-o", "x.csv").code == 2
    assert run(*wrote, "--fault", "offset=much", "-o", "x.csv").code == 2
    assert not Path("x.csv").exists()
