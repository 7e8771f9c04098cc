"""Open quotes beside each other: the date if the others are taken first, and what taking one does to them."""

import re
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from server.services import quotes_together
from server.store.db import Database
from server.store.tables import Change, Place, Quote
from tests.services.conftest import NOW, Bench, add, make_bench
from tests.web.test_plan_promise import HOURS, asked, rows_of, stack, take_a_plan, words

__all__ = ["stack"]
# A morning a week, with room for one sitting and what is mixed for it.
TIGHT = HOURS | {"weekdays": "5", "start": "09:00", "end": "11:30"}


@pytest.fixture
def bench(db: Database) -> Bench:
    return make_bench(db)


def quote(client: TestClient, bench: Bench, stack: str, title: str, **form: str) -> str:
    done = client.post("/plan/promise", data=asked(bench, stack, title=title, **form))
    assert done.status_code == 303, words(done.text)
    return done.headers["location"].split("?")[0]


def told(client: TestClient, address: str) -> str:
    answer = client.get(f"{address}/others")
    assert answer.status_code == 200, words(answer.text)
    return words(answer.text)


def by_program(client: TestClient, address: str) -> dict[str, Any]:
    found: dict[str, Any] = client.get(f"/api/v1/quotes/{address.rpartition('/')[2]}/others").json()
    return found


def kept(db: Database, address: str) -> dict[str, Any]:
    with db.read() as session:
        row = session.exec(select(Quote).where(Quote.uid == address.rpartition("/")[2])).one()
        return dict(row.content_json or {})


def test_two_quotes_with_room_for_both_keep_their_days(bench: Bench, stack: str, client: TestClient) -> None:
    take_a_plan(bench, client)
    first = quote(client, bench, stack, "Two herons")
    assert "Beside the other open quotes" not in client.get(first).text
    assert "No other quote is open beside it" in told(client, first)
    second = quote(client, bench, stack, "Three crows")
    for one, name in ((first, "Three crows"), (second, "Two herons")):
        page = client.get(one).text
        assert f'hx-get="{one}/others"' in page and "What if it is taken first?" in words(page)
        buyers, _, painters = page[page.index('aria-labelledby="date"') :].partition(
            '<section class="no-print" aria-labelledby="studio">'
        )
        assert name not in buyers and name in painters
        shown = told(client, one)
        assert "If the other open quote is taken first: ready to hand over by" in shown
        assert "Its date stays the same then" in shown
        assert name in shown and "No promise is endangered" in shown and "if this one is taken first" not in shown


def test_where_only_one_fits_the_date_after_the_other_is_told_and_what_taking_it_first_breaks(
    bench: Bench, stack: str, client: TestClient, db: Database
) -> None:
    client.post("/plan/hours", data=TIGHT)
    first, second = (quote(client, bench, stack, title) for title in ("Two herons", "Three crows"))
    assert kept(db, first)["sittings"] == kept(db, second)["sittings"]
    before = rows_of(db)
    with db.read() as session:
        history = len(list(session.exec(select(Change))))
    found = by_program(client, second)
    own = kept(db, second)
    assert found["counted"] == [first.rpartition("/")[2]]
    # A week later it begins, and so it is done later.
    assert datetime.fromisoformat(found["start_at"]) == datetime.fromisoformat(own["start_at"]) + timedelta(days=7)
    assert date.fromisoformat(found["deliver_on"]) > date.fromisoformat(own["deliver_on"])
    assert [(one["quote_uid"], one["title"]) for one in found["breaks"]] == [(found["counted"][0], "Two herons")]
    assert found["breaks"][0]["before"] >= 0.9 > found["breaks"][0]["after"]
    assert found["endangered"] == []  # the first keeps its days if it is the first
    shown = told(client, second)
    assert "stays the same" not in shown and "Endangers 1 open quote if this one is taken first" in shown
    assert re.search(r"Two herons ?: about \d+ in 20 to make its date now, [\w ]+ then", shown), shown
    assert rows_of(db) == before
    with db.read() as session:
        assert len(list(session.exec(select(Change)))) == history
    # It is told, and may be taken all the same.
    assert client.post(f"{second}/take").status_code == 303


def test_a_third_quote_waits_for_both_and_those_that_break_each_other_are_told(
    bench: Bench, stack: str, client: TestClient, db: Database
) -> None:
    client.post("/plan/hours", data=TIGHT)
    first, second, third = (quote(client, bench, stack, title) for title in ("Two herons", "Three crows", "A jay"))
    found = by_program(client, third)
    assert found["counted"] == [one.rpartition("/")[2] for one in (first, second)]
    weeks = datetime.fromisoformat(found["start_at"]) - datetime.fromisoformat(kept(db, third)["start_at"])
    assert weeks == timedelta(days=14)
    assert [one["title"] for one in found["endangered"]] == ["Three crows"]
    assert {one["title"] for one in found["breaks"]} == {"Two herons", "Three crows"}
    assert "If the 2 other open quotes are taken first" in told(client, third)


def test_a_quote_that_is_taken_put_away_over_or_for_the_same_commission_does_not_count(
    bench: Bench, stack: str, client: TestClient, app: FastAPI
) -> None:
    client.post("/plan/hours", data=TIGHT)
    addresses = [quote(client, bench, stack, title) for title in ("Two herons", "two herons ", "Three crows", "A jay")]
    again, crows, jay = addresses[1:]
    counts = lambda one: by_program(client, one)["counted"]  # noqa: E731
    uid = lambda address: address.rpartition("/")[2]  # noqa: E731
    assert counts(addresses[0]) == [uid(crows), uid(jay)]  # not what was asked of the same again
    assert counts(jay) == [uid(again), uid(crows)]  # and of two such the last
    client.post(f"{crows}/archive")
    assert counts(jay) == [uid(again)] and counts(crows) == []
    client.post(f"{again}/take")
    assert counts(jay) == [uid(addresses[0])] and counts(again) == []
    app.state.clock = lambda: NOW + timedelta(days=5)
    assert counts(jay) == []
    assert "Beside the other open quotes" not in client.get(jay).text


def test_a_quote_whose_place_was_put_away_does_not_count_and_nobody_is_asked_in_vain(
    bench: Bench, stack: str, client: TestClient, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    client.post("/plan/hours", data=HOURS)
    with db.write() as session:
        loft = add(session, Place(studio_id=bench.actor.studio_id, name="Loft", light="room")).uid
    quote(client, bench, stack, "Two herons", place_uid=loft)
    second = quote(client, bench, stack, "Three crows")
    assert len(by_program(client, second)["counted"]) == 1
    monkeypatch.setattr(quotes_together, "MOST", 0)
    assert by_program(client, second)["counted"] == []
    monkeypatch.undo()
    assert client.post(f"/room/{loft}/archive").status_code == 303
    assert by_program(client, second) == {
        "counted": [],
        "deliver_on": None,
        "start_at": None,
        "endangered": [],
        "breaks": [],
    }
    assert client.get("/plan/promise/nobody/others").status_code == 404
    assert client.get("/api/v1/quotes/nobody/others").status_code == 404
