"""What the pages of promises say beside the answer: where hours are missing, and of a quote that was put away."""

from starlette.testclient import TestClient

from tests.services.conftest import Bench
from tests.web.test_plan import HOURS
from tests.web.test_plan_promise import asked, bench, stack, words

__all__ = ["bench", "stack"]


def test_without_hours_the_way_to_them_is_told_before_and_after_asking(
    bench: Bench, stack: str, client: TestClient
) -> None:
    for answer in (client.get("/plan/promise"), client.post("/plan/promise", data=asked(bench, stack))):
        assert "No date can be worked out before somebody has working hours." in words(answer.text)
        assert '<a href="/plan/hours">Say when you paint</a>' in answer.text
    client.post("/plan/hours/away", data={"painter": "", "from_on": "2026-12-01", "until_on": "2026-12-02"})
    assert '<a href="/plan/hours">Say when you paint</a>' in client.get("/plan/promise").text
    client.post("/plan/hours", data=HOURS)
    assert "before somebody has working hours" not in client.get("/plan/promise").text


def test_a_quote_that_was_put_away_says_so_and_is_begun_no_more(bench: Bench, stack: str, client: TestClient) -> None:
    client.post("/plan/hours", data=HOURS)
    address = client.post("/plan/promise", data=asked(bench, stack)).headers["location"].split("?")[0]
    kept = words(client.get(address).text)
    assert "It has to be begun" in kept and "This quote is out of the list" not in kept
    client.post(f"{address}/archive")
    gone = words(client.get(address).text)
    assert "Put away This quote is out of the list. Undo it below to have it back." in gone
    assert "It has to be begun" not in gone and "No promise is endangered" not in gone
    assert "Its sittings, beside all that was planned then:" in gone


def test_a_quote_names_all_that_may_have_changed_since(bench: Bench, stack: str, client: TestClient) -> None:
    """How sure a plan wants to be among it."""
    client.post("/plan/hours", data=HOURS)
    address = client.post("/plan/promise", data=asked(bench, stack)).headers["location"].split("?")[0]
    told = "Panels, hours, what dries or the studio's settings are not as they were"
    assert told not in words(client.get(address).text)
    form = {"name": "Yard", "time_zone": "Europe/Lisbon", "confidence_pct": "95", "drops_per_ml": "20", "version": "1"}
    assert client.post("/studio", data=form | {"share_wait_d": "7"}).status_code == 303
    assert told in words(client.get(address).text)
