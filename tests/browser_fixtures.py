"""Chromium without a window, and a page in it that keeps count of what it asks for and complains about."""

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest


@dataclass(frozen=True)
class Watched:
    """A page in the browser, its complaints, and the addresses it asked for beside its own file."""

    page: Any
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's chromium; skipped where it or its driver is missing (on CI a skipped test counts as failed)."""
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("chromium is not installed")
    alone = ["--no-sandbox"] if os.geteuid() == 0 else []  # its sandbox refuses to run as root
    with driver.sync_playwright() as play:
        running = play.chromium.launch(executable_path=path, args=[*alone, "--disable-gpu"])
        yield running
        running.close()


def opened(browser: Any, path: Path, **context: Any) -> Watched:
    """`path` in a new window, its events watched from before it is loaded."""
    watched = Watched(browser.new_context(**context).new_page())
    watched.page.on("console", lambda message: watched.complaints.append(f"{message.type}: {message.text}"))
    watched.page.on("pageerror", lambda error: watched.complaints.append(str(error)))
    watched.page.on("request", lambda request: watched.requests.append(request.url))
    watched.page.goto(path.as_uri())
    return watched
