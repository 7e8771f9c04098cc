"""Links, calendars to subscribe to, and the studio's people, as JSON for programs."""

from datetime import date, datetime
from typing import Literal

from server.formats.board_json import Told

RoleName = Literal["owner", "painter", "assistant", "viewer"]
DetailName = Literal["sizes", "section", "mixes", "notes", "names"]


class ShareLinkOut(Told):
    """A link: ``kind`` "page" is looked at, "feed" is subscribed to. ``expires_on`` is the last day it opens;
    ``last_used_on`` is no finer than the day. Its address is told when it is made, and never again."""

    uid: str
    version: int
    label: str
    kind: Literal["page", "feed"]
    scope: Literal["studio", "panels", "panel"]
    panel_uids: tuple[str, ...]
    shows: tuple[DetailName, ...]
    state: Literal["open", "expired", "revoked"]
    made_at: datetime
    expires_on: date | None
    embed_origin: str
    units: Literal["metric", "imperial", "studio"]
    last_used_on: date | None


class ShareLinksOut(Told):
    items: tuple[ShareLinkOut, ...]
    next_after: str | None


class ShareLinkMade(Told):
    """A link just made. ``address`` and, of a calendar, ``tasks_address`` open it: they are told this once; null where
    the same sending was answered before and the link is in use already."""

    link: ShareLinkOut
    address: str | None
    tasks_address: str | None


class OwnFeedOut(Told):
    """A calendar of one's own: the sittings of ``painter``, and the days of the panels that concern them."""

    uid: str
    label: str
    painter: str
    created_at: datetime
    last_used_on: date | None


class OwnFeedsOut(Told):
    items: tuple[OwnFeedOut, ...]
    next_after: str | None


class OwnFeedMade(Told):
    """The addresses are told this once. Sent again with the same key they are others, and the first open no more."""

    uid: str
    label: str
    painter: str
    address: str
    tasks_address: str


class MemberOut(Told):
    """Somebody of the studio; ``uid`` is of the membership."""

    uid: str
    name: str
    email: str
    role: RoleName
    since: datetime
    is_me: bool
    is_only_owner: bool


class MembersOut(Told):
    items: tuple[MemberOut, ...]
    next_after: str | None


class LeftOut(Told):
    """Somebody who left the studio; ``uid`` is of the membership that ended."""

    uid: str
    name: str
    ended_at: datetime


class PeopleLeftOut(Told):
    items: tuple[LeftOut, ...]
    next_after: str | None


class PurgeablePersonOut(Told):
    """What purging somebody changes: their name in so many ``entries`` of the history. ``hangs`` says in sentences
    what stands against it: then they stay."""

    uid: str
    name: str
    entries: int
    hangs: tuple[str, ...]


class PeopleEventOut(Told):
    """``uid`` is empty for one from before it could be taken back."""

    at: datetime
    actor: str
    label: str
    uid: str
    can_undo: bool


class PeopleEventsOut(Told):
    items: tuple[PeopleEventOut, ...]


class InvitationOut(Told):
    uid: str
    role: RoleName
    meant_for: str
    made_by: str
    created_at: datetime
    expires_at: datetime


class InvitationsOut(Told):
    items: tuple[InvitationOut, ...]
    next_after: str | None


class InvitationMade(Told):
    """``address`` lets one person in; it is told this once. Sent again with the same key it is another one, and the
    first opens no more."""

    address: str
    role: RoleName
    meant_for: str
    expires_at: datetime


class Done(Told):
    done: bool
