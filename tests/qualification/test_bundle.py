"""When a bundle is asked for, what its plan says, and which relays can make it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep.acquisition import PersonSwitch
from benchsweep.errors import DefinitionError, UsageError
from benchsweep.fixture import load_fixture
from benchsweep.qualification import (
    cautions_for,
    check_bundle,
    confirmed_cautions,
    load_requirements,
    load_station,
    plan_document,
    plan_station,
)
from benchsweep.qualification._bundle import remind_of_terminations, termination_doubt
from benchsweep.qualification._places import Places
from benchsweep.qualification._qualify import plan_for
from benchsweep.qualification._switching import check_plan

ALIEN, CORD = "tia-6a-channel-alien", "tia-6a-cord"

PLACES = Places(tuple((n, n + 1) for n in range(1, 17, 2)))

Run = Callable[..., Any]


@pytest.mark.parametrize(
    ("names", "disturbing", "pattern", "said"),
    [
        ([ALIEN], None, (), f"{ALIEN}: alien crosstalk is that of a bundle"),
        ([CORD, ALIEN], None, (CORD,), ALIEN),
        ([CORD], 6, (), f"--disturbing 6: no alien crosstalk is limited by {CORD}"),
        ([ALIEN], 0, (), "0 disturbing cables"),
        ([ALIEN], -6, (), "-6 disturbing cables"),
        ([ALIEN], 1000, (), "1000 disturbing cables: there can be 1 to 48"),
        # Nobody named it, and then nothing is wrong with it.
        ([CORD, ALIEN], None, (ALIEN,), ""),
        ([CORD], None, (), ""),
        ([CORD, ALIEN], 6, (), ""),
    ],
)
def test_a_bundle_and_limits_of_alien_crosstalk_go_together(
    names: list[str], disturbing: int | None, pattern: tuple[str, ...], said: str
) -> None:
    requirements = load_requirements(names)
    if not said:
        check_bundle(requirements, disturbing, by_pattern=pattern)
        return
    with pytest.raises(UsageError, match=said) as caught:
        check_bundle(requirements, disturbing, by_pattern=pattern)
    assert caught.value.hint


def test_without_a_bundle_the_variants_that_want_none_are_named() -> None:
    """Not the stranded cable, which has other limits; and nothing where there is no such variant."""
    with pytest.raises(UsageError) as caught:
        check_bundle(load_requirements(["tia-6a-cable"]), None)
    assert caught.value.hint.endswith(" A cable alone is held against tia-6a-cable-without-alien.")
    with pytest.raises(UsageError) as caught:
        check_bundle(load_requirements([ALIEN]), None)
    assert "alone" not in caught.value.hint


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "Give --disturbing"),
        (("--disturbing", "0"), "0 disturbing cables"),
        (("--disturbing", "six"), "--disturbing"),
    ],
)
@pytest.mark.parametrize("verb", ["plan", "qualify"])
def test_a_wrong_number_on_the_command_line_is_told_before_anything_is_touched(
    run: Run, verb: str, more: tuple[str, ...], said: str
) -> None:
    specimen = ("--specimen", "bundle-7") if verb == "qualify" else ()
    answer = run(verb, "--station", "simulated-bundle", *specimen, "--against", ALIEN, *more)
    assert (answer.code, answer.out) == (2, "")
    assert said in answer.err
    assert "embedded bench" not in answer.err


def test_the_plan_of_a_bundle_counts_cables_and_hookups(run: Run) -> None:
    planned = plan_station(load_station("simulated-bundle"), [ALIEN], disturbing=6)
    document = plan_document(planned)
    assert document["disturbing"] == 6
    # 8 ports of the cable by itself, then 24 hookups in each of which 4 move.
    assert (len(document["hookups"]), document["matings"]) == (25, 8 + 24 * 4)
    assert document["hookups"][-1]["connections"]["16"].startswith("6.")
    # A person moves each in 20 s.
    by_hand = load_station("simulated-bundle")
    by_hand = by_hand.model_copy(update={"switch": by_hand.switch.model_copy(update={"kind": "person"})})
    assert plan_station(by_hand, [ALIEN], disturbing=6).move_seconds == pytest.approx(104 * 20.0)
    answer = run("plan", "--station", "simulated-bundle", "--against", ALIEN, "--disturbing", "6")
    words = " ".join(answer.out.split())  # lines as wide as the terminal
    assert "cables 1 to 6 disturb the specimen; what is on no analyzer port carries its termination" in words
    assert "[cable.]end:pair.contact" in words


def test_a_pattern_plans_no_bundle_and_asks_for_no_length() -> None:
    planned = plan_station(load_station("simulated"), ["tia-6a-*"])
    assert ALIEN in planned.requirements
    assert len(planned.plan.hookups) == 1
    assert not any("--length-m" in words for words in planned.warnings)


def test_relays_that_do_not_reach_the_other_cables_are_refused_before_the_first_hookup() -> None:
    station = load_station("relays-example")
    check_plan(station, plan_for(PLACES))
    with pytest.raises(DefinitionError, match=r"no way from analyzer port 9 to 1\.A:12\.1"):
        check_plan(station, plan_for(PLACES, 1))
    check_plan(load_station("simulated"), plan_for(PLACES, 1))


def test_a_file_of_ones_own_with_alien_limits_needs_a_bundle_too(tmp_path: Path) -> None:
    path = tmp_path / "own-alien.toml"
    path.write_text('schema = 1\nname = "own-alien"\nbase = "tia-6a-channel-alien"\n', encoding="utf-8")
    with pytest.raises(UsageError, match="own-alien"):
        check_bundle(load_requirements([str(path)]), None)


def test_a_person_is_told_with_the_first_hookup_what_stays_on_terminations() -> None:
    told: list[str] = []

    def prompt(words: str) -> str:
        told.append(words)
        return ""

    person = PersonSwitch(prompt)
    words = remind_of_terminations(person, 6)
    assert "6 disturbing cables" in words
    for hookup in plan_for(PLACES, 6).hookups[:2]:
        person.connect(hookup, total=25)
    # The first hookup is of the disturbed cable alone: that the others are terminated stands nowhere else.
    assert words in told[0]
    assert words not in told[1]
    assert "Every contact of the bundle without an analyzer port carries its termination" in told[1]


def test_the_cautions_name_every_cable_of_a_bundle() -> None:
    alone, bundle = confirmed_cautions("N. N."), confirmed_cautions("N. N.", bundle=True)
    assert alone.cautions == cautions_for(bundle=False)
    assert bundle.cautions == cautions_for(bundle=True)
    assert "every cable" in bundle.cautions[-1]
    assert set(alone.cautions) < set(bundle.cautions)


def test_terminations_that_reflect_are_told(own_home: Path) -> None:
    grid = np.array([1e6, 500e6])
    assert termination_doubt(load_fixture("contacts"), grid) == ""
    text = (Path(__file__).parents[2] / "fixtures" / "contacts.toml").read_text(encoding="utf-8")
    path = own_home / "reflecting.toml"
    path.write_text(text.replace("resistance_ohm = 51.0", "resistance_ohm = 75.0", 1), encoding="utf-8")
    # 75 ohm on 50: (75 - 50) / (75 + 50) = 0.2, which is -14 dB.
    assert "reflect up to -14 dB" in termination_doubt(load_fixture(str(path)), grid)
