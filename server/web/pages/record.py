"""The record of a panel: a sheet to print, and the same as a file."""

from fastapi import APIRouter
from starlette.responses import Response

from server.formats import record as formats
from server.formats.record import PanelRecord
from server.services import panel_record
from server.services.errors import NotFound
from server.web import record_sheet
from server.web.archive_files import file_name, worded
from server.web.deps import Page, PageRequest

router = APIRouter()

TYPES: dict[str, str] = {"txt": "text/plain; charset=utf-8", "json": "application/json"}


@router.get("/panels/{uid}/record")
def sheet(page: Page, uid: str, scale: str = "") -> Response:
    """The sheet; ``scale`` "log" draws thin layers larger."""
    record = _record(page, uid)
    is_log = scale == "log"
    here = f"/panels/{uid}/record"
    context = {
        "record": record,
        "section": record_sheet.drawing(record, is_log),
        "other_scale": here if is_log else f"{here}?scale=log",
        "pigment_words": formats.pigment_words,
        "paint_words": formats.paint_words,
        "uid": uid,
    }
    return page.render("record/page.html", context)


@router.get("/panels/{uid}/record/{kind}")
def file(page: Page, uid: str, kind: str) -> Response:
    """The same as a file: plain text, or JSON for other programs. Raises ``NotFound`` for another kind."""
    if kind not in TYPES:
        raise NotFound
    record = _record(page, uid)
    text = formats.to_text(record) if kind == "txt" else formats.to_json(record)
    headers = {
        "Content-Disposition": f'attachment; filename="{file_name(record.title)}.{kind}"',
        "Cache-Control": "private, no-cache",
    }
    return Response(text, media_type=TYPES[kind], headers=headers)


def _record(page: PageRequest, uid: str) -> PanelRecord:
    with page.db.read() as session:
        facts = panel_record.read(session, page.actor, uid, page.now, page.zone)
    return worded(facts, page.request.app.state.templates)
