"""Today over HTTP: the words on the cards, one press, two taps, another day, an empty studio.

The trade fact is common practice without a source; see ``tests/services/board_studio.py``.
"""

import re
from collections.abc import Callable
from datetime import date, timedelta
from html import unescape

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import Layer, Panel, TouchTest
from tests.services.board_studio import hang, trade_fact
from tests.services.conftest import NOW, Bench, make_bench

HTMX = {"HX-Request": "true", "HX-Request-Type": "partial", "Sec-Fetch-Site": "same-origin"}
OWN = {"Sec-Fetch-Site": "same-origin"}


@pytest.fixture
def bench(db: Database) -> Bench:
    """The studio that the app then finds. Ask for it before the client."""
    return make_bench(db)


def words_of(html: str) -> str:
    """What a reader sees, in one line."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", html, flags=re.DOTALL)
    text = unescape(re.sub(r"<[^>]+>", " ", text))
    return re.sub(r"\s+", " ", text)


def card_of(html: str, panel: Panel) -> str:
    found = re.search(rf'<li class="slab card[^>]*id="card-{panel.uid}">.*?</form>\s*</div>\s*</li>', html, re.DOTALL)
    assert found is not None
    return found[0]


def press(client: TestClient, page: str, layer: Layer, stage: str, headers: dict[str, str] = OWN):
    """Press one of a card's four buttons, as the page offers them."""
    form = re.search(rf'<form method="post" action="/layers/{layer.uid}/tests".*?</form>', page, re.DOTALL)
    assert form is not None
    fields = {name: unescape(value) for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', form[0])}
    fields["stage"] = stage
    return client.post(f"/layers/{layer.uid}/tests", data=fields, headers=headers)


def test_an_empty_studio_leads_to_the_first_panel(client: TestClient):
    page = client.get("/")
    assert page.status_code == 200
    assert 'href="/panels/new"' in page.text
    assert "The wall is bare" in page.text


def test_a_wet_panel_without_a_plan_still_says_until_when_it_is_soft(bench: Bench, client: TestClient):
    bench.painted(bench.panel(title="Two figs"), 0.5)
    assert re.search(r"Nothing planned the last layer touch-dry likely \S+", words_of(client.get("/").text))


def test_the_trade_fact_in_words(bench: Bench, client: TestClient):
    panel, _ = trade_fact(bench)
    page = client.get("/").text
    card = words_of(card_of(page, panel))
    assert "Test first" in card
    assert "most likely tacky" in card
    # Stopped with its day, the 90th percentile of dry-to-touch.
    assert "Stop The layer below is not touch-dry (R03)" in card
    assert re.search(r"An ordinary next layer waits until \d December, or until you find it touch-dry\.", card)
    # Lightly: a caution.
    assert "Caution: working lightly" in card
    assert "not yet fully dry to the touch" in card
    assert "can be worked on with light pressure and a brush wiped free of thinner (R05)" in card
    assert "soft clean brush wiped free of thinner, no thinner in the paint" in card
    # The next layer: 40 x 50 cm at 50 um with a loss of 1.3.
    assert "Next: second painting, 50 µm wet" in card
    assert "Pale grey: 13 ml" in card
    there = words_of(client.get(f"/panels/{panel.uid}").text)
    assert "most likely" in there or "Tacky" in there
    assert "light pressure and a brush wiped free of thinner" in there


def test_ranges_in_words(bench: Bench, client: TestClient):
    """Never one day without its range: 'until it is touch-dry, likely Thursday to Saturday'."""
    trade_fact(bench, NOW - timedelta(hours=6))
    page = words_of(client.get("/").text)
    assert re.search(r"Rests until it is touch-dry, likely (\w+day|2\d November) to \d December", page), page


@pytest.mark.parametrize("stage", ["wet", "tacky", "touch_dry", "firm"])
def test_one_press_without_script(bench: Bench, client: TestClient, stage: str):
    panel, layer = trade_fact(bench)
    answer = press(client, client.get("/").text, layer, stage)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/?card=")
    page = client.get(answer.headers["location"])
    assert page.text.count("<h1") == 1
    assert "Undo" in page.text
    word = {"touch_dry": "touch-dry"}.get(stage, stage)
    assert f"{word} " in words_of(card_of(page.text, panel))
    with bench.db.read() as session:
        [test] = session.scalars(select(TouchTest)).all()
    assert (test.stage, test.pressed_at) == (stage, NOW)


def test_one_press_swaps_the_card_with_its_undo(bench: Bench, client: TestClient):
    panel, layer = trade_fact(bench)
    answer = press(client, client.get("/").text, layer, "touch_dry", HTMX)
    assert answer.status_code == 303
    card = client.get(answer.headers["location"], headers=HTMX)
    assert card.text.strip().startswith('<li class="slab card is-ready"')
    assert f'id="card-{panel.uid}"' in card.text
    assert "<html" not in card.text
    words = words_of(card.text)
    assert "touch-dry" in words
    assert "Undo" in words
    undo = re.search(r'action="(/history/[^"]+/undo)"', card.text)
    assert undo is not None
    taken_back = client.post(
        undo[1],
        data={"command_key": "k" * 32, "next": answer.headers["location"]},
        headers=HTMX,
    )
    assert taken_back.status_code == 303
    again = client.get(taken_back.headers["location"], headers=HTMX)
    assert 'class="slab card is-test"' in again.text
    # Told once: the whole page says it no more.
    assert "card-done" not in client.get("/").text


def test_the_same_press_sent_twice_counts_once(bench: Bench, client: TestClient):
    _, layer = trade_fact(bench)
    page = client.get("/").text
    answers = [press(client, page, layer, "tacky") for _ in range(2)]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    with bench.db.read() as session:
        assert len(session.scalars(select(TouchTest)).all()) == 1


def test_two_pages_of_one_wall_have_keys_of_their_own(bench: Bench, client: TestClient):
    """The wall is drawn once and sent often; two people pressing the same card are two tests."""
    _, layer = trade_fact(bench)
    pages = [client.get("/").text for _ in range(2)]
    press(client, pages[0], layer, "wet")
    press(client, pages[1], layer, "tacky")
    with bench.db.read() as session:
        assert sorted(test.stage for test in session.scalars(select(TouchTest)).all()) == ["tacky", "wet"]


def test_keys_within_a_page_differ(bench: Bench, client: TestClient):
    hang(bench, 5)
    keys = re.findall(r'name="command_key" value="([^"]+)"', client.get("/").text)
    assert len(keys) >= 5
    assert len(set(keys)) == len(keys)
    assert not any("\x01" in key for key in keys)
    assert all(len(key) <= 64 for key in keys)


def test_two_taps_log_a_painted_layer(bench: Bench, client: TestClient):
    panel = bench.panel()
    layer = bench.layer(panel)
    page = client.get("/").text
    assert f'href="/layers/{layer.uid}/paint"' in page
    form = client.get(f"/layers/{layer.uid}/paint").text
    fields = {name: unescape(value) for name, value in re.findall(r'name="([\w-]+)"[^>]* value="([^"]*)"', form)}
    sent = {name: fields[name] for name in ("command_key", "version", "painted_at")}
    answer = client.post(f"/layers/{layer.uid}/paint", data=sent, headers=OWN)
    assert answer.status_code == 303
    with bench.db.read() as session:
        stored = session.get(Layer, layer.id)
        assert stored is not None
        assert stored.painted_at == NOW


def test_another_day(bench: Bench, client: TestClient):
    trade_fact(bench)
    later = client.get("/?on=2026-12-10").text
    assert "Thursday 10 December 2026" in later
    assert "Ready to paint" in later
    assert "press-row" not in later  # a test is made now, not then
    assert 'href="/?on=2026-12-09"' in later
    assert 'href="/?on=2026-12-11"' in later
    assert "Press these first" in client.get("/?on=2026-11-25").text


@pytest.mark.parametrize(
    "on", ["", "yesterday", "2026-02-30", "0001-01-01", "9999-12-31", "2026-11-25\x00", "x" * 9000]
)
def test_what_is_no_day_is_today(bench: Bench, client: TestClient, on: str):
    trade_fact(bench)
    page = client.get("/", params={"on": on})
    assert page.status_code == 200
    assert "Wednesday 25 November 2026" in page.text


def test_a_date_at_risk_stands_at_the_top(bench: Bench, client: TestClient):
    panel = bench.panel(title="Frost", due_on=date(2026, 11, 28), due_for="the winter show")
    bench.painted(panel, 1.0)
    bench.layer(panel)
    page = words_of(client.get("/").text)
    due = r"A date at risk Frost Due Saturday for the winter show chance of keeping it: (about|less than) \d in 20;"
    assert re.search(due + r" the last layer touch-dry likely \d+ November to \d+ December", page)
    assert "1 date at risk" in page


def test_the_slow_region_is_named(bench: Bench, client: TestClient):
    panel = bench.panel()
    mixes = [
        {"mix_uid": bench.white.uid, "area_pct": 80, "region": "sky"},
        {"mix_uid": bench.black.uid, "area_pct": 20, "region": "eyes"},
    ]
    bench.painted(panel, 2.0, mixes=mixes)
    bench.layer(panel, mixes=mixes)
    words = words_of(client.get("/").text)
    assert "slowest part: eyes" in words
    assert "White in sky 6.2 ml on 80 %, Black in eyes 1.6 ml on 20 %" in words


def test_the_parts_of_a_layer_found_dry_wait_for_nothing(bench: Bench, client: TestClient):
    """A fingertip speaks of the whole layer; its parts' own forecasts would tell of days after it was found dry."""
    panel = bench.panel()
    mixes = [
        {"mix_uid": bench.white.uid, "area_pct": 80, "region": "sky"},
        {"mix_uid": bench.black.uid, "area_pct": 20, "region": "eyes"},
    ]
    layer = bench.painted(panel, 2.0, mixes=mixes)

    def parts() -> str:
        page = client.get(f"/panels/{panel.uid}").text
        return words_of("".join(re.findall(r'<ul class="region-list">.*?</ul>', page, re.DOTALL)))

    assert re.search(r"sky, 80 % touch-dry likely .* eyes, 20 % touch-dry likely", parts())
    press(client, client.get("/").text, layer, "touch_dry")
    assert "likely" not in parts() and "eyes, 20 %" in parts()


def test_hostile_names_are_shown_as_text(bench: Bench, client: TestClient):
    panel = bench.panel(title="<script>alert(1)</script> {{ 7 * 7 }}", due_on=date(2026, 11, 26), due_for="<b>x</b>")
    bench.painted(panel, 1.0)
    page = client.get("/").text
    assert "<script>alert" not in page
    assert "<b>x" not in page
    assert "{{ 7 * 7 }}" in page


def test_a_card_of_another_studio_is_not_there(bench: Bench, client: TestClient):
    stranger = make_bench(bench.db)
    panel = stranger.panel()
    assert client.get(f"/?card={panel.uid}", headers=HTMX).status_code == 404
    assert panel.uid not in client.get("/").text


def test_a_rule_is_not_repeated_as_certainty(bench: Bench, client: TestClient):
    """No promise is made: words that would be one are in no text."""
    trade_fact(bench)
    text = words_of(client.get("/").text).casefold()
    assert not re.search(r"\b(safe|safely|archival|guaranteed)\b", text)


def test_a_wall_stays_light(bench: Bench, client: TestClient):
    """Fifty panels in under 150 kB of HTML."""
    hang(bench, 50)
    page = client.get("/")
    assert len(page.text.encode()) < 150_000


def test_queries_do_not_grow_with_the_wall(bench: Bench, client: TestClient, queries: Callable[[], int]):
    counts = []
    for panels in (5, 45):
        hang(bench, panels)
        queries()
        client.get("/")
        counts.append(queries())
    assert counts[0] == counts[1]


def test_the_clock_moves_the_wall(bench: Bench, client: TestClient, app: FastAPI):
    panel, _ = trade_fact(bench)
    assert "is-test" in card_of(client.get("/").text, panel)
    app.state.clock = lambda: NOW + timedelta(days=20)
    assert "is-ready" in card_of(client.get("/").text, panel)
