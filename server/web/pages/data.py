"""Your data: everything in one archive, lists for spreadsheets."""

import tempfile
import threading
from collections.abc import Iterator
from typing import IO

from fastapi import APIRouter
from starlette.responses import Response, StreamingResponse

from server.formats import csv_text
from server.services import holdings
from server.services.access import require
from server.services.archive.pack import pack
from server.services.errors import NotFound
from server.services.lists.write import lists
from server.web.archive_files import Telling, file_name, files_of_studio
from server.web.deps import Page, PageRequest

router = APIRouter(prefix="/data")
BLOCK = 1 << 16
MAKING = threading.BoundedSemaphore(2)  # archives made at a time: each is a minute's work in a large studio


@router.get("")
def data(page: Page) -> Response:
    """What there is, and the ways to take it along."""
    with page.db.read() as session:
        held = holdings.count(session, page.actor)
        names = [each.name for each in lists(session, page.actor, page.zone)]
    return page.render("data/page.html", {"held": held, "lists": names, "may_archive": page.actor.may("studio")})


@router.get("/archive")
def archive(page: Page) -> Response:
    """The studio in one file, or why not now."""
    if not MAKING.acquire(blocking=False):
        busy = {"message": "Other archives are being made at this moment. Try again in a minute.", "back": "/data"}
        return page.render("history/refused.html", busy, 503)
    try:
        return archived(page)
    finally:
        MAKING.release()


def archived(page: PageRequest) -> Response:
    """The studio in one file. It is made on the disk first, so that a slow line holds no database up."""
    made = tempfile.TemporaryFile()  # noqa: SIM115 - closed by the answer
    try:
        with page.db.read() as session:
            require(page.actor, "studio")
            telling = Telling(page.now, page.zone, page.request.app.state.templates)
            files = files_of_studio(session, page.actor, telling)
            pack(session, made, page.now, page.actor.studio_id, files)
    except BaseException:
        made.close()
        raise
    length = made.tell()
    name = f"{file_name(page.studio_name)}-{page.today.isoformat()}.zip"
    headers = {**_download(name), "Content-Length": str(length)}
    return StreamingResponse(_blocks(made), media_type="application/zip", headers=headers)


@router.get("/lists/{name}.csv")
def as_list(page: Page, name: str) -> Response:
    """One list for a spreadsheet. Raises ``NotFound`` for another name."""
    with page.db.read() as session:
        found = next((each for each in lists(session, page.actor, page.zone) if each.name == name), None)
        if found is None:
            raise NotFound
        content = b"".join(csv_text.written(found.header, found.rows()))
    return Response(content, media_type="text/csv; charset=utf-8", headers=_download(_list_name(page, name)))


def _list_name(page: PageRequest, name: str) -> str:
    return f"{file_name(page.studio_name)}-{name}-{page.today.isoformat()}.csv"


def _download(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-store"}


def _blocks(made: IO[bytes]) -> Iterator[bytes]:
    with made:
        made.seek(0)
        while block := made.read(BLOCK):
            yield block
