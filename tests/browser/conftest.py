"""A headless browser, driven as a person drives it; every message and request of a page is noted."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

REQUIRED = os.environ.get("BENCHSWEEP_TEST_BROWSER") == "required"
NAMES = ("chromium", "chromium-browser", "google-chrome")


def _missing(reason: str) -> None:
    if REQUIRED:
        pytest.fail(f"{reason}, and BENCHSWEEP_TEST_BROWSER=required")
    pytest.skip(f"{reason}: pages are not tried in a browser")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium, started once for each file of tests.

    Not once for all: as long as it runs, its driver keeps an event loop in this thread, and other tests start
    one of their own.
    """
    path = next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        _missing(f"no browser named {', '.join(NAMES)}")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("playwright is not installed")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path)
        yield browser
        browser.close()


@dataclass
class Opened:
    """A page, and what it said and asked for."""

    page: Any
    messages: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


Open = Callable[..., Opened]


@pytest.fixture
def opened(browser: Any) -> Iterator[Open]:
    """Open a file; `script=False` without scripts. The browser's context is closed after the test."""
    contexts = []

    def open_file(path: Path, *, script: bool = True, width: int = 1280, height: int = 900) -> Opened:
        context = browser.new_context(java_script_enabled=script, viewport={"width": width, "height": height})
        contexts.append(context)
        context.set_default_timeout(10_000)
        seen = Opened(context.new_page())
        seen.page.on("console", lambda message: seen.messages.append(message.text))
        seen.page.on("pageerror", lambda error: seen.messages.append(str(error)))
        seen.page.on("request", lambda request: seen.requests.append(request.url))
        seen.page.goto(path.as_uri())
        return seen

    yield open_file
    for context in contexts:
        context.close()
