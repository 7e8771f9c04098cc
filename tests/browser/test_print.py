"""The calendar on paper, as Chromium prints it: a season of 25 panels on one A3, more with the head on each sheet."""

import re
from collections.abc import Iterator
from datetime import datetime, timezone
from pathlib import Path

import pytest
from playwright.sync_api import Page

from bench.studio import fill
from server.store.db import Database
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.conftest import RunningServer, run_server

NOW = datetime(2026, 11, 24, 9, 30, tzinfo=timezone.utc)


def sheets(page: Page, paper: str, landscape: bool) -> int:
    printed = page.pdf(format=paper, landscape=landscape, print_background=True)
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", printed))


@pytest.fixture(params=[25, 60])
def hung(request: pytest.FixtureRequest, db: Database, tmp_path: Path) -> Iterator[tuple[int, RunningServer]]:
    fill(db, NOW, request.param, 4)
    app = create_app(Settings(str(db.url)), db)
    app.state.clock = lambda: NOW
    for server in run_server(app, db):
        yield request.param, server


def test_a_season_on_paper(hung: tuple[int, RunningServer], page: Page):
    panels, server = hung
    page.goto(server.url + "/calendar")
    upright, across = sheets(page, "A3", False), sheets(page, "A3", True)
    letter = sheets(page, "Letter", False)
    assert (upright, across) == ((1, 1) if panels == 25 else (2, 3))
    assert letter == (2 if panels == 25 else 3)
    page.emulate_media(media="print")
    head = page.locator(".cal-table thead")
    assert head.evaluate("head => getComputedStyle(head).display") == "table-header-group"  # again on each sheet
    row = page.locator(".cal-table tbody tr").first
    assert row.evaluate("row => getComputedStyle(row).breakInside") == "avoid"
    names = page.locator(".cal-name a")
    assert names.count() == panels
