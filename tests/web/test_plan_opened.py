"""The address of the plan's page takes up what of a large plan was opened in place."""

import re

from starlette.testclient import TestClient

from tests.services.conftest import Bench
from tests.web.large_plan import content, fill, moved, propose
from tests.web.test_plan_parts import EACH, HUNG, bare, lines

__all__ = ["bare"]


def test_what_opens_in_place_is_taken_up_by_the_address(bare: Bench, client: TestClient) -> None:
    """The address is that of the plan's page with the part open, so that going back shows it so."""
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    uid = propose(bare, content(moved(sittings, 5)), taken=False)
    at, own = "/plan", {"month": "month-2027-01", "then": "then-2027-01"}
    steps = (
        ("/plan/days", "?open=days", "its-days"),
        ("/plan/days/2027-01", "?open=days&month=2027-01", own["month"]),
        (f"/plan/{uid}/days/2027-01", "?open=days&month=2027-01&then=2027-01", own["then"]),
        ("/plan/panels", "?open=panels&month=2027-01&then=2027-01", "more-panels"),
        (f"/plan/{uid}/panels", "?open=then-panels&month=2027-01&then=2027-01", "then-more-panels"),
    )
    for address, query, summary in steps:
        asked = {"HX-Request": "true", "HX-Current-URL": f"http://testserver{at}#somewhere"}
        opened = client.get(address, headers=asked)
        assert opened.headers["HX-Replace-Url"] == f"/plan{query}"
        at = opened.headers["HX-Replace-Url"]
        text = client.get(at).text
        assert address not in lines(text) and (summary == "its-days" or f'<summary id="{summary}">' in text)
        part = set(re.findall(r'id="((?:sitting|due)-[\w-]+)"', client.get(address).text))
        assert part <= set(re.findall(r'id="((?:sitting|due)-[\w-]+)"', text))
    assert all(f'<summary id="{name}">' in client.get(at).text for name in own.values())


def test_a_part_on_its_own_page_leaves_the_address(bare: Bench, client: TestClient) -> None:
    propose(bare, content(fill(bare, HUNG, EACH)), taken=True)
    for asked in ({}, {"HX-Current-URL": "http://testserver/plan"}, {"HX-Request": "true"}):
        assert "HX-Replace-Url" not in client.get("/plan/days/2027-01", headers=asked).headers
    asked = {"HX-Request": "true", "HX-Current-URL": "http://testserver/plan/days"}
    assert "HX-Replace-Url" not in client.get("/plan/days/2027-01", headers=asked).headers
    asked["HX-Current-URL"] = "http://testserver/plan?x=%0d%0aSet-Cookie:a&month=%0d%0ab"
    assert client.get("/plan/days/2027-01", headers=asked).headers["HX-Replace-Url"] == "/plan?month=2027-01"
    asked["HX-Current-URL"] = "http://[bad/plan"
    assert client.get("/plan/days/2027-01", headers=asked).status_code == 200
    asked["HX-Current-URL"] = "http://testserver/plan"
    gone = client.get("/plan/days/2031-01", headers=asked)
    assert gone.status_code == 404 and "HX-Replace-Url" not in gone.headers


def test_what_is_open_stays_so_when_the_rest_of_a_plan_comes(bare: Bench, client: TestClient) -> None:
    """The page asks for it by an address of its own; what is open stands in that of the page."""
    sittings = fill(bare, HUNG, EACH)
    propose(bare, content(sittings), taken=True)
    uid = propose(bare, content(moved(sittings, 5)), taken=False)
    at = "http://testserver/plan?then=2027-01&open=days#proposal"
    text = client.get(f"/plan?following={uid}", headers={"HX-Request": "true", "HX-Current-URL": at}).text
    assert '<summary id="then-2027-01">' in text
    assert '<summary id="then-2027-01">' not in client.get(f"/plan?following={uid}").text
