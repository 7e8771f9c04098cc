"""The calendar over HTTP: five views in words, moving about, an empty studio, queries."""

import calendar
import itertools
import re
from collections.abc import Callable
from datetime import date, timedelta
from html import unescape

import pytest
from starlette.testclient import TestClient

from server.services import finish
from server.services.finish import FinishStepCreate
from server.store.db import Database
from server.store.tables import Panel
from tests.services.board_studio import hang, trade_fact
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_today import words_of

VIEWS = ("year", "season", "month", "week", "agenda")
SCALES = VIEWS[:4]


@pytest.fixture
def bench(db: Database) -> Bench:
    """The studio that the app then finds. Ask for it before the client."""
    return make_bench(db)


@pytest.mark.parametrize("view", VIEWS)
def test_an_empty_studio_leads_to_the_first_panel(client: TestClient, view: str):
    page = client.get(f"/calendar?view={view}")
    assert page.status_code == 200
    assert 'href="/panels/new"' in page.text


@pytest.mark.parametrize("view", SCALES)
def test_a_row_can_be_read_out(bench: Bench, client: TestClient, view: str):
    """Sittings, drying with its range, what may go on when, and the due day: in words of the row or of a mark."""
    panel, _ = trade_fact(bench)
    bench.panel(title="Due", due_on=date(2026, 11, 28), due_for="a show")
    page = client.get(f"/calendar?view={view}").text
    labels = re.findall(r'role="group" aria-label="([^"]+)"', page)
    beach = next(label for label in labels if label.startswith("“Winter beach”"))
    assert "Test first" in beach
    # Before the month that is shown, the row itself tells of the sitting.
    told = [beach, *re.findall(r'<a href="/panels/[^"]+"><title>([^<]+)</title>', page)]
    assert any(re.search(r"underpainting painted (Sunday|22 November), touch-dry likely", words) for words in told)
    assert any(re.search(r"second painting may go on likely [^;]+, touch-dry likely", words) for words in told)
    assert any(words.startswith("Due Saturday for a show") for words in told)
    assert any(label.startswith("“Due”: ") for label in labels)
    assert f'href="/panels/{panel.uid}"' in page
    assert "cal-today" in page


def test_marks_have_words_and_addresses(bench: Bench, client: TestClient):
    panel, layer = trade_fact(bench)
    page = client.get("/calendar").text
    sitting = rf'<a href="/panels/{panel.uid}#layer-{layer.uid}"><title>underpainting painted'
    assert re.search(sitting, page)


def test_the_agenda_tells_the_same_as_a_list(bench: Bench, client: TestClient):
    trade_fact(bench)
    ready = bench.panel(title="Bare board")
    bench.layer(ready)
    bench.panel(title="For the show", due_on=NOW.date() + timedelta(days=20), due_for="the show")
    page = words_of(client.get("/calendar?view=agenda").text)
    assert re.search(r"Wednesday 25 November 2026 today .*Bare board ready: underpainting may go on", page)
    assert re.search(r"Winter beach press it first: touch-dry likely", page)
    assert re.search(r"Winter beach ready without a test: touch-dry likely", page)
    assert re.search(r"Winter beach second painting may go on likely", page)
    assert re.search(r"Tuesday 15 December 2026 For the show due for the show", page)


def test_a_layer_that_a_rule_stops_for_good_has_no_day_in_the_agenda(bench: Bench, client: TestClient):
    """Acrylic over oil is stopped whatever the day (R23), so the agenda must not say when it may go on."""
    panel = bench.panel(title="Mixed up")
    bench.painted(panel, 60.0)
    bench.layer(panel, kind="block-in", material="acrylic")
    page = words_of(client.get("/calendar?view=agenda").text)
    assert re.search(r"Mixed up stopped by a rule, whatever the day: change the next layer", page)
    assert "block-in may go on" not in page


def test_what_was_painted_stands_in_the_agenda_of_its_day(bench: Bench, client: TestClient):
    trade_fact(bench)
    page = words_of(client.get("/calendar?view=agenda&start=2026-11-20").text)
    assert re.search(r"Sunday 22 November 2026 Winter beach underpainting painted", page)


@pytest.mark.parametrize("view", VIEWS)
def test_earlier_and_later_lead_there_and_back(bench: Bench, client: TestClient, view: str):
    trade_fact(bench)
    page = client.get(f"/calendar?view={view}&start=2027-03-01").text
    earlier = re.search(r'href="(/calendar[^"]+)" rel="prev"', page)
    later = re.search(r'href="(/calendar[^"]+)" rel="next"', page)
    assert earlier is not None
    assert later is not None
    assert client.get(earlier[1].replace("&amp;", "&")).status_code == 200
    back = client.get(later[1].replace("&amp;", "&")).text
    again = re.search(r'href="(/calendar[^"]+)" rel="prev"', back)
    assert again is not None
    assert "start=2027-03-01" in again[1]
    assert "Around today" in page


@pytest.mark.parametrize("view", ["year", "agenda"])
@pytest.mark.parametrize("start", ["soon", "2026-13-01", "0001-01-01", "9999-12-31", "\x00", "x" * 9000])
def test_what_is_no_day_begins_around_today(bench: Bench, client: TestClient, view: str, start: str):
    trade_fact(bench)
    page = client.get("/calendar", params={"view": view, "start": start})
    assert page.status_code == 200
    assert "Around today" not in page.text


def test_an_unknown_view_is_the_season(bench: Bench, client: TestClient):
    trade_fact(bench)
    page = client.get("/calendar?view=decade").text
    assert re.search(r'view=season" aria-current="page"', page)


def test_months_have_their_days(bench: Bench, client: TestClient):
    trade_fact(bench)
    page = words_of(client.get("/calendar?view=month&start=2028-02-15").text)
    assert "Tuesday 1 February 2028 to Tuesday 29 February 2028" in page


def test_queries_do_not_grow_with_the_panels(bench: Bench, client: TestClient, queries: Callable[[], int]):
    counts = []
    for panels in (5, 45):
        hang(bench, panels)
        queries()
        client.get("/calendar")
        counts.append(queries())
    assert counts[0] == counts[1]


@pytest.mark.parametrize("start", ["", "&start=2026-12-14", "&start=2028-02-29"])
def test_closer_and_wider_go_along_the_scales_around_the_same_day(bench: Bench, client: TestClient, start: str):
    """From the year to the week and back, three steps each way; the middle stays within what is shown."""
    trade_fact(bench)
    address, seen, middles = f"/calendar?view=year{start}", [], []
    for way in ("closer", "wider"):
        while True:
            page = client.get(address).text
            seen += re.findall(r'view=(\w+)" aria-current="page"', page)
            first, last = (date(*map(int, day)) for day in _shown(page))
            middles.append((first, last))
            found = re.search(rf'href="([^"]+)" data-{way}', page)
            if not found:
                break
            address = unescape(found.group(1))
    assert seen == ["year", "season", "month", "week", "week", "month", "season", "year"]
    for (first, last), (inner_first, inner_last) in itertools.pairwise(middles[:4]):
        assert first <= inner_first + (inner_last - inner_first) / 2 <= last


def _shown(page: str) -> list[tuple[str, str, str]]:
    """The two dates of the line that says what is shown."""
    months = {name: str(number) for number, name in enumerate(calendar.month_name)}
    told = " ".join(re.findall(r'<span class="when">([^<]+)</span>', page))
    return [(year, months[month], day) for day, month, year in re.findall(r"(\d+) (\w+) (\d{4})", told)]


def test_a_layer_that_a_rule_stops_for_good_is_not_drawn(bench: Bench, client: TestClient):
    panel = bench.panel(title="Mixed up")
    bench.painted(panel, 60.0)
    bench.layer(panel, kind="block-in", material="acrylic")
    page = client.get("/calendar").text
    [row] = [
        label for label in re.findall(r'role="group" aria-label="([^"]+)"', page) if label.startswith("“Mixed up”")
    ]
    assert "block-in" not in row
    assert 'class="sitting is-to-come"' not in page


def finished_picture(bench: Bench) -> Panel:
    """Painted 60 days ago, framed, to be varnished and sent."""
    panel = bench.panel(title="Done and drying", finished_on=NOW.date() - timedelta(days=60))
    bench.painted(panel, 60.0)
    with bench.unit() as work:
        for command in (
            FinishStepCreate(action="frame", done_at=NOW - timedelta(days=10)),
            FinishStepCreate(action="wrap", planned_on=NOW.date() + timedelta(days=20)),
            FinishStepCreate(action="ship", planned_on=NOW.date() + timedelta(days=300)),
        ):
            finish.create(work.session, bench.actor, panel.uid, command, NOW)
    return panel


def test_the_finish_is_carried_into_the_calendar(bench: Bench, client: TestClient):
    panel = finished_picture(bench)
    page = client.get("/calendar?view=year").text
    for words in ("Framed, open, 15 November", "Wrap, planned 15 December", "worth a swab test from 25 March 2027"):
        assert words in page, words
    assert f'href="/panels/{panel.uid}/finish"' in page


def test_the_key_explains_the_marks_that_are_shown(bench: Bench, client: TestClient):
    bench.layer(bench.panel(title="Bare board"))
    key = 'class="key cal-key">(.*?)</ul>'
    assert "Varnish" not in re.findall(key, client.get("/calendar?view=year").text, re.DOTALL)[0]
    finished_picture(bench)
    [told] = re.findall(key, client.get("/calendar?view=year").text, re.DOTALL)
    for words in ("Worth a swab test", "Varnish, frame, send: planned", "Varnish, frame, send: done"):
        assert words in told, words
    assert "Due" not in told


def test_of_a_dry_last_layer_no_wait_is_told(bench: Bench, client: TestClient):
    """It is dry for two months: that it would be touch-dry "today" was told once."""
    on = NOW.date()
    panel = bench.panel(title="Done", finished_on=on - timedelta(days=60), due_on=on + timedelta(days=150))
    bench.painted(panel, 60.0)
    for address in (f"/panels/{panel.uid}", "/", "/calendar?view=year"):
        page = words_of(client.get(address).text)
        assert "on course" in page and "last layer touch-dry" not in page, address


def test_the_finish_is_carried_into_the_agenda_for_two_years(bench: Bench, client: TestClient):
    """Half a year before varnish: Parkhurst 1898."""
    finished_picture(bench)
    page = words_of(client.get("/calendar?view=agenda").text)
    assert re.search(r"Tuesday 15 December 2026 Done and drying wrap, as planned", page)
    assert re.search(
        r"Further on.* Thursday 25 March 2027: worth a swab test from 25 March 2027: a final varnish", page
    )
    assert "Tuesday 21 September 2027: send, as planned" in page
    later = words_of(client.get("/calendar?view=agenda&start=2027-03-01").text)
    assert re.search(r"Thursday 25 March 2027 Done and drying worth a swab test", later)
