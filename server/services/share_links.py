"""Links that show the schedule, and calendars to subscribe to: made, listed, revoked, brought back.

The token that opens a link is told once, when it is made; what is stored is its hash, apart from the link, so that it
stands in no history. ``share_access.py`` opens links.
"""

import hashlib
import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from typing import Annotated, Literal, get_args
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, StringConstraints
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Action, Actor, allow, require
from server.services.errors import Invalid
from server.services.fields import Command, Day, Text120, Uid
from server.services.unit import moment
from server.store.db import Database
from server.store.tables import Panel, ShareKey, ShareKind, ShareLink, ShareLinkPanel, ShareScope

TOKEN_BYTES = 32
Detail = Literal["sizes", "section", "mixes", "notes", "names"]
DETAILS: tuple[Detail, ...] = get_args(Detail)
Lasts = Literal["week", "month", "date", "always"]
LASTS_D: dict[str, int] = {"week": 7, "month": 30}
MOST_PANELS = 200
SENT_TWICE = timedelta(minutes=2)
_ORIGIN = re.compile(r"https?://(?:[a-z0-9](?:[a-z0-9.-]{0,180}[a-z0-9])?|\[[0-9a-f:.]{2,60}\])(?::[0-9]{1,5})?")


def _origin(text: str) -> str:
    """``https://example.org`` as browsers write it; raises ValueError for anything with a path, or no origin at all."""
    plain = text.strip().rstrip("/").lower()
    if plain and not _ORIGIN.fullmatch(plain):
        raise ValueError("Give the site alone, such as https://example.org, without a page of it.")
    return plain


Origin = Annotated[str, StringConstraints(max_length=200), AfterValidator(_origin)]


class ShareLinkCreate(Command):
    """``lasts`` "date": up to and with ``expires_on``. ``panel_uids`` count with the scopes that name panels."""

    label: Text120
    kind: ShareKind = "page"
    scope: ShareScope = "studio"
    panel_uids: list[Uid] = []
    shows: list[Detail] = []
    lasts: Lasts = "month"
    expires_on: Day | None = None
    embed_origin: Origin = ""


@dataclass(frozen=True, slots=True)
class LinkListed:
    """A link as its list shows it. ``state``: open, expired, revoked. ``titles`` of its panels, in the alphabet's
    order, "" for none. ``last_used_on`` is no finer than the day."""

    uid: str
    label: str
    kind: str
    scope: str
    shows: tuple[str, ...]
    state: str
    titles: tuple[str, ...]
    made_at: datetime
    expires_at: datetime | None
    embed_origin: str
    last_used_on: date | None


def hash_of(token: str) -> str:
    """What is stored of a token: it is as random as a key, so one round of SHA-256 does."""
    return hashlib.sha256(token.encode("utf-8", "backslashreplace")).hexdigest()


def create(
    session: Session, actor: Actor, command: ShareLinkCreate, now: datetime, zone: ZoneInfo
) -> tuple[ShareLink, str]:
    """A link and its token, which nobody can be told again. Raises ``Invalid``."""
    allow(actor, "create", None, ShareLink)
    panels = _panels(session, actor, command)
    link = ShareLink(
        studio_id=actor.studio_id,
        label=command.label,
        kind=command.kind,
        scope=command.scope,
        shows=" ".join(detail for detail in DETAILS if detail in command.shows),
        expires_at=_expiry(command, now, zone),
        embed_origin=command.embed_origin if command.kind == "page" else "",
    )
    return link, _add(session, link, [panel.id or 0 for panel in panels], now)


def renew(session: Session, actor: Actor, uid: str, now: datetime) -> tuple[ShareLink, str]:
    """The same link at another address; the one before is revoked. Raises ``NotFound``, ``Refused``."""
    old = get(session, actor, uid, "archive")
    records.refuse_archived(old, "this link")
    old.archived_at = moment(session)
    panels = list(
        session.scalars(select(col(ShareLinkPanel.panel_id)).where(col(ShareLinkPanel.share_link_id) == old.id))
    )
    copied = ("studio_id", "label", "kind", "scope", "shows", "expires_at", "embed_origin")
    link = ShareLink(**{name: getattr(old, name) for name in copied})
    return link, _add(session, link, panels, now)


def _add(session: Session, link: ShareLink, panel_ids: Sequence[int], now: datetime) -> str:
    """Store a link with its panels and a new key; its token."""
    session.add(link)
    session.flush()
    assert link.id is not None
    session.add_all(ShareLinkPanel(share_link_id=link.id, panel_id=panel_id) for panel_id in panel_ids)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    session.add(ShareKey(share_link_id=link.id, token_hash=hash_of(token), made_at=now))
    session.flush()
    return token


def told_anew(db: Database, actor: Actor, uid: str, now: datetime) -> str | None:
    """Another token for a link whose first one was told to nobody, since its form was sent twice and the answer to the
    first sending was never shown. None where it was opened, or is older than a few minutes."""
    with db.write() as session:
        link = get(session, actor, uid, "update")
        key = session.scalars(select(ShareKey).where(col(ShareKey.share_link_id) == link.id).with_for_update()).one()
        if key.last_used_on is not None or key.made_at < now - SENT_TWICE or link.archived_at is not None:
            return None
        token = secrets.token_urlsafe(TOKEN_BYTES)
        key.token_hash = hash_of(token)
        return token


def _panels(session: Session, actor: Actor, command: ShareLinkCreate) -> list[Panel]:
    wanted = list(dict.fromkeys(command.panel_uids))
    if command.scope == "studio":
        return []
    if not wanted:
        raise Invalid.at("panel_uids", "Choose a panel." if command.scope == "panel" else "Choose at least one panel.")
    if command.scope == "panel" and len(wanted) > 1:
        raise Invalid.at("panel_uids", "The progress of one panel: choose one only.")
    if len(wanted) > MOST_PANELS:
        raise Invalid.at("panel_uids", f"Keep to {MOST_PANELS} panels, or share the whole studio.")
    found = [records.find_named(session, actor, Panel, uid, "panel_uids") for uid in wanted]
    if any(panel.archived_at is not None for panel in found):
        raise Invalid.at("panel_uids", "One of these panels is archived. Choose among those that hang.")
    return found


def _expiry(command: ShareLinkCreate, now: datetime, zone: ZoneInfo) -> datetime | None:
    """The instant from which the link opens nothing: the end of its last day in the studio's zone."""
    if command.lasts == "always":
        return None
    if command.lasts == "date" and command.expires_on is None:
        raise Invalid.at("expires_on", "Say up to which day the link opens.")
    today = now.astimezone(zone).date()
    last = command.expires_on if command.lasts == "date" else today + timedelta(days=LASTS_D[command.lasts])
    assert last is not None
    if last < today:
        raise Invalid.at("expires_on", "This day is past. Choose one to come.")
    return datetime.combine(last + timedelta(days=1), time(), zone).astimezone(timezone.utc)


def get(session: Session, actor: Actor, uid: str, action: Action = "read") -> ShareLink:
    return records.find(session, actor, ShareLink, uid, action)


def revoke(session: Session, actor: Actor, uid: str) -> ShareLink:
    return records.archive(session, actor, ShareLink, uid)


def restore(session: Session, actor: Actor, uid: str) -> ShareLink:
    return records.restore(session, actor, ShareLink, uid)


def all_links(session: Session, actor: Actor, now: datetime) -> list[LinkListed]:
    """Every link of the studio, the newest first: those that open before those that do not. Who may not make one does
    not see them. Raises ``Forbidden``."""
    require(actor, "studio")
    links = select(ShareLink).where(col(ShareLink.studio_id) == actor.studio_id).order_by(col(ShareLink.id).desc())
    found = list(session.scalars(links))
    keys = select(ShareKey).join(ShareLink, col(ShareLink.id) == col(ShareKey.share_link_id))
    used = {key.share_link_id: key for key in session.scalars(keys.where(col(ShareLink.studio_id) == actor.studio_id))}
    titles = _titles(session, actor)
    listed = [_listed(link, used[link.id or 0], titles.get(link.id or 0, ()), now) for link in found]
    return sorted(listed, key=lambda link: link.state != "open")


def _titles(session: Session, actor: Actor) -> dict[int, tuple[str, ...]]:
    query = (
        select(col(ShareLinkPanel.share_link_id), col(Panel.title))
        .join(Panel, col(Panel.id) == col(ShareLinkPanel.panel_id))
        .where(col(Panel.studio_id) == actor.studio_id)
        .order_by(col(Panel.title))
    )
    titles: dict[int, tuple[str, ...]] = {}
    for link_id, title in session.execute(query):
        titles[link_id] = (*titles.get(link_id, ()), title)
    return titles


def _listed(link: ShareLink, key: ShareKey, titles: Sequence[str], now: datetime) -> LinkListed:
    return LinkListed(
        uid=link.uid,
        label=link.label,
        kind=link.kind,
        scope=link.scope,
        shows=tuple(link.shows.split()),
        state=state_of(link, now),
        titles=tuple(titles),
        made_at=key.made_at,
        expires_at=link.expires_at,
        embed_origin=link.embed_origin,
        last_used_on=key.last_used_on,
    )


def state_of(link: ShareLink, now: datetime) -> str:
    """open, expired or revoked."""
    if link.archived_at is not None:
        return "revoked"
    return "expired" if link.expires_at is not None and link.expires_at <= now else "open"
