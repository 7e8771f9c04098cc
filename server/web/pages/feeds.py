"""Calendars for other programs: events and tasks by a link's address, and the whole calendar as a file."""

from dataclasses import dataclass, replace
from datetime import datetime, timezone
from email.utils import format_datetime, parsedate_to_datetime
from functools import partial

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.formats.ical import CalendarFile, Entry, Stamp, etag_of, to_ical
from server.services import board, feed_publishing, shared_view
from server.services.board.calendar_facts import CalendarBoard
from server.services.feed_publishing import Published
from server.services.give_way import give_way
from server.services.kept import Kept
from server.web.ahead import keep_ready
from server.web.deps import Page, PageRequest
from server.web.feed_entries import View, concerns, entries_of, uid_of, work_of_others
from server.web.shared_link import LinkRequest, SharedFeed

router = APIRouter()

TYPE = "text/calendar; charset=utf-8"
PUBLISHED: Kept[Published] = Kept(128)
FILES: Kept[tuple[bytes, datetime]] = Kept(256)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a calendar is asked for: ``kind`` of entries, "" for all; ``name`` and ``uid`` are its own."""

    kind: str
    name: str
    uid: str
    source: str


@router.get("/calendar.ics")
def download(page: Page) -> Response:
    """Everything as it stands now, to be taken along."""
    return calendar_file(page)


def calendar_file(page: PageRequest) -> Response:
    """The whole calendar as a file."""
    _, published = _published(page)
    file = CalendarFile(
        uid=uid_of(f"calendar:{page.studio.id}"),
        name=page.studio_name,
        zone=page.zone,
        changed_at=published.changed_at,
        entries=published.entries,
    )
    headers = {"Content-Disposition": 'attachment; filename="calendar.ics"', "Cache-Control": "private, no-cache"}
    return Response(to_ical(file), media_type=TYPE, headers=headers)


@router.get("/f/{token}/calendar.ics")
def calendar(page: SharedFeed) -> Response:
    """The events of a link's panels."""
    return _feed(page, "event")


@router.get("/f/{token}/tasks.ics")
def tasks(page: SharedFeed) -> Response:
    """Touch tests to make and layers to paint, for programs that keep lists."""
    return _feed(page, "task")


def _published(page: PageRequest | LinkRequest) -> tuple[CalendarBoard, Published]:
    """The studio's calendar, and all its entries with their stamps: worked out once for the same board."""
    with page.db.read() as session:
        found = board.calendar(session, page.actor, page.now, page.zone)
    published = PUBLISHED.get(found.number)
    if published is None:
        entries = entries_of(found.rows, found.moment)
        published = feed_publishing.publish(page.db, page.actor, entries, found.moment)
        PUBLISHED.keep({found.number: published})
    return found, published


def _feed(page: LinkRequest, kind: str) -> Response:
    answer = _answer(page.request, *_file(kind, page))
    # What is told is noted: of the next ten minutes nothing is told before they have come.
    keep_ready(("feed", kind, page.link.uid), page, partial(_file, kind), _board)
    return answer


def _board(page: LinkRequest) -> CalendarBoard:
    with page.db.read() as session:
        return board.calendar(session, page.actor, page.now, page.zone)


def _file(kind: str, page: LinkRequest) -> tuple[bytes, datetime]:
    """The calendar as text, and when it was changed last: what it tells, or what the link lets it tell."""
    link, source = page.link, str(page.request.url.replace(query=""))
    found, published = _published(page)
    key = (found.number, link.uid, link.version, kind, source)
    kept = FILES.get(key)
    if kept is None:
        entries = [(entry, stamp) for entry, stamp in _seen(page, found, published) if entry.kind == kind]
        changed_at = max((stamp.changed_at for _, stamp in entries), default=published.changed_at)
        whose = f"{link.studio_name}: {link.painter}" if link.painter else link.studio_name
        name = f"{whose}: tasks" if kind == "task" else whose
        file = CalendarFile(uid_of(f"{kind}s:{link.uid}"), name, page.zone, changed_at, entries, source)
        kept = (to_ical(file, give_way), max(changed_at, published.revised_at))
        FILES.keep({key: kept})
    return kept


def _seen(page: LinkRequest, found: CalendarBoard, published: Published) -> list[tuple[Entry, Stamp]]:
    """What a link may see of what was published, in the words it may see."""
    link = page.link
    rows = [row for row in found.rows if link.shows_panel(row.panel.uid)]
    hidden: frozenset[str] = frozenset()
    if link.painter:
        hidden = work_of_others(rows, link.painter)
        rows = [row for row in rows if concerns(row, link.painter)]
    panel_uids = {row.panel.uid for row in rows} if link.painter else None
    view = View((link.uid, link.version), lambda row: shared_view.row_of(row, link))
    worded = {entry.uid: entry for entry in entries_of(rows, found.moment, view)}
    shown = []
    for entry, stamp in published.entries:
        is_here = entry.panel_uid in panel_uids if panel_uids is not None else link.shows_panel(entry.panel_uid)
        if is_here and entry.uid not in hidden:
            told = worded.get(entry.uid)
            words = entry.plain if told is None else told.summary
            shown.append((replace(entry, summary=words, description=told.description if told else ""), stamp))
    return shown


def _answer(request: Request, content: bytes, changed_at: datetime) -> Response:
    """The calendar, or 304 where the client has it already (RFC 9110, 13.2.2: its ETag is asked before its date)."""
    etag = etag_of(content)
    headers = {
        "ETag": etag,
        "Last-Modified": format_datetime(changed_at.astimezone(timezone.utc).replace(microsecond=0), usegmt=True),
        "Cache-Control": "private, no-cache",
    }
    matches = request.headers.get("if-none-match")
    if matches is not None:
        known = {tag.strip().removeprefix("W/") for tag in matches.split(",")}
        is_known = bool(known & {"*", etag.removeprefix("W/")})
    else:
        is_known = _is_as_new(request.headers.get("if-modified-since"), changed_at)
    if is_known:
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=TYPE, headers=headers)


def _is_as_new(since: str | None, changed_at: datetime) -> bool:
    if not since:
        return False
    try:
        given = parsedate_to_datetime(since)
    except (ValueError, TypeError):
        return False
    return given.tzinfo is not None and changed_at.replace(microsecond=0) <= given
