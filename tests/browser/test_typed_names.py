"""What people called things by stays as they typed it, though it be word for word what the program says elsewhere.

In a copy of the demo studio every name becomes an English message of ours: one whose Dutch no page of the studio shows
before. When the studio speaks Dutch, none of them may show it afterwards.
"""

import html
import re
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlmodel import Session, col, select

from server.services import studios
from server.services.access import Actor
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Named, Table
from server.web.language.catalogue import spoken
from tests.browser import addresses
from tests.browser.conftest import RunningServer, run_demo

DUTCH = "nl"
NOW = datetime(2026, 11, 24, 9, 30, tzinfo=timezone.utc)
LEAST_LETTERS, MOST_LETTERS = 8, 40
FOR_BUILDERS = ("/parts",)
# Told rightly only once the hours are somebody else's than the plan's: it then holds no more.
TOLD_AFTERWARDS = ("Set the plan right", "Outside the hours", "Does not hold", "Work it out again")


@pytest.fixture(scope="module")
def own_demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningServer]:
    """A demo of its own, for its names are changed; always of the same moment, so that the same names are given."""
    for server in run_demo(Path(tmp_path_factory.mktemp("named")), NOW):
        server.app.state.clock = lambda: NOW
        yield server


def named_tables() -> list[tuple[type[Table], list[str]]]:
    """Each table with its columns of names."""
    found = []
    for mapper in Table._sa_registry.mappers:
        names = [attribute.key for attribute in mapper.column_attrs if isinstance(attribute.columns[0].type, Named)]
        if names:
            found.append((mapper.class_, names))
    return found


def words_of(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page) + " ".join(re.findall(r'="([^"]*)"', page))).split())


def in_dutch(server: RunningServer, address: str) -> str:
    """What a page says; of a part of a plan that is told no more since the plan holds no more, nothing."""
    request = urllib.request.Request(server.url + address, headers={"Accept-Language": DUTCH})
    try:
        answer = urllib.request.urlopen(request)
    except urllib.error.HTTPError as gone:
        if gone.code != 404 or not address.startswith("/plan/"):
            raise
        return ""
    with answer:
        page: str = answer.read().decode()
    assert f'<html lang="{DUTCH}"' in page, address
    return words_of(page)


def messages(shown: str) -> Iterator[tuple[str, str]]:
    """(English, Dutch) of messages that could be a name and that ``shown`` has not."""
    for english, dutch in spoken(DUTCH).items():
        is_fit = re.fullmatch(r"[A-Z][A-Za-z' -]+", english) and LEAST_LETTERS <= len(english) <= MOST_LETTERS
        is_fit = is_fit and english not in TOLD_AFTERWARDS
        if is_fit and len(dutch) >= LEAST_LETTERS and dutch.lower() not in shown.lower():
            yield english, dutch


def rename_all(session: Session, fresh: Iterator[tuple[str, str]]) -> dict[str, str]:
    """Gives every name of the studio its message, the same name the same one. Returns them with their Dutch."""
    told: dict[str, str] = {}
    new_name: dict[str, str] = {}
    for table, names in named_tables():
        for row in session.exec(select(table).order_by(col(table.id))):  # type: ignore[attr-defined]
            for name in names:
                old = getattr(row, name)
                if old and old not in new_name:
                    english, dutch = next(fresh)
                    new_name[old], told[english] = english, dutch
                if old:
                    setattr(row, name, new_name[old])
    return told


def test_names_are_told_as_they_were_typed(own_demo: RunningServer):
    later = NOW.date() + timedelta(days=20)
    paths = [path for path in addresses.paths() if path not in FOR_BUILDERS]
    visited = [each for path in paths for each in addresses.addresses(own_demo.url, own_demo.db, path, later)]
    shown = " ".join(in_dutch(own_demo, address) for address in visited)
    told = renamed(own_demo.db, messages(shown))
    pages = {address: in_dutch(own_demo, address) for address in visited}
    assert sum(english in page for page in pages.values() for english in told) > len(told), "the names are shown"
    seen = [
        f"{address}: …{page[max(0, page.find(dutch) - 60) : page.find(dutch) + 60]}…"
        for address, page in pages.items()
        for dutch in told.values()
        if dutch in page
    ]
    assert seen == []


def renamed(db: Database, fresh: Iterator[tuple[str, str]]) -> dict[str, str]:
    with db.read() as session:
        actor = Actor("painter", studios.the_studio(session).id or 0)
    with unit(db, actor, label="Called everything otherwise") as work:
        return rename_all(work.session, fresh)
