"""Links and own calendars as services, on both engines: made, opened, changed, ended, and never mixed up.

The rules are our own. A token is looked up by its SHA-256 (FIPS 180-4, by Python's hashlib).
"""

import hashlib
import threading
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.services import own_feeds, share_access, share_links
from server.services.errors import Conflict, Forbidden, Invalid, NotFound, Refused
from server.services.own_feeds import OwnFeedCreate, Whose
from server.services.share_access import OpenLink
from server.services.share_links import ShareLinkCreate, ShareLinkUpdate
from server.store.tables import Change, OwnFeed, ShareKey, ShareLinkPanel
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("Europe/Prague")


def make(bench: Bench, **values: object) -> tuple[str, str]:
    """(uid, token) of a new link."""
    command = ShareLinkCreate.model_validate({"label": "For the gallery", "lasts": "month", **values})
    with bench.unit("Made a link") as work:
        link, token = share_links.create(work.session, bench.actor, command, NOW, ZONE)
        return link.uid, token


def opened(bench: Bench, token: str, kind: str = "page", at: datetime = NOW) -> OpenLink:
    with bench.db.read() as session:
        return share_access.opened(session, token, kind, at)


def change(bench: Bench, uid: str, **values: object) -> None:
    with bench.unit("Changed a link") as work:
        link = share_links.get(work.session, bench.actor, uid)
        stored = share_links.public(link, ZONE).model_dump()
        share_links.update(work.session, bench.actor, uid, ShareLinkUpdate.model_validate(stored | values), ZONE)


def test_a_link_is_found_by_the_hash_of_its_token_alone(bench: Bench) -> None:
    uid, token = make(bench, shows=["notes", "sizes"])
    link = opened(bench, token)
    assert (link.uid, link.scope, link.shows, link.panel_uids) == (uid, "studio", frozenset({"sizes", "notes"}), None)
    with bench.db.read() as session:
        assert session.scalars(select(col(ShareKey.token_hash))).all() == [hashlib.sha256(token.encode()).hexdigest()]
    for wrong, kind in ((token[:-1], "page"), (token.swapcase(), "page"), ("", "page"), (token, "feed")):
        with pytest.raises(NotFound):
            opened(bench, wrong, kind)


def test_expired_and_revoked_links_open_nothing_and_come_back(bench: Bench) -> None:
    uid, token = make(bench, lasts="week")
    assert share_links.last_day(_expiry(bench, uid), ZONE) == NOW.astimezone(ZONE).date() + timedelta(days=7)
    with pytest.raises(NotFound):
        opened(bench, token, at=NOW + timedelta(days=9))
    with bench.unit("Revoked") as work:
        share_links.revoke(work.session, bench.actor, uid)
    with pytest.raises(NotFound):
        opened(bench, token)
    with bench.unit("Brought back") as work:
        share_links.restore(work.session, bench.actor, uid)
    assert opened(bench, token).uid == uid


def _expiry(bench: Bench, uid: str) -> datetime | None:
    with bench.db.read() as session:
        return share_links.get(session, bench.actor, uid).expires_at


def test_a_change_keeps_the_address_and_grows_the_version(bench: Bench) -> None:
    uid, token = make(bench, embed_origin="https://example.org")
    before = opened(bench, token)
    change(bench, uid, shows=["mixes"], units="imperial", expires_on=None, label="Other", embed_origin="")
    after = opened(bench, token, at=NOW + timedelta(days=3650))
    assert after.version > before.version
    assert (after.shows, after.units, after.embed_origin, after.label) == (
        frozenset({"mixes"}),
        "imperial",
        "",
        "Other",
    )
    with pytest.raises(Conflict):
        change(bench, uid, label="Late", version=before.version)
    with pytest.raises(Invalid) as fault:
        change(bench, uid, expires_on=date(2020, 1, 1))
    assert [each.field for each in fault.value.errors] == ["expires_on"]
    with bench.unit("Revoked") as work:
        share_links.revoke(work.session, bench.actor, uid)
    with pytest.raises(Refused):
        change(bench, uid, label="Never")


def test_a_calendar_takes_neither_frame_nor_units(bench: Bench) -> None:
    uid, token = make(bench, kind="feed", embed_origin="https://example.org", units="imperial")
    change(bench, uid, embed_origin="https://example.org", units="imperial")
    link = opened(bench, token, "feed")
    assert (link.embed_origin, link.units) == ("", "metric")


def test_chosen_panels_are_those_of_the_link_while_they_hang(bench: Bench) -> None:
    first, second = bench.panel(title="First"), bench.panel(title="Second")
    _, token = make(bench, scope="panels", panel_uids=[first.uid, second.uid])
    assert opened(bench, token).panel_uids == frozenset({first.uid, second.uid})
    with bench.unit("Archived") as work:
        work.session.merge(first).archived_at = NOW
    assert opened(bench, token).panel_uids == frozenset({second.uid})
    with bench.db.read() as session:
        assert len(session.scalars(select(ShareLinkPanel)).all()) == 2


def test_another_studios_links_are_not_there(bench: Bench, stranger: Bench) -> None:
    uid, _ = make(bench)
    for act in (share_links.revoke, share_links.restore):
        with pytest.raises(NotFound), stranger.unit("Took") as work:
            act(work.session, stranger.actor, uid)
    with pytest.raises(NotFound):
        change(stranger, uid, label="Mine")
    with bench.db.read() as session:
        assert share_links.all_links(session, stranger.actor, NOW) == []
        with pytest.raises(Forbidden):
            share_links.all_links(session, replace(bench.actor, role="painter"), NOW)


def test_the_day_of_use_is_written_once_by_many_readers(bench: Bench) -> None:
    _, token = make(bench)
    link = opened(bench, token)
    today = NOW.date()
    readers = [threading.Thread(target=share_access.note_used, args=(bench.db, link, today)) for _ in range(8)]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    assert opened(bench, token).last_used_on == today
    share_access.note_used(bench.db, replace(link, last_used_on=None), today - timedelta(days=3))
    assert opened(bench, token).last_used_on == today


def test_an_own_calendar_opens_by_its_token_until_it_is_revoked(bench: Bench, stranger: Bench) -> None:
    who, command = Whose(bench.actor, None), OwnFeedCreate(label="Telephone", painter="First painter")
    with bench.db.write() as session:
        made = own_feeds.make(session, who, command, "key", NOW)
        again = own_feeds.make(session, who, command, "key", NOW)
    assert made.uid == again.uid
    with pytest.raises(NotFound):
        opened(bench, made.token, "feed")
    link = opened(bench, again.token, "feed")
    assert (link.painter, link.scope, link.studio_id) == ("First painter", "person", bench.actor.studio_id)
    share_access.note_used(bench.db, link, NOW.date())
    with bench.db.read() as session:
        [listed] = own_feeds.all_open(session, who)
        assert listed.last_used_on == NOW.date()
        assert own_feeds.all_open(session, Whose(stranger.actor, None)) == []
        assert not [c for c in session.scalars(select(Change)) if c.table_name == "own_feed"]
    with pytest.raises(NotFound), bench.db.write() as session:
        own_feeds.revoke(session, Whose(stranger.actor, None), made.uid, NOW)
    for _ in range(2):
        with bench.db.write() as session:
            own_feeds.revoke(session, who, made.uid, NOW)
    with pytest.raises(NotFound):
        opened(bench, again.token, "feed")
    with bench.db.read() as session:
        assert session.scalars(select(OwnFeed)).one().revoked_at == NOW
