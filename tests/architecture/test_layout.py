"""The walls that no linter holds: private files, sizes, names given out, errors raised, light start."""

from __future__ import annotations

import ast
import importlib
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import benchsweep
from benchsweep import errors

PACKAGE = Path(benchsweep.__file__).parent
FILES = sorted(path for path in PACKAGE.rglob("*.py") if "_shipped" not in path.parts)
ROOMS = sorted(".".join(path.relative_to(PACKAGE).parts[:-1]) for path in PACKAGE.glob("*/**/__init__.py"))
MODULE_LINES = 600
# Of the body: the options of a command and a docstring are read like a table, and may be long.
FUNCTION_LINES = 60


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _imports(path: Path) -> list[str]:
    names: list[str] = []
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.ImportFrom) and node.module:
            names.append(node.module)
            names += [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
    return names


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_private_files_stay_in_their_room(path: Path) -> None:
    folder = path.relative_to(PACKAGE).parts[:-1]
    for name in _imports(path):
        package, *parts = name.split(".")
        if package != "benchsweep":
            continue
        private = [part.startswith("_") and not part.startswith("__") for part in parts]
        if True in private:
            room = tuple(parts[: private.index(True)])
            assert folder[: len(room)] == room, f"{path}: imports {name} of another room"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_and_functions_stay_small(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MODULE_LINES, path
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno is not None:
            body = node.body[1:] if ast.get_docstring(node) and len(node.body) > 1 else node.body
            assert node.end_lineno - body[0].lineno < FUNCTION_LINES, f"{path}: {node.name}"


@pytest.mark.parametrize("room", ROOMS)
def test_public_names_exist_and_are_described(room: str) -> None:
    module = importlib.import_module(f"benchsweep.{room}")
    assert module.__doc__
    assert module.__doc__.strip() != "TODO."
    assert len(set(module.__all__)) == len(module.__all__)
    for name in module.__all__:
        thing = getattr(module, name)
        if inspect.isclass(thing) or inspect.isfunction(thing):
            assert inspect.getdoc(thing), f"benchsweep.{room}.{name} has no docstring"


def test_every_error_is_raised_somewhere_and_has_its_place_in_the_tree() -> None:
    # Roots are for catching only.
    roots = {"BenchsweepError", "InstrumentError"}
    text = "\n".join(path.read_text(encoding="utf-8") for path in FILES if path.name != "errors.py")
    for name in errors.__all__:
        kind = getattr(errors, name)
        assert issubclass(kind, errors.BenchsweepError)
        assert name in (errors.__doc__ or ""), f"{name} is missing in the tree at the head of errors.py"
        if name not in roots:
            assert f"{name}(" in text, f"{name} is raised nowhere"


def test_exit_codes_are_those_of_the_command_line() -> None:
    allowed = {2, 4, 5, 6}
    for name in errors.__all__:
        if name != "BenchsweepError":
            assert getattr(errors, name).exit_code in allowed, name


def test_help_starts_without_the_heavy_libraries() -> None:
    heavy = {"numpy", "scipy", "skrf", "h5py", "pyvisa", "jinja2", "typst", "pandas"}
    code = "import sys, benchsweep.cli; print(','.join(sorted({m.split('.')[0] for m in sys.modules})))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = set(done.stdout.strip().split(","))
    assert not loaded & heavy


def test_what_is_read_late_is_what_the_type_checker_sees() -> None:
    """`qualification` reads its files at the first use of a name; the imports for mypy say the same."""
    module = importlib.import_module("benchsweep.qualification")
    tree = ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))
    seen = {
        alias.name: str(node.module).rsplit(".", 1)[1]
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("benchsweep.qualification.")
        for alias in node.names
    }
    assert seen == module._FILE_OF
    assert sorted(seen) == sorted(module.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = module.nothing


def test_a_limit_is_printed_without_waiting_for_the_stages() -> None:
    code = (
        "import sys; from benchsweep.qualification import limit_number, limit_document; "
        "sys.exit(any(name in sys.modules for name in ('skrf', 'h5py', 'pyvisa', 'scipy.stats')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=120).returncode == 0
