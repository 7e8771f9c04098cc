"""Readings over HTTP: the page of a place, a file with its preview, and what a sensor sends."""

import logging
import re
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.web.api import readings as api
from server.web.security.throttle import Throttle
from tests.web.pages_of_records import form_to

FILE = "when,temp,hum\n2026-11-02 10:00,18.5,61\n2026-11-02 10:10,--,61\n2026-11-02 10:20,18,61\n"


@pytest.fixture(autouse=True)
def nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(api, "SENDING", Throttle(1000, 1000))
    monkeypatch.setattr(api, "TRYING", Throttle(1000, 1000))


def place_of(client: TestClient) -> str:
    return client.get("/room").text.partition('<li class="slab" id="')[2].partition('"')[0]


def send(client: TestClient, place: str, token: str, readings: Any) -> Any:
    headers = {"Authorization": f"Bearer {token}"}
    return client.post(f"/api/v1/places/{place}/readings", json={"readings": readings}, headers=headers)


def reading(at: str = "2026-11-02T10:00:00+00:00", **values: float) -> dict[str, Any]:
    return {"at": at, "temperature_c": 18.2, "relative_humidity_pct": 61} | values


def sensor(client: TestClient, place: str) -> str:
    address = f"/room/{place}/sensors"
    sent = form_to(client.get(f"/room/{place}"), address).filled(name="By the easel")
    answer = client.post(address, data=sent)
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    again = client.post(address, data=sent)
    assert again.status_code == 303
    token = re.search(r'value="(umb_[^"]+)"', answer.text)
    assert token is not None
    assert token[1] not in client.get(f"/room/{place}").text
    return token[1]


def test_a_reading_is_written_down_and_set_aside(client: TestClient):
    place = place_of(client)
    address = f"/room/{place}/readings"
    form = form_to(client.get(f"/room/{place}"), address)
    answer = client.post(address, data=form.filled(temperature_c="18,5", relative_humidity_pct="61"))
    assert answer.status_code == 303
    page = client.get(f"/room/{place}")
    assert "1 reading" in page.text
    away = re.search(r'action="(/readings/[^"]+/set-aside)"', page.text)
    assert away is not None
    assert client.post(away[1], data=form_to(page, away[1]).values).status_code == 303
    assert "(set aside)" in client.get(f"/room/{place}").text
    back = away[1].replace("set-aside", "restore")
    assert client.post(back, data={}).status_code == 303
    assert "(set aside)" not in client.get(f"/room/{place}").text


def test_a_faulty_reading_comes_back_with_what_was_typed(client: TestClient):
    place = place_of(client)
    answer = client.post(f"/room/{place}/readings", data={"temperature_c": "900", "relative_humidity_pct": "61"})
    assert answer.status_code == 422
    assert "at most 50" in answer.text
    assert 'value="900"' in answer.text


def look(client: TestClient, place: str, text: str = FILE) -> Any:
    return client.post(f"/room/{place}/import", files={"file": ("logger.csv", text.encode(), "text/csv")})


def test_a_file_is_looked_at_then_taken_and_undone(client: TestClient):
    place = place_of(client)
    assert 'type="file"' in client.get(f"/room/{place}/import").text
    seen = look(client, place)
    assert seen.status_code == 200
    assert "2 readings in “logger.csv”" in seen.text
    assert "1 row cannot be read" in seen.text
    assert "is no temperature" in seen.text
    address = f"/room/{place}/import/check"
    form = form_to(seen, address)
    refused = client.post(address, data=form.filled(_act="take"))
    assert refused.status_code == 422
    assert 'id="e-leave_out"' in refused.text
    assert "No readings are kept here yet" in client.get(f"/room/{place}").text
    sent = form_to(refused, address).filled(_act="take", leave_out="true")
    taken = client.post(address, data=sent)
    assert taken.status_code == 303
    page = client.get(taken.headers["location"])
    assert "Took 2 readings from “logger.csv”" in page.text
    again = client.post(address, data=sent)
    assert (again.status_code, again.headers["location"]) == (303, taken.headers["location"])
    undo = re.search(r'action="(/history/[^"]+/undo)"', page.text)
    assert undo is not None
    assert client.post(undo[1], data=form_to(page, undo[1]).values).status_code == 303
    assert "(set aside)" in client.get(f"/room/{place}").text


def test_other_choices_are_looked_at_again(client: TestClient):
    place = place_of(client)
    address = f"/room/{place}/import/check"
    form = form_to(look(client, place, "a,b,c\n61,2026-11-02 10:00,65.3\n"), address)
    values = form.filled(at_column="1", temperature_column="2", humidity_column="0", temperature_unit="f", _act="look")
    assert "18.5 to 18.5 °C" in client.post(address, data=values).text


@pytest.mark.parametrize("text", ["", "one,two\n1,2\n", "\x00\x01"])
def test_what_is_no_table_is_said_at_the_file(client: TestClient, text: str):
    answer = look(client, place_of(client), text)
    assert answer.status_code == 422
    assert 'id="e-file"' in answer.text


def test_a_form_without_a_file_and_a_file_that_is_gone(client: TestClient):
    place = place_of(client)
    assert client.post(f"/room/{place}/import").status_code == 422
    answer = client.post(f"/room/{place}/import/check", data={"upload": "gone-by-now"})
    assert answer.status_code == 409
    assert "no longer kept" in answer.text


def test_a_cell_without_an_end_is_told_at_the_file(client: TestClient):
    text = 'time,temp,hum\n"' + "2026-11-02 10:00,18.5,61\n" * 9_000
    answer = look(client, place_of(client), text)
    assert answer.status_code == 422
    assert "Is a double quote not closed?" in answer.text


def test_a_file_may_be_larger_than_a_form_and_not_without_end(client: TestClient):
    place = place_of(client)
    rows = "".join(
        f"2026-10-{d:02} {h:02}:{m:02}:{s:02},18,60\n"
        for d in range(1, 29)
        for h in range(24)
        for m in range(0, 60, 2)
        for s in (0, 30)
    )
    assert len(rows) > 1_000_000
    assert "40,320 readings" in look(client, place, "when,temp,hum\n" + rows).text
    assert look(client, place, "x" * 25_000_000).status_code == 413


def test_a_sensor_sends_and_sends_again(client: TestClient, caplog: pytest.LogCaptureFixture):
    place = place_of(client)
    token = sensor(client, place)
    caplog.set_level(logging.DEBUG)
    two = [reading("2026-11-02T10:10:00+00:00"), reading(light_lx=120)]
    assert send(client, place, token, two).json() == {"taken": 2, "already_there": 0}
    assert send(client, place, token, two).json() == {"taken": 0, "already_there": 2}
    assert "2 readings" in client.get(f"/room/{place}").text
    assert token not in caplog.text
    assert "Wrote" not in client.get("/history").text


@pytest.mark.parametrize(
    ("bad", "path"),
    [
        ({"temperature_c": 300}, "readings[1].temperature_c"),
        ({"temperature_c": "18"}, "readings[1].temperature_c"),
        ({"relative_humidity_pct": -1}, "readings[1].relative_humidity_pct"),
        ({"at": "2026-11-02T10:00:00"}, "readings[1].at"),
        ({"at": "2031-01-01T00:00:00Z"}, "readings[1].at"),
        ({"colour": "red"}, "readings[1].colour"),
    ],
)
def test_one_bad_reading_and_none_is_taken(client: TestClient, bad: dict[str, Any], path: str):
    place = place_of(client)
    token = sensor(client, place)
    answer = send(client, place, token, [reading(), reading("2026-11-02T11:00:00Z") | bad])
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert [error["path"] for error in answer.json()["errors"]] == [path]
    assert send(client, place, token, [reading()]).json()["taken"] == 1


def test_who_has_no_token_gets_nowhere(client: TestClient):
    place = place_of(client)
    token = sensor(client, place)
    for wrong in ("", token[:-2], "umb_" + "a" * 43):
        answer = send(client, place, wrong, [reading()])
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")
    assert send(client, "no-such-place", token, [reading()]).status_code == 404
    page = client.get(f"/room/{place}")
    address = re.search(r'action="(/sensors/[^"]+/revoke)"', page.text)
    assert address is not None
    assert client.post(address[1], data=form_to(page, address[1]).values).status_code == 303
    assert send(client, place, token, [reading()]).status_code == 401


def test_a_sensor_gone_wild_is_told_to_wait(client: TestClient, monkeypatch: pytest.MonkeyPatch):
    place = place_of(client)
    token = sensor(client, place)
    monkeypatch.setattr(api, "SENDING", Throttle(2, 30, clock=lambda: 0.0))
    assert [send(client, place, token, [reading()]).status_code for _ in range(3)] == [200, 200, 429]
    answer = send(client, place, token, [reading()])
    assert int(answer.headers["retry-after"]) == 2


def test_other_bodies_than_json_are_refused(client: TestClient):
    place = place_of(client)
    headers = {"Authorization": f"Bearer {sensor(client, place)}"}
    address = f"/api/v1/places/{place}/readings"
    assert client.post(address, content=b"a=1", headers=headers).status_code == 415
    as_json = headers | {"Content-Type": "application/json"}
    assert client.post(address, content=b"{", headers=as_json).status_code == 400
    assert client.post(address, content=b"x" * 1_100_000, headers=as_json).status_code == 413
    assert client.post(address, json={"readings": []}, headers=headers).status_code == 422


def test_the_page_of_a_place_draws_its_air_and_says_its_speed(client: TestClient):
    place = place_of(client)
    page = client.get(f"/room/{place}").text
    assert "of the reference speed" in page
    assert "No readings are kept here" in page
    token = sensor(client, place)
    hours = [f"2026-11-{day:02}T{hour:02}:10:00Z" for day in range(12, 26) for hour in range(24)]
    sent = [reading(at, temperature_c=12.0) for at in hours if at < "2026-11-25T09"]
    assert send(client, place, token, sent).status_code == 200
    cold = client.get(f"/room/{place}").text
    assert "% of the week's hours were read" in cold
    speeds = [float(re.findall(r"<strong>([0-9.]+)</strong> of the reference speed", text)[0]) for text in (page, cold)]
    assert speeds[1] < 0.7 * speeds[0]
    assert "Day by day in figures" in cold
    assert 'stroke-dasharray="4 4"' in cold
