"""Every TOML file that is shipped says what it is and where its facts come from."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from benchsweep.definitions import list_definitions, search_folders

KINDS = (
    "fixtures",
    "port-maps",
    "kits",
    "checks",
    "budgets",
    "mappings",
    "accuracies",
    "families",
    "requirements",
    "stations",
    "benches",
    "specimens",
)
NEED_SOURCE = {
    "fixtures",
    "kits",
    "checks",
    "budgets",
    "mappings",
    "accuracies",
    "families",
    "requirements",
    "benches",
}
STANDINGS = {"published", "common-practice", "from-memory"}
FILES = [(kind, path) for kind in KINDS for path in sorted(search_folders(kind)[-1].glob("*.toml"))]


@pytest.mark.parametrize(("kind", "path"), FILES, ids=lambda value: getattr(value, "stem", value))
def test_a_shipped_definition_names_itself_and_its_source(kind: str, path: Path) -> None:
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data["schema"] == 1
    assert data["name"] == path.stem
    if kind in NEED_SOURCE:
        assert data["source"], path
        # That of a variant follows from its base, which a laboratory may overrule.
        assert data.get("standing") in (STANDINGS if "base" not in data else {None}), path


@pytest.mark.parametrize("kind", KINDS)
def test_something_of_every_kind_is_shipped(kind: str) -> None:
    assert list_definitions(kind)
