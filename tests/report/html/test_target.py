"""A report never takes the place of anything but an older report."""

from __future__ import annotations

import dataclasses
import errno
import os
from pathlib import Path

import pytest

from benchsweep.errors import UsageError
from benchsweep.report import check_target
from benchsweep.report.html import write_html
from tests.browser.made_up import document

GOLDEN = Path(__file__).parents[2] / "archive" / "golden"


@pytest.mark.parametrize("kind", ["record", "series", "calibration", "damaged", "toml", "touchstone"])
def test_only_reports_are_replaced(kind: str, tmp_path: Path) -> None:
    golden = {name: (GOLDEN / f"{name}-v1.h5").read_bytes() for name in ("record", "series")}
    golden["calibration"] = b"benchsweep calibration 1\nbytes after this block: 17\n"
    there = tmp_path / "r.html"
    content = {
        "damaged": b"\x00" + golden["record"][1:],
        "toml": b"schema = 1\n",
        "touchstone": b"! <html>\n# Hz S RI R 50\n",
    }.get(kind) or golden[kind]
    there.write_bytes(content)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(UsageError) as caught:
        write_html(there, document())
    assert caught.value.exit_code == 2
    assert ("measurements of benchsweep" in caught.value.message) == (kind in golden)
    assert there.read_bytes() == content
    assert sorted(tmp_path.iterdir()) == before


MARK = b'<meta name="generator" content="benchsweep">'


@pytest.mark.parametrize(
    "own",
    [
        b"<!doctype html>mine",
        b"<html>mine",
        b"\n <!DOCTYPE HTML>\n<html lang='en'><head><title>mine</title></head>",
        b'<!doctype html>\n<html lang="en"><head><title>mine</title>' + MARK,
        b'<!doctype html>\n<html lang="en" dir="ltr">\n<head>\n<meta charset="utf-8">\n<title>of ' + MARK,
        b"<!doctype html><html><body><pre>" + MARK + b"</pre>",
        b"<!-- " + MARK + b" -->",
        MARK,
        b" ",
    ],
)
def test_a_page_that_somebody_wrote_stays(own: bytes, tmp_path: Path) -> None:
    """Also one that quotes what marks ours."""
    there = tmp_path / "r.html"
    there.write_bytes(own)
    with pytest.raises(UsageError, match="no HTML report of benchsweep; a report replaces nothing but"):
        write_html(there, document())
    assert there.read_bytes() == own


def test_older_reports_and_empty_files_are_replaced(tmp_path: Path) -> None:
    there = tmp_path / "r.html"
    there.touch()
    for language in ("en", "zh-Hant-TW", "ar", 'x"<>'):
        told = write_html(there, dataclasses.replace(document(), language=language))
        assert "Report of " in told.read_text(encoding="utf-8")
    write_html(there, document())


def test_a_link_is_not_replaced(tmp_path: Path) -> None:
    old = write_html(tmp_path / "old.html", document())
    (tmp_path / "r.html").symlink_to(old)
    with pytest.raises(UsageError, match="is a link"):
        write_html(tmp_path / "r.html", document())
    assert (tmp_path / "r.html").is_symlink()


def test_a_page_that_cannot_be_finished_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = write_html(tmp_path / "r.html", document(rows=1)).read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="No space left"):
        write_html(tmp_path / "r.html", document())
    assert (tmp_path / "r.html").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["r.html"]


def test_an_input_by_any_name_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_html(Path("page.html"), document(rows=1))
    Path("folder").mkdir()
    Path("folder/head.h5").write_bytes(b"benchsweep series-head 1\n")
    Path("link").symlink_to("page.html")
    os.link("page.html", "second")
    for spelling in ("page.html", "./folder/../page.html", str(tmp_path / "page.html"), "link", "second"):
        with pytest.raises(UsageError, match="is to be reported"):
            check_target(Path(spelling), [Path("page.html")])
    with pytest.raises(UsageError, match="is to be reported"):
        check_target(Path("folder/new.html"), [tmp_path / "folder"])
    check_target(Path("page.html"), [Path("folder")])
    check_target(Path("new.html"), [Path("folder"), Path("nowhere.h5")])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes there")
def test_what_is_no_file_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "nowhere").symlink_to(tmp_path / "missing")
    for name in ("pipe", "nowhere"):
        with pytest.raises(UsageError):
            check_target(tmp_path / name)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="ascii")
    (tmp_path / "folder").mkdir()
    for path in (tmp_path / "file" / "r.html", tmp_path / "folder"):
        with pytest.raises(UsageError, match="cannot be written") as caught:
            write_html(path, document())
        assert "\n" not in caught.value.message
        assert caught.value.hint
    assert sorted(child.name for child in tmp_path.iterdir()) == ["file", "folder"]


@pytest.mark.parametrize(
    ("number", "hint"),
    [
        (errno.ENOSPC, "Free some space"),
        (errno.EDQUOT, "Free some space"),
        (errno.EACCES, "Name a file in a folder in which you may write."),
    ],
)
def test_why_it_cannot_be_written_is_what_the_system_said(
    number: int, hint: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = tmp_path / "r.html"
    write_html(there, document())
    before = there.read_bytes()

    def full(_: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError) as caught:
        write_html(there, document())
    assert caught.value.message == f"{there}: the report cannot be written: {os.strerror(number)}"
    assert caught.value.hint.startswith(hint)
    assert (there.read_bytes(), list(tmp_path.iterdir())) == (before, [there])
