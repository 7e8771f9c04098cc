"""Links that show the schedule: made once, told once, and what a stranger gets to see by them.

What a stranger must not learn is our own rule; the headers are those of RFC 9110 (Cache-Control), Referrer Policy and
Content Security Policy Level 3 (W3C).
"""

import hashlib
import logging
import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from httpx2 import Response
from sqlalchemy import select, text
from sqlmodel import col
from starlette.testclient import TestClient

from server.services import share_access, share_links
from server.services.access import Actor
from server.services.errors import Forbidden, NotFound
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Change, ShareKey, ShareLink, Studio
from tests.services.conftest import make_bench
from tests.web.conftest import NOW
from tests.web.pages_of_records import Easel, make_easel

DETAILS = ("notes", "names", "mixes", "section", "sizes")
SECRETS = ("Quiet remark", "A. Nyone", "Rack behind the door", "First grey", "soft corner")


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db, "Europe/Madrid")


def make_link(easel: Easel, **values: object) -> str:
    """The path that a new link opens, as the page tells it."""
    client = easel.client
    given = {"label": "For the gallery", "kind": "page", "scope": "studio", "lasts": "month", **values}
    answer = client.post("/share", data=given)
    assert answer.status_code == 303, answer.text
    told = client.get(answer.headers["location"])
    found = re.search(r'id="address"[^>]*value="http://127\.0\.0\.1(/[^"]+)"', told.text)
    assert found, told.text
    return found[1]


def found_in(pattern: str, page: str) -> str:
    found = re.search(pattern, page)
    assert found, pattern
    return found[1]


def hang(easel: Easel, title: str = "Two pears", **values: object) -> str:
    """A panel with a layer on and one to come, and with everything that a stranger must not see; its uid."""
    given = {"notes": "Quiet remark", "due_on": "2027-02-01", "due_for": "A. Nyone", **values}
    panel = easel.panel(title=title, **given)
    layer = easel.painted(
        panel, "2026-11-20T10:00", notes="Quiet remark in a layer", **{"mixes-0-mix_uid": easel.grey()}
    )
    easel.test(layer, note="Quiet remark at the edge", place_on_panel="soft corner")
    easel.layer(panel, kind="second painting")
    return panel.removeprefix("/panels/")


def pages_of(client: TestClient, home: str) -> dict[str, Response]:
    found = {path: client.get(home + path) for path in ("", "/calendar", "/calendar?view=agenda", "/wall")}
    panels = set(re.findall(rf'href="({re.escape(home)}/panels/[^"#]+)', found[""].text))
    return found | {path: client.get(path) for path in panels}


def test_a_link_shows_today_the_calendar_the_wall_and_each_panel(easel: Easel):
    hang(easel)
    home = make_link(easel)
    pages = pages_of(easel.client, home)
    assert len(pages) == 5
    for path, page in pages.items():
        assert page.status_code == 200, path
        assert "Two pears" in page.text


def test_the_shared_words_are_those_of_the_main_pages(easel: Easel):
    hang(easel)
    home = make_link(easel, shows=["names"])
    main, shared = easel.client.get("/").text, easel.client.get(home).text
    for told in re.findall(r'<span class="status status-l is-\w+">.*?</span></span>', main):
        assert told in shared
    agenda = easel.client.get("/calendar?view=agenda").text
    shared_agenda = easel.client.get(home + "/calendar?view=agenda").text
    words = re.findall(r"</a> ([^<]+)</li>", agenda)
    assert words
    assert words == re.findall(r"</a> ([^<]+)</li>", shared_agenda)


def test_nothing_is_told_that_was_not_ticked(easel: Easel):
    easel.send(f"/room/{easel.place}/edit", name="Rack behind the door")
    uid = hang(easel)
    easel.client.post(f"/room/{easel.place}/edit", data={"name": "Rack behind the door"})
    for scope in ({}, {"scope": "panel", "panel_uids": [uid]}):
        home = make_link(easel, **scope)
        for path, page in pages_of(easel.client, home).items():
            for secret in SECRETS:
                assert secret not in page.text, path


def test_a_layer_that_a_rule_stops_is_being_thought_over(easel: Easel):
    """What the rules say is no stranger's; that no day can be told is."""
    uid = hang(easel)
    easel.layer(f"/panels/{uid}", kind="wash", material="acrylic")
    assert "Acrylic over oil (R23)" in easel.client.get(f"/panels/{uid}").text
    for path, page in pages_of(easel.client, make_link(easel)).items():
        assert "R23" not in page.text and "Acrylic over oil" not in page.text, path
        if "/panels/" in path:
            assert "“wash” is being thought over: no day can be told yet" in page.text
            assert "no odds while “wash” is being thought over" in page.text


def test_what_was_ticked_is_told(easel: Easel):
    uid = hang(easel)
    home = make_link(easel, scope="panel", panel_uids=[uid], shows=list(DETAILS))
    shown = easel.client.get(home).text
    for word in ("Quiet remark", "A. Nyone", "First grey", "Cross-section of", "40.5 × 50 cm"):
        assert word in shown


def test_a_shared_page_leads_nowhere_else_and_holds_no_private_id(easel: Easel):
    uid = hang(easel)
    private = {uid, easel.place, *re.findall(r"layer-([A-Za-z0-9_-]{16})", easel.client.get(f"/panels/{uid}").text)}
    home = make_link(easel, shows=list(DETAILS))
    for path, page in pages_of(easel.client, home).items():
        leads = re.findall(r'(?:href|src|action)="([^"]*)"', page.text)
        assert all(lead.startswith((home, "/static/", "#")) for lead in leads), path
        assert "<form" not in page.text
        assert ("<script" in page.text) == (path == "/wall")  # which draws itself anew
        assert ("script-src" in page.headers["content-security-policy"]) == (path == "/wall")
        assert not [one for one in private if one in page.text], path
        for anchor in re.findall(rf'href="{re.escape(home)}/panels/[^"#]+#([^"]+)"', page.text):
            assert any(f'id="{anchor}"' in other.text for other in pages_of(easel.client, home).values())


def test_only_chosen_panels_are_shown(easel: Easel):
    chosen = hang(easel)
    hang(easel, "The other one")
    home = make_link(easel, scope="panels", panel_uids=[chosen])
    for page in pages_of(easel.client, home).values():
        assert "The other one" not in page.text
    other = easel.client.get(make_link(easel)).text
    refs = re.findall(r"/panels/([\w-]+)\"", other)
    assert all(easel.client.get(f"{home}/panels/{ref}").status_code == 404 for ref in refs)  # another link's names


def test_a_panel_of_another_studio_is_never_shown(easel: Easel, db: Database):
    uid = hang(easel)
    with db.write() as session:
        other = Studio(name="Other studio", time_zone="UTC")
        session.add(other)
        session.flush()
        other_id = other.id
    home = make_link(easel, scope="panels", panel_uids=[uid])
    with db.write() as session:  # as if the link were the other studio's, still naming this panel
        session.execute(text("UPDATE share_link SET studio_id = :other"), {"other": other_id})
    page = easel.client.get(home)
    assert page.status_code == 200
    assert "Two pears" not in page.text


def test_no_link_can_be_made_to_a_panel_of_another_studio(easel: Easel, db: Database):
    own = hang(easel)
    other = make_bench(db)
    theirs = other.panel(title="Not ours").uid
    for uids in ([theirs], [own, theirs], ["no-such-panel"]):
        answer = easel.client.post("/share", data={"label": "x", "scope": "panels", "panel_uids": uids})
        assert answer.status_code == 422
        assert "Choose one of the list" in answer.text
        assert "Not ours" not in answer.text
    with db.read() as session:
        assert not session.scalars(select(ShareLink)).all()


def test_no_studio_sees_or_ends_the_links_of_another(easel: Easel, db: Database):
    make_link(easel, label="Ours")
    other = make_bench(db)
    with db.read() as session:
        uid = session.scalars(select(col(ShareLink.uid))).one()
        assert share_links.all_links(session, other.actor, NOW) == []
    for act in (share_links.revoke, share_links.restore):
        with pytest.raises(NotFound), other.unit("Took a link") as work:
            act(work.session, other.actor, uid)
    with pytest.raises(NotFound), other.unit("Took a link") as work:
        share_links.renew(work.session, other.actor, uid, NOW)
    with pytest.raises(NotFound):
        share_links.told_anew(db, other.actor, uid, NOW)


def test_only_who_runs_the_studio_makes_and_sees_links(db: Database):
    bench = make_bench(db)
    command = share_links.ShareLinkCreate(label="For the gallery")
    for role in ("painter", "assistant", "viewer"):
        actor = replace(bench.actor, role=role)
        with db.read() as session, pytest.raises(Forbidden):
            share_links.all_links(session, actor, NOW)
        with pytest.raises(Forbidden), unit(db, actor, label="Made a link", now=NOW) as work:
            share_links.create(work.session, actor, command, NOW, ZoneInfo("UTC"))


def test_unknown_expired_and_revoked_links_look_the_same(easel: Easel, app: FastAPI):
    uid = hang(easel)
    open_home, expired, revoked = (make_link(easel, label=label, lasts="week") for label in ("a", "b", "c"))
    feed = make_link(easel, kind="feed")
    client = easel.client
    listed = client.get("/share").text.partition('<h3 class="title">c</h3>')[2]
    revoke = found_in(r'action="(/share/[^"]+/revoke)"', listed)
    assert client.post(revoke, data={"command_key": "k" * 12}).status_code == 303
    app.state.clock = lambda: NOW + timedelta(days=9)
    later = make_link(easel, label="d")
    gone = [
        client.get(path, headers={"Accept": "text/html"})
        for path in (
            "/s/" + "x" * 43,
            expired,
            revoked,
            f"{later}/panels/nothing",
            "/s/%00",
            "/s/x",
            f"/s/{feed.split('/')[2]}",
            f"{expired}/calendar",
            f"{revoked}/wall",
            f"{later}/panels/{uid}",
        )
    ]
    assert open_home != expired
    first = gone[0]
    ours = {name: value for name, value in first.headers.items() if name != "x-request-id"}
    for answer in gone:
        assert answer.status_code == 404
        assert answer.content == first.content
        assert {name: value for name, value in answer.headers.items() if name != "x-request-id"} == ours


def test_a_link_ends_with_its_last_day_in_the_studios_zone(easel: Easel, app: FastAPI):
    home = make_link(easel, lasts="date", expires_on="2026-11-30")
    last = datetime(2026, 11, 30, 22, 59, 59, tzinfo=timezone.utc)  # Madrid is an hour ahead in winter
    app.state.clock = lambda: last
    assert easel.client.get(home).status_code == 200
    app.state.clock = lambda: last + timedelta(seconds=1)
    assert easel.client.get(home).status_code == 404


@pytest.mark.parametrize(
    "values",
    [
        {"lasts": "date"},
        {"lasts": "date", "expires_on": "2026-11-24"},
        {"scope": "panel"},
        {"scope": "panels"},
        {"label": ""},
        {"embed_origin": "https://example.org/page"},
        {"embed_origin": "* ; script-src *"},
        {"shows": ["everything"]},
    ],
)
def test_what_makes_no_link_comes_back_with_its_fault(easel: Easel, values: dict[str, object]):
    given = {"label": "For the gallery", "kind": "page", "scope": "studio", "lasts": "month", **values}
    answer = easel.client.post("/share", data=given)
    assert answer.status_code == 422
    assert 'class="fault"' in answer.text


def test_the_token_is_told_once_and_stored_as_its_hash_alone(
    easel: Easel, db: Database, caplog: pytest.LogCaptureFixture
):
    caplog.set_level(logging.DEBUG)
    home = make_link(easel)
    token = home.removeprefix("/s/")
    assert len(token) == 43  # 256 bits in base64url without padding, RFC 4648
    assert easel.client.get("/share").text.count(token) == 0
    easel.client.get(home + "/calendar")
    easel.client.get("/s/" + "y" * 43)
    with db.read() as session:
        assert session.scalars(select(col(ShareKey.token_hash))).one() == hashlib.sha256(token.encode()).hexdigest()
        rows = [
            (change.table_name, str(change.before), str(change.after)) for change in session.scalars(select(Change))
        ]
    assert "share_key" not in {row[0] for row in rows}
    digest = hashlib.sha256(token.encode()).hexdigest()
    assert not [row for row in rows if token in str(row) or digest in str(row)]
    logged = "\n".join(record.getMessage() for record in caplog.records if record.name == "umberday.access")
    assert "/s/\\u2026/calendar" in logged
    assert token not in logged
    assert "yyyy" not in logged
    assert token not in easel.client.get("/history").text


def test_the_same_form_sent_twice_makes_one_link_and_tells_an_address_that_opens(easel: Easel, db: Database):
    values = {"label": "Twice", "kind": "page", "scope": "studio", "lasts": "month", "command_key": "k" * 16}
    first, second = (easel.client.post("/share", data=values) for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    told = easel.client.get(second.headers["location"]).text
    path = found_in(r'value="http://127\.0\.0\.1(/s/[^"]+)"', told)
    assert easel.client.get(path).status_code == 200
    with db.read() as session:
        assert len(session.scalars(select(ShareLink)).all()) == 1


def test_another_address_ends_the_first_and_undo_brings_it_back(easel: Easel):
    home = make_link(easel)
    client = easel.client
    renew = found_in(r'action="(/share/[^"]+/renew)"', client.get("/share").text)
    answer = client.post(renew, data={"command_key": "r" * 16})
    path = found_in(r'value="http://127\.0\.0\.1(/s/[^"]+)"', client.get(answer.headers["location"]).text)
    assert path != home
    assert (client.get(home).status_code, client.get(path).status_code) == (404, 200)
    undo = found_in(r'action="(/history/[^"]+/undo)"', client.get("/history").text)
    assert client.post(undo, data={"command_key": "u" * 16}).status_code == 303
    assert (client.get(home).status_code, client.get(path).status_code) == (200, 404)


def test_reading_writes_the_day_once_and_nothing_else(easel: Easel, db: Database, app: FastAPI):
    hang(easel)
    home = make_link(easel)
    writes: list[str] = []
    from sqlalchemy import event

    def note(_c: object, _k: object, statement: str, *_: object) -> None:
        if not statement.lstrip().upper().startswith(("SELECT", "BEGIN", "PRAGMA")):
            writes.append(statement)

    event.listen(db.engine, "before_cursor_execute", note)
    for _ in range(3):
        for page in pages_of(easel.client, home).values():
            assert page.status_code == 200
    event.remove(db.engine, "before_cursor_execute", note)
    assert len(writes) == 1
    assert writes[0].startswith("UPDATE share_key SET last_used_on")
    assert "last opened today" in easel.client.get("/share").text.lower()
    app.state.clock = lambda: NOW + timedelta(days=3)
    assert "within a week" in easel.client.get("/share").text


def test_the_stamp_is_safe_when_many_read_at_once(easel: Easel, db: Database):
    make_link(easel)
    with db.read() as session:
        key = session.scalars(select(ShareKey)).one()
        link = share_access.OpenLink(
            key.id or 0, "u", 1, "", "page", "studio", frozenset(), None, "", None, 1, "", "UTC", False
        )
    today = NOW.date()
    for day in (today, today, today - timedelta(days=1)):  # one that is late must not turn it back
        share_access.note_used(db, link, day)
    with db.read() as session:
        assert session.scalars(select(col(ShareKey.last_used_on))).one() == today
    assert link.actor == Actor("share link", 1, "viewer")


def test_the_headers_of_a_shared_page(easel: Easel):
    home = make_link(easel)
    for path in (home, home + "/calendar", home + "/panels/none", "/s/nothing"):
        headers = easel.client.get(path).headers
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["x-robots-tag"].startswith("noindex")
        assert headers["cache-control"] == "private, no-store"
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "script-src" not in headers["content-security-policy"]
        assert headers["x-frame-options"] == "DENY"
    assert easel.client.get("/").headers["referrer-policy"] == "same-origin"


def test_only_the_named_site_may_frame_a_page(easel: Easel):
    home = make_link(easel, embed_origin="https://Gallery.example:8443/")
    headers = easel.client.get(home).headers
    assert "frame-ancestors https://gallery.example:8443" in headers["content-security-policy"]
    assert "x-frame-options" not in headers
    gone = easel.client.get(home + "/panels/none").headers
    assert "frame-ancestors 'none'" in gone["content-security-policy"]


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_a_link_takes_no_other_method(easel: Easel, method: str):
    home = make_link(easel)
    for path in (home, "/s/" + "x" * 43):
        answer = easel.client.request(method, path)
        assert answer.status_code == 405
        assert 'href="/' not in answer.text.replace('href="/static', "")


def test_head_answers_as_get_without_a_body(easel: Easel):
    home = make_link(easel)
    assert easel.client.head(home).status_code == 200
    assert easel.client.head(home).content == b""
    assert easel.client.head("/s/" + "x" * 43).status_code == 404


def test_an_archived_panel_is_gone_from_its_link(easel: Easel):
    uid = hang(easel)
    home = make_link(easel, scope="panel", panel_uids=[uid])
    assert easel.client.get(home).status_code == 200
    easel.client.post(f"/panels/{uid}/archive", data={"command_key": "a" * 16})
    assert easel.client.get(home).status_code == 404
