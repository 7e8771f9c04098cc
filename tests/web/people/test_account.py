"""A person's own account: passwords, sessions, one-time codes and recovery codes.

One-time codes are checked against the vectors of RFC 6238 (appendix B) and RFC 4226 (appendix D).
"""

import re
from datetime import datetime, timedelta, timezone

import pyotp
import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.services.people import one_time_codes
from server.store.db import Database
from server.store.tables import Person, RecoveryCode, SignIn
from tests.web.people.conftest import PASSWORD, Clock, Enter, browser, sign_in

COOKIE = "umberday_session"
OTHER = "another ladder by the window"
CODE = re.compile(r"(?:[0-9A-HJKMNP-TV-Z]{4}-){5}[0-9A-HJKMNP-TV-Z]{4}")
# RFC 6238, appendix B: the secret of SHA-1, and (seconds since 1970, the last six of the eight figures).
RFC_SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # "12345678901234567890" in base 32
RFC_CODES = (
    (59, "287082"),
    (1111111109, "081804"),
    (1111111111, "050471"),
    (1234567890, "005924"),
    (2000000000, "279037"),
)


def change_password(client: TestClient, now: str = PASSWORD, new: str = OTHER):
    return client.post("/account/password", data={"password": now, "new_password": new})


def test_a_new_password_ends_every_other_session(enter: Enter, app: FastAPI):
    here, there = enter("viewer"), enter("viewer")
    before = here.cookies[COOKIE]
    assert change_password(here).status_code == 303
    assert here.get("/account").status_code == 200
    assert here.cookies[COOKIE] != before  # ASVS 5.0, 7.2.4: another token once it may do other things
    assert there.get("/account").status_code == 303
    thief = browser(app)
    thief.cookies.set(COOKIE, before, domain="127.0.0.1")
    assert thief.get("/account").status_code == 303
    assert sign_in(browser(app), "viewer", PASSWORD).status_code == 422
    assert sign_in(browser(app), "viewer", OTHER).status_code == 303


@pytest.mark.parametrize(
    ("now", "new", "field"),
    [("wrong", OTHER, "password"), (PASSWORD, "short", "new_password"), (PASSWORD, "Viewer2026", "new_password")],
)
def test_a_password_that_is_not_taken_is_told_at_its_field(enter: Enter, now: str, new: str, field: str):
    client, other = enter("viewer"), enter("viewer")
    answer = change_password(client, now, new)
    assert answer.status_code == 422
    assert f'id="e-{field}"' in answer.text
    assert OTHER not in answer.text
    assert other.get("/account").status_code == 200  # nothing ended


def test_the_present_password_cannot_be_guessed_through_the_form(enter: Enter):
    client = enter("viewer")
    statuses = [change_password(client, "guess", OTHER).status_code for _ in range(7)]
    assert statuses == [422] * 5 + [429] * 2


def test_sessions_are_listed_and_ended_one_by_one_or_all(enter: Enter, db: Database):
    first, second, third = (enter("viewer") for _ in range(3))
    listed = re.findall(r"/account/sessions/([\w-]+)/end\"", first.get("/account").text)
    assert len(listed) == 2  # this one is not offered
    assert first.post(f"/account/sessions/{listed[0]}/end").status_code == 303
    assert sorted(client.get("/account").status_code for client in (second, third)) == [200, 303]
    fourth = enter("viewer")
    assert first.post("/account/sessions/end-others").status_code == 303
    assert {client.get("/account").status_code for client in (second, third, fourth)} == {303}
    assert first.get("/account").status_code == 200


def test_nobody_ends_somebody_elses_session(enter: Enter, people, db: Database):
    owner, viewer = enter("owner"), enter("viewer")
    with db.read() as session:
        uid = session.scalars(select(SignIn.uid).where(col(SignIn.person_id) == people["viewer"].id)).one()
    assert owner.post(f"/account/sessions/{uid}/end").status_code == 404
    assert viewer.get("/account").status_code == 200


def test_the_history_tells_the_new_name_from_now_on(enter: Enter, bench):
    painter = enter("painter")
    panel = bench.panel()
    layer = bench.painted(panel, 20)
    painter.post(f"/layers/{layer.uid}/tests", data={"stage": "tacky"})
    assert painter.post("/account/name", data={"name": "Renamed <b>Person</b>"}).status_code == 303
    painter.post(f"/layers/{layer.uid}/tests", data={"stage": "touch_dry"})
    told = painter.get("/history").text
    assert "Painter" in told
    assert "Renamed &lt;b&gt;Person&lt;/b&gt;" in told


# ---- one-time codes ----
@pytest.mark.parametrize(("seconds", "code"), RFC_CODES)
def test_codes_are_those_of_the_standard(seconds: int, code: str):
    person = Person(name="x", email="x@studio.example", password_hash="x", code_seed=RFC_SECRET)
    at = datetime.fromtimestamp(seconds, timezone.utc)
    assert one_time_codes.take(person, RFC_SECRET, code, at)
    assert not one_time_codes.take(person, RFC_SECRET, code, at)  # section 5.2: never twice


def test_a_clock_may_be_off_by_a_step_and_no_more():
    for off, taken in ((-2, False), (-1, True), (0, True), (1, True), (2, False)):
        person = Person(name="x", email="x@studio.example", password_hash="x", code_seed=RFC_SECRET)
        at = datetime.fromtimestamp(1111111111 + 30 * off, timezone.utc)
        assert one_time_codes.take(person, RFC_SECRET, "050471", at) == taken, off


def test_no_code_from_before_the_last_one_is_taken():
    person = Person(name="x", email="x@studio.example", password_hash="x", code_seed=RFC_SECRET)
    device = pyotp.TOTP(RFC_SECRET)
    at = datetime.fromtimestamp(1111111111, timezone.utc)
    assert one_time_codes.take(person, RFC_SECRET, device.at(at), at)
    assert not one_time_codes.take(person, RFC_SECRET, device.at(at - timedelta(seconds=30)), at)
    for typed in ("", "05047", "0504711", "abcdef", "٠٥٠٤٧١", "050 471 1"):
        assert not one_time_codes.take(person, RFC_SECRET, typed, at + timedelta(minutes=5))


def set_up(client: TestClient, clock: Clock) -> tuple[pyotp.TOTP, list[str]]:
    """Take codes into use; the device that makes them, and the recovery codes."""
    assert client.post("/account/codes/begin", data={"password": PASSWORD}).status_code == 303
    page = client.get("/account/codes").text
    seed = re.search(r"Key: <code>([A-Z2-7 ]+)</code>", page)
    assert seed is not None
    assert "style=" not in page
    device = pyotp.TOTP(seed[1].replace(" ", ""))
    wrong = client.post("/account/codes/confirm", data={"code": "000000"})
    assert wrong.status_code == 422
    shown = client.post("/account/codes/confirm", data={"code": device.at(clock.now)})
    assert shown.status_code == 200
    assert shown.headers["Cache-Control"] == "no-store"
    codes = CODE.findall(shown.text)
    assert len(set(codes)) == 10
    return device, codes


def test_signing_in_takes_a_code_once_they_are_in_use(enter: Enter, app: FastAPI, clock: Clock, db: Database):
    client = enter("viewer")
    device, _ = set_up(client, clock)
    assert "Key:" not in client.get("/account/codes").text  # the seed is not shown again
    clock.go_on(minutes=1)
    code = device.at(clock.now)
    without = sign_in(browser(app), "viewer")
    wrong_password = sign_in(browser(app), "viewer", "wrong", code)
    assert (without.status_code, wrong_password.status_code) == (422, 422)
    assert sign_in(browser(app), "viewer", code=code).status_code == 303
    replayed = sign_in(browser(app), "viewer", code=code)
    assert replayed.status_code == 422

    def message(answer):
        return re.search(r'class="faults-title">(.*?)</p>', answer.text, re.DOTALL)[1]  # type: ignore[index]

    assert message(without) == message(wrong_password) == message(replayed)


def test_a_recovery_code_lets_in_once(enter: Enter, app: FastAPI, clock: Clock, db: Database):
    client = enter("viewer")
    _, codes = set_up(client, clock)
    typed = codes[3].lower().replace("-", "").replace("0", "o").replace("1", "l")
    assert sign_in(browser(app), "viewer", code=typed).status_code == 303
    assert sign_in(browser(app), "viewer", code=codes[3]).status_code == 422
    assert "9 recovery codes left" in client.get("/account/codes").text
    made = client.post("/account/codes/recovery", data={"password": PASSWORD})
    fresh = CODE.findall(made.text)
    assert len(fresh) == 10
    assert sign_in(browser(app), "viewer", code=codes[4]).status_code == 422  # the old ones are void
    assert sign_in(browser(app), "viewer", code=fresh[0]).status_code == 303
    with db.read() as session:
        kept = {row.code_hash for row in session.scalars(select(RecoveryCode))}
    assert not kept & {*codes, *fresh}
    assert all(re.fullmatch("[0-9a-f]{64}", each) for each in kept)


def test_codes_are_begun_and_stopped_with_the_password(enter: Enter, app: FastAPI, clock: Clock):
    client = enter("viewer")
    assert client.post("/account/codes/begin", data={"password": "wrong"}).status_code == 422
    set_up(client, clock)
    assert client.post("/account/codes/stop", data={"password": "wrong"}).status_code == 422
    assert client.post("/account/codes/begin", data={"password": PASSWORD}).status_code == 409
    assert client.post("/account/codes/stop", data={"password": PASSWORD}).status_code == 303
    assert client.post("/account/codes/stop", data={"password": PASSWORD}).status_code == 303
    assert sign_in(browser(app), "viewer").status_code == 303
    assert client.post("/account/codes/recovery", data={"password": PASSWORD}).status_code == 409


def test_a_confirmation_sent_twice_shows_no_codes_again(enter: Enter, clock: Clock):
    client = enter("viewer")
    device, _ = set_up(client, clock)
    assert client.post("/account/codes/confirm", data={"code": device.at(clock.now)}).status_code == 303
