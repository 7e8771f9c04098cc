"""What was changed, newest first, and how to take it back."""

from collections.abc import Callable

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services import history
from server.services.access import Actor
from server.store.tables import ChangeSet
from server.web.deps import Page, PageRequest, Posted
from server.web.pages.changes import Done, change_by_button, local_path

router = APIRouter()

PAGE_LENGTH = 50


@router.get("/history")
def recent(page: Page, before: str | None = None) -> Response:
    """The newest entries, or those before the entry of uid ``before``."""
    with page.db.read() as session:
        entries = history.recent(session, page.actor, PAGE_LENGTH + 1, before)
    shown = entries[:PAGE_LENGTH]
    context = {
        "changes": shown,
        "older": f"/history?before={shown[-1].uid}" if len(entries) > PAGE_LENGTH else "",
        "is_first": before is None,
    }
    return page.render("history/page.html", context)


@router.post("/history/{uid}/undo")
def undo(page: Page, posted: Posted, uid: str) -> Response:
    """Take a change back, or do it again when it was an undo. ``next`` is where to go on, else where it had led."""
    return _turn(page, posted, uid, history.undo)


@router.post("/history/{uid}/redo")
def redo(page: Page, posted: Posted, uid: str) -> Response:
    """Do again what was undone."""
    return _turn(page, posted, uid, history.redo)


def _turn(
    page: PageRequest, posted: FormData, uid: str, turned: Callable[[Session, Actor, str], ChangeSet]
) -> Response:
    leads_to = local_path(posted.get("next"), "")

    def act(session: Session) -> Done:
        root = turned(session, page.actor, uid)
        did = "Redid" if root.undone_at is None else "Undid"
        return Done(f"{did}: {root.label}"[:300], leads_to or local_path(root.location, "/history"))

    return change_by_button(page, posted, act, leads_to or "/history")
