"""Links that show the schedule to others, the calendars they subscribe to, and what was last published there."""

from datetime import date, datetime
from typing import Any, Literal

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import (
    KEEP_IDS,
    Named,
    Private,
    StudioRecord,
    Table,
    UtcDateTime,
    json_or_null,
    new_uid,
    one_of,
)

ShareKind = Literal["page", "feed"]
ShareScope = Literal["studio", "panels", "panel"]
ShareUnits = Literal["metric", "imperial", "studio"]


class ShareLink(StudioRecord, table=True):
    """A link to look at the schedule, or a calendar to subscribe to; archived: revoked.

    ``shows`` are the details told beyond titles and days, each a word, with spaces between. ``units``: how its pages
    tell quantities; "studio": as the studio's own pages.
    """

    __tablename__ = "share_link"
    __table_args__ = (one_of("kind", ShareKind), one_of("scope", ShareScope), one_of("units", ShareUnits), KEEP_IDS)
    label: str = Field(sa_type=Named(120))
    kind: str = Field(max_length=16)
    scope: str = Field(max_length=16)
    shows: str = Field(default="", max_length=120)
    expires_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    embed_origin: str = Field(default="", max_length=200)  # the one site that may frame its pages
    units: str = Field(default="metric", max_length=8)


class ShareLinkPanel(Table, table=True):
    """A panel that a link shows; a link to the whole studio has none."""

    __tablename__ = "share_link_panel"
    __table_args__ = (UniqueConstraint("share_link_id", "panel_id"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    share_link_id: int = Field(foreign_key="share_link.id", index=True)
    panel_id: int = Field(foreign_key="panel.id", index=True)


class ShareKey(Private, table=True):
    """What opens a link: the hash of its token alone. Apart from the link, so that no history ever holds it."""

    __tablename__ = "share_key"
    __table_args__ = KEEP_IDS
    id: int | None = Field(default=None, primary_key=True)
    share_link_id: int = Field(foreign_key="share_link.id", unique=True)
    token_hash: str = Field(max_length=64, unique=True)  # SHA-256, hexadecimal
    made_at: datetime = Field(sa_type=UtcDateTime)
    last_used_on: date | None = None  # no finer than the day, so that it is written once a day


class OwnFeed(Private, table=True):
    """A calendar of one painter's own days, subscribed to by its own token: whose it is, and the token's hash.

    ``painter`` as the working hours named them when it was made; ``work_time_id``, one of their lines, tells what they
    are called now. ``person_id`` None on a single-user install. ``made_by_key`` is the sending it came from: sent
    again, the new token replaces this one.
    """

    __tablename__ = "own_feed"
    __table_args__ = (UniqueConstraint("studio_id", "made_by_key"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    token_hash: str = Field(max_length=64, unique=True)  # SHA-256, hexadecimal
    studio_id: int = Field(foreign_key="studio.id", index=True)
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    painter: str = Field(sa_type=Named(120))
    work_time_id: int | None = Field(default=None, foreign_key="work_time.id")
    label: str = Field(sa_type=Named(60))
    made_by_key: str | None = Field(default=None, max_length=64)
    created_at: datetime = Field(sa_type=UtcDateTime)
    last_used_on: date | None = None  # no finer than the day, so that it is written once a day
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class PublishedEvent(Private, table=True):
    """An entry of the studio's calendars as subscribers saw it last: from it comes whether it moved since."""

    __tablename__ = "published_event"
    __table_args__ = (
        UniqueConstraint("studio_id", "event_uid"),
        CheckConstraint("sequence >= 0", name="sequence"),
        KEEP_IDS,
    )
    id: int | None = Field(default=None, primary_key=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    event_uid: str = Field(max_length=64)
    sequence: int
    when_hash: str = Field(max_length=64)  # of its days, hours and status: when these change, the sequence grows
    content_hash: str = Field(max_length=64)  # of everything it says
    created_at: datetime = Field(sa_type=UtcDateTime)
    changed_at: datetime = Field(sa_type=UtcDateTime)
    cancelled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    content_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())  # to cancel it by
