"""What lies in an archive for people, beside the tables: lists, and of each panel its record and its cross-section."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.formats import csv_text
from server.formats import record as formats
from server.formats.ical import CalendarFile, to_ical
from server.formats.record import PanelRecord
from server.services import board, feed_publishing, panel_record, panels, studios
from server.services.access import Actor
from server.services.hazards import hazard
from server.services.lists.write import lists
from server.services.panel_record import RecordFacts
from server.web import record_sheet
from server.web.feed_entries import entries_of, uid_of
from server.web.render import Templates

Files = Iterator[tuple[str, bytes]]


@dataclass(frozen=True, slots=True)
class Telling:
    """When and where the sheets are told, and the templates that draw."""

    now: datetime
    zone: ZoneInfo
    templates: Templates


def files_of_install(session: Session, now: datetime, templates: Templates) -> Files:
    """Of every studio, each in a folder of its own."""
    for studio_id, zone in studios.all_with_zones(session):
        telling = Telling(now, zone, templates)
        for name, content in files_of_studio(session, Actor("archive", studio_id), telling):
            yield f"studio-{studio_id}/{name}", content


def files_of_studio(session: Session, actor: Actor, telling: Telling) -> Files:
    """The lists, then panel by panel; each is made when it is asked for."""
    for each in lists(session, actor, telling.zone):
        yield f"lists/{each.name}.csv", b"".join(csv_text.written(each.header, each.rows()))
    yield "calendar.ics", _calendar(session, actor, telling)
    found = [*panels.all_open(session, actor), *panels.all_archived(session, actor)]
    for number, panel in enumerate(sorted(found, key=lambda panel: panel.id or 0), 1):
        folder = f"panels/{number:04d}-{file_name(panel.title)}"
        record = worded(panel_record.read(session, actor, panel.uid, telling.now, telling.zone), telling.templates)
        section = record_sheet.drawing(record, is_log=False)
        drawn = telling.templates.get_template("record/section.svg").render(section=section)
        yield f"{folder}/record.txt", formats.to_text(record).encode()
        yield f"{folder}/record.json", formats.to_json(record).encode()
        yield f"{folder}/section.svg", drawn.encode()


def _calendar(session: Session, actor: Actor, telling: Telling) -> bytes:
    """What subscribers of the studio's whole calendar are told at this moment (RFC 5545)."""
    found = board.calendar(session, actor, telling.now, telling.zone)
    published = feed_publishing.as_told(session, actor, entries_of(found.rows, found.moment), found.moment)
    name = studios.get(session, actor).name
    uid = uid_of(f"calendar:{actor.studio_id}")
    return to_ical(CalendarFile(uid, name, telling.zone, published.changed_at, published.entries))


def worded(facts: RecordFacts, templates: Templates) -> PanelRecord:
    """The record of a panel in words, with the cautions that its paint calls for."""
    texts = templates.get_template("parts/caution.html").module.TEXTS  # type: ignore[attr-defined]
    return record_sheet.sheet(facts, tuple((hazard(kind).word, texts[kind]) for kind in facts.hazards))


def file_name(title: str) -> str:
    """The title as a plain name: letters and digits, joined by hyphens."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-").lower()[:60] or "panel"
