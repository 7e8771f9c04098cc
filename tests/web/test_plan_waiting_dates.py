"""What a plan that waits comes to follows what was changed since: the same as the plan in use says once it is taken."""

from datetime import timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.store.db import Database
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.pages_of_records import form_to
from tests.web.test_plan import make
from tests.web.test_plan_pins import waiting
from tests.web.test_plan_promise import words


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def of_panels(client: TestClient, uid: str) -> dict[str, Any]:
    told = client.get(f"/api/v1/plans/{uid}").json()
    return {one["title"]: (one["finish_on"], one["late_d"], one["odds"] is not None) for one in told["panels"]}


def dates(client: TestClient) -> list[str]:
    page = words(client.get("/plan").text)
    return [part.split(" to make its date")[0] for part in page.split("Two pears : can be delivered ")[1:]]


@pytest.mark.parametrize(
    "given", [{"packing_d": "20"}, {"finish": "frame_glazed"}, {"due_on": "2026-12-01"}, {"due_on": ""}, {"notes": "x"}]
)
def test_what_leaves_later_or_is_due_otherwise_is_told_of_the_plan_that_waits(
    bare: Bench, client: TestClient, db: Database, given: dict[str, str]
) -> None:
    panel = bare.panel(title="Two pears", due_on=NOW.date() + timedelta(days=90))
    bare.layer(panel, kind="block-in", sitting_min=60)
    make(client)
    uid = waiting(db).uid
    before, page_before = of_panels(client, uid), dates(client)
    form = form_to(client.get(f"/panels/{panel.uid}/edit"), f"/panels/{panel.uid}/edit")
    assert client.post(f"/panels/{panel.uid}/edit", data=form.values | given).status_code == 303
    after, page_after = of_panels(client, uid), dates(client)
    assert (after == before) == (page_after == page_before) == ("notes" in given)
    client.post(f"/plan/{uid}/accept")
    if given != {"due_on": ""}:  # without a date the plan in use tells what it said
        assert dates(client) == page_after and of_panels(client, uid) == after
