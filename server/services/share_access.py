"""Opening a link by its token.

The threat: somebody who guesses tokens, or tries whether one was ever good. A token is looked up by its hash, which a
stranger cannot steer, in one query that finds link, studio and panels alike; a token that is unknown, expired or
revoked takes the same way and comes to the same ``NotFound``.
"""

import base64
import hashlib
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import or_, select, update
from sqlmodel import Session, col

from server.services import own_feeds
from server.services.access import Actor
from server.services.errors import NotFound
from server.services.share_links import DETAILS, hash_of, state_of
from server.services.studios import AS_USUAL, Choices, choices_of
from server.store.db import Database
from server.store.tables import OwnFeed, Panel, ShareKey, ShareLink, ShareLinkPanel, Studio

LINK_READER = "share link"


@dataclass(frozen=True, slots=True)
class OpenLink:
    """A link that opens, as pages take it. ``panel_uids`` None: the whole studio. ``shows`` and ``units`` as in
    ``ShareLink``; ``choices`` are the studio's own. ``painter``: whose own calendar it is, "" for a link."""

    key_id: int
    uid: str
    version: int
    label: str
    kind: str
    scope: str
    shows: frozenset[str]
    panel_uids: frozenset[str] | None
    embed_origin: str
    last_used_on: date | None
    studio_id: int
    studio_name: str
    time_zone: str
    is_invented: bool
    units: str = "metric"
    choices: Choices = AS_USUAL
    painter: str = ""

    @property
    def actor(self) -> Actor:
        """Who reads through the link: it may read its studio, and everything else is decided by what it shows."""
        return Actor(LINK_READER, self.studio_id, "viewer")

    def ref(self, uid: str) -> str:
        """What a record is called on this link's pages: always the same there, and of no use anywhere else."""
        found = hashlib.blake2s(uid.encode(), key=self.uid.encode()[:32], digest_size=9).digest()
        return base64.urlsafe_b64encode(found).decode("ascii")

    def shows_panel(self, uid: str) -> bool:
        return self.panel_uids is None or uid in self.panel_uids


def opened(session: Session, token: str, kind: str, now: datetime) -> OpenLink:
    """The link of that kind which ``token`` opens now. Raises ``NotFound``, whatever the reason."""
    own = _own(session, token) if kind == "feed" and token.startswith(own_feeds.PREFIX) else None
    if own is not None:
        return own
    query = (
        select(ShareKey, ShareLink, Studio)
        .join(ShareLink, col(ShareLink.id) == col(ShareKey.share_link_id))
        .join(Studio, col(Studio.id) == col(ShareLink.studio_id))
        .where(col(ShareKey.token_hash) == hash_of(token))
    )
    found = session.execute(query).first()
    if found is None or found[1].kind != kind or state_of(found[1], now) != "open":
        raise NotFound
    key, link, studio = found
    return OpenLink(
        key_id=key.id,
        uid=link.uid,
        version=link.version,
        label=link.label,
        kind=link.kind,
        scope=link.scope,
        shows=frozenset(link.shows.split()),
        panel_uids=None if link.scope == "studio" else _panel_uids(session, link),
        embed_origin=link.embed_origin,
        units=link.units,
        choices=choices_of(studio),
        last_used_on=key.last_used_on,
        studio_id=studio.id,
        studio_name=studio.name,
        time_zone=studio.time_zone,
        is_invented=studio.is_invented,
    )


def _own(session: Session, token: str) -> OpenLink | None:
    """A member's own calendar: it tells them all that the studio's pages do. None for any other token."""
    found = own_feeds.find_open(session, token)
    if found is None:
        return None
    feed, painter, studio = found
    assert feed.id is not None and studio.id is not None
    return OpenLink(
        key_id=feed.id,
        uid=feed.uid,
        version=1,
        label=feed.label,
        kind="feed",
        scope="person",
        shows=frozenset(DETAILS),
        panel_uids=None,
        embed_origin="",
        last_used_on=feed.last_used_on,
        studio_id=studio.id,
        studio_name=studio.name,
        time_zone=studio.time_zone,
        is_invented=studio.is_invented,
        choices=choices_of(studio),
        painter=painter,
    )


def _panel_uids(session: Session, link: ShareLink) -> frozenset[str]:
    """The open panels of a link; a panel of another studio is never among them, whatever the rows say."""
    query = (
        select(col(Panel.uid))
        .join(ShareLinkPanel, col(ShareLinkPanel.panel_id) == col(Panel.id))
        .where(
            col(ShareLinkPanel.share_link_id) == link.id,
            col(Panel.studio_id) == link.studio_id,
            col(Panel.archived_at).is_(None),
        )
    )
    return frozenset(session.scalars(query))


def note_used(db: Database, link: OpenLink, today: date) -> None:
    """Stamp the day, once a day: whoever comes second finds it stamped and writes nothing."""
    if link.last_used_on is not None and link.last_used_on >= today:
        return
    key = OwnFeed if link.painter else ShareKey
    is_older = or_(col(key.last_used_on).is_(None), col(key.last_used_on) < today)
    with db.write() as session:
        session.execute(
            update(key).where(col(key.id) == link.key_id, is_older).values(last_used_on=today),
            execution_options={"synchronize_session": False},
        )
