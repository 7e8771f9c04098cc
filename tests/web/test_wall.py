"""The wall over HTTP: what wants a hand is large, what rests is a list, it comes anew by itself and offers no form."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from server.store.db import Database
from tests.services.board_studio import hang, trade_fact
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_today import words_of


@pytest.fixture
def bench(db: Database) -> Bench:
    """The studio that the app then finds. Ask for it before the client."""
    return make_bench(db)


def parts(client: TestClient) -> tuple[str, str]:
    """The words of what is large, and of what rests."""
    page = client.get("/wall").text
    large = re.search(r'<ul class="wall-large">.*?</ul>', page, re.S)
    resting = re.search(r'<ul class="wall-resting">.*?</ul>', page, re.S)
    return words_of(large.group(0) if large else ""), words_of(resting.group(0) if resting else "")


def test_what_wants_a_hand_is_large_and_what_rests_has_its_days(bench: Bench, client: TestClient):
    trade_fact(bench)  # to be pressed first
    bare = bench.panel(title="Bare board", due_on=NOW.date() + timedelta(days=20), due_for="the show")
    bench.layer(bare)
    bench.panel(title="Nothing planned")
    late = bench.panel(title="Promised too soon", due_on=NOW.date() + timedelta(days=2))
    bench.layer(late, painted_at=NOW - timedelta(hours=2))
    bench.layer(late)
    large, resting = parts(client)
    assert "Winter beach Test first" in large
    assert "Bare board Ready" in large
    assert "Due 15 December for the show" in large
    assert "Promised too soon Rests" in large
    assert "Nothing planned" in resting
    assert "Nothing planned" not in large


def test_the_same_words_as_today(bench: Bench, client: TestClient):
    """Two screens that tell one fact tell it alike."""
    trade_fact(bench)
    today = words_of(client.get("/").text)
    large, _ = parts(client)
    told = re.search(r"Winter beach (Test first .+)", large)
    assert told
    assert told.group(1) in today


def test_it_comes_anew_and_has_nothing_to_press(bench: Bench, client: TestClient):
    trade_fact(bench)
    page = client.get("/wall").text
    assert 'hx-get="/wall" hx-trigger="every 300s"' in page
    assert '<noscript><meta http-equiv="refresh" content="300"></noscript>' in page
    assert not re.search(r"<(form|button|input|select)\b", page)


def test_an_empty_studio(bench: Bench, client: TestClient):
    assert "No panel yet" in client.get("/wall").text


def test_queries_do_not_grow_with_the_panels(bench: Bench, client: TestClient, queries: Callable[[], int]):
    counts = []
    for panels in (5, 45):
        hang(bench, panels)
        queries()
        client.get("/wall")
        counts.append(queries())
    assert counts[0] == counts[1]
