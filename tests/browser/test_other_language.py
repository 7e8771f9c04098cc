"""Every page of the demo studio in every other language: what is left in English is only what was typed, or a source,
and longer words do not push a page sideways.

English is told by words that Dutch does not have. What the invented painter typed is taken out first; parts that say
of themselves that they are English (sources, the interface for programs) are left out.
"""

import re
import urllib.request
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from functools import cache
from html.parser import HTMLParser

import pytest
from playwright.sync_api import Browser, Page
from sqlalchemy import String, select
from sqlmodel.sql.sqltypes import AutoString

from server.store.db import Database
from server.store.tables import Named, Table
from server.web.language.catalogue import ENGLISH, LANGUAGES
from tests.browser import addresses
from tests.browser.conftest import RunningServer
from tests.browser.test_every_page import NARROW, WIDTH

ENGLISH_WORDS = re.compile(
    r"\b(the|are|with|from|this|for|when|has|may|days?|layers?|dry|painted|by|about|likely|it|none|yet|not|wait|"
    r"paint|to|until|touch|thin|thick|mixe?s?|one|of the|which|your|you)\b"
)
READ = ("title", "alt", "aria-label", "placeholder")
NO_WORDS = {"script", "style", "code", "pre", "kbd"}
STANDARD = re.compile(r"\b(set-to-touch|dry-to-touch|dry-to-recoat|dry-through)\b")  # stages as ASTM D1640 names them
FOR_BUILDERS = ("/parts",)  # the parts of the pages, with examples of their use
VOID = {"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Words(HTMLParser):
    """The texts of a page, without those in code or marked as English."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._left_out: list[bool] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        is_out = tag in NO_WORDS or (tag != "html" and given.get("lang") == ENGLISH)
        if not is_out and not any(self._left_out):
            self.texts += [text for name in READ if (text := given.get(name))]
        if tag not in VOID:
            self._left_out.append(is_out)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A shape without content."""

    def handle_endtag(self, tag: str) -> None:
        if self._left_out and tag not in VOID:
            self._left_out.pop()

    def handle_data(self, data: str) -> None:
        if not any(self._left_out):
            self.texts.append(data)


def typed_in(db: Database) -> list[str]:
    """Every text that the studio's records hold, the longest first."""
    found: set[str] = set()
    with db.read() as session:
        for table in Table.metadata.tables.values():
            for column in table.columns:
                if isinstance(column.type, String | AutoString | Named):
                    found |= {text for text in session.scalars(select(column)) if isinstance(text, str)}
    return sorted((text for text in found if len(text.strip()) > 2), key=len, reverse=True)


@pytest.fixture(scope="session")
def addresses_of(demo_server: RunningServer):
    later = datetime.now(timezone.utc).date() + timedelta(days=20)
    return cache(lambda path: addresses.addresses(demo_server.url, demo_server.db, path, later))


def english_in(page: str, typed: list[str]) -> list[str]:
    words = Words()
    words.feed(page)
    left = []
    for text in words.texts:
        bare = STANDARD.sub("", " ".join(text.split()))
        if not ENGLISH_WORDS.search(bare):
            continue
        for own in typed:
            bare = bare.replace(" ".join(own.split()), "")
        if ENGLISH_WORDS.search(bare):
            left.append(" ".join(text.split()))
    return left


@pytest.mark.parametrize("language", [tag for tag in LANGUAGES if tag != ENGLISH])
@pytest.mark.parametrize("path", [path for path in addresses.paths() if path not in FOR_BUILDERS])
def test_no_english_is_left(path: str, language: str, demo_server: RunningServer, addresses_of):
    for address in addresses_of(path):
        request = urllib.request.Request(demo_server.url + address, headers={"Accept-Language": language})
        with urllib.request.urlopen(request) as answer:
            page = answer.read().decode()
        assert f'<html lang="{language}"' in page, address
        assert english_in(page, typed_in(demo_server.db)) == [], address


@pytest.fixture(scope="module", params=[tag for tag in LANGUAGES if tag != ENGLISH])
def narrow(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    """A narrow page of a reader of another language, the same one for every address."""
    context = browser.new_context(locale=request.param, timezone_id="UTC", viewport=NARROW, service_workers="block")
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("path", [path for path in addresses.paths() if path not in FOR_BUILDERS])
def test_no_word_is_too_long_for_a_narrow_screen(path: str, narrow: Page, demo_server: RunningServer, addresses_of):
    """At 320 px (WCAG 2.2, success criterion 1.4.10), as ``test_every_page.py`` asks of English."""
    for address in addresses_of(path):
        narrow.goto(demo_server.url + address, wait_until="domcontentloaded")
        assert narrow.evaluate(WIDTH) <= NARROW["width"], address
