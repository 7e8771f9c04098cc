"""Links that show the schedule, and calendars to subscribe to: made, listed, changed, revoked, brought back.

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
from server.services.fields import Command, Day, Text120, Uid, Version
from server.services.unit import moment
from server.store.db import Database
from server.store.tables import Panel, ShareKey, ShareKind, ShareLink, ShareLinkPanel, ShareScope, ShareUnits

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
    units: ShareUnits = "metric"


class ShareLinkUpdate(Command):
    """What may change of a link whose address stays. ``expires_on``: its last day; None: until it is revoked."""

    label: Text120
    shows: list[Detail] = []
    expires_on: Day | None = None
    embed_origin: Origin = ""
    units: ShareUnits = "metric"
    version: Version


@dataclass(frozen=True, slots=True)
class LinkListed:
    """A link as its list shows it. ``state``: open, expired, revoked. ``titles`` of its panels, in the alphabet's
    order, as are ``panel_uids``. ``last_used_on`` is no finer than the day."""

    uid: str
    version: int
    label: str
    kind: str
    scope: str
    shows: tuple[str, ...]
    state: str
    titles: tuple[str, ...]
    panel_uids: tuple[str, ...]
    made_at: datetime
    expires_at: datetime | None
    embed_origin: str
    units: str
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
        shows=_stored(command.shows),
        expires_at=_expiry(command, now, zone),
        embed_origin=command.embed_origin if command.kind == "page" else "",
        units=command.units if command.kind == "page" else "metric",
    )
    return link, _add(session, link, [panel.id or 0 for panel in panels], now)


def update(session: Session, actor: Actor, uid: str, command: ShareLinkUpdate, zone: ZoneInfo) -> ShareLink:
    """Change a link; its address stays. One that has run out opens again with a later day.

    Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused`` for a revoked one.
    """
    link = get(session, actor, uid, "update")
    records.refuse_archived(link, "this link")
    stored = public(link, zone)
    records.check_version(link, command, stored, "this link")
    is_page = link.kind == "page"
    values: dict[str, object] = {
        "label": command.label,
        "shows": _stored(command.shows),
        "embed_origin": command.embed_origin if is_page else "",
        "units": command.units if is_page else "metric",
    }
    if command.expires_on != stored.expires_on:
        values["expires_at"] = (
            None if command.expires_on is None else _end_of(command.expires_on, moment(session), zone)
        )
    records.change(link, values)
    session.flush()
    return link


def public(link: ShareLink, zone: ZoneInfo) -> ShareLinkUpdate:
    """The link as the command that would leave it as it is."""
    return ShareLinkUpdate.model_construct(
        label=link.label,
        shows=[detail for detail in DETAILS if detail in link.shows.split()],
        expires_on=last_day(link.expires_at, zone),
        embed_origin=link.embed_origin,
        units=link.units,  # type: ignore[arg-type]
        version=link.version,
    )


def last_day(expires_at: datetime | None, zone: ZoneInfo) -> date | None:
    """The last day a link opens. It ends with a day: the next instant belongs to the day after."""
    return None if expires_at is None else expires_at.astimezone(zone).date() - timedelta(days=1)


def _stored(shows: Sequence[Detail]) -> str:
    return " ".join(detail for detail in DETAILS if detail in shows)


def renew(session: Session, actor: Actor, uid: str, now: datetime) -> tuple[ShareLink, str]:
    """The same link at another address; the one before is revoked. Raises ``NotFound``, ``Refused``."""
    old = get(session, actor, uid, "archive")
    records.refuse_archived(old, "this link")
    old.archived_at = moment(session)
    panels = list(
        session.scalars(select(col(ShareLinkPanel.panel_id)).where(col(ShareLinkPanel.share_link_id) == old.id))
    )
    copied = ("studio_id", "label", "kind", "scope", "shows", "expires_at", "embed_origin", "units")
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
    return _end_of(last, now, zone)


def _end_of(last: date, now: datetime, zone: ZoneInfo) -> datetime:
    """The instant after a last day. Raises ``Invalid`` for a day that is past."""
    if last < now.astimezone(zone).date():
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
    shown = _panels_of(session, actor)
    listed = [_listed(link, used[link.id or 0], shown.get(link.id or 0, ()), now) for link in found]
    return sorted(listed, key=lambda link: link.state != "open")


Named = tuple[str, str]  # uid and title of a panel


def _panels_of(session: Session, actor: Actor) -> dict[int, tuple[Named, ...]]:
    query = (
        select(col(ShareLinkPanel.share_link_id), col(Panel.uid), col(Panel.title))
        .join(Panel, col(Panel.id) == col(ShareLinkPanel.panel_id))
        .where(col(Panel.studio_id) == actor.studio_id)
        .order_by(col(Panel.title), col(Panel.id))
    )
    found: dict[int, tuple[Named, ...]] = {}
    for link_id, uid, title in session.execute(query):
        found[link_id] = (*found.get(link_id, ()), (uid, title))
    return found


def _listed(link: ShareLink, key: ShareKey, panels: Sequence[Named], now: datetime) -> LinkListed:
    return LinkListed(
        uid=link.uid,
        version=link.version,
        label=link.label,
        kind=link.kind,
        scope=link.scope,
        shows=tuple(link.shows.split()),
        state=state_of(link, now),
        titles=tuple(title for _, title in panels),
        panel_uids=tuple(uid for uid, _ in panels),
        made_at=key.made_at,
        expires_at=link.expires_at,
        embed_origin=link.embed_origin,
        units=link.units,
        last_used_on=key.last_used_on,
    )


def state_of(link: ShareLink, now: datetime) -> str:
    """open, expired or revoked."""
    if link.archived_at is not None:
        return "revoked"
    return "expired" if link.expires_at is not None and link.expires_at <= now else "open"
