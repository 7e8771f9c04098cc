"""GET /api/v1/history, and the way back: POST /api/v1/history/{uid}/undo and /redo."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.services import history
from server.services.access import Actor
from server.services.errors import NotFound
from server.services.history import HistoryEntry
from server.store.tables import ChangeSet
from server.web.api.record_schemas import KEY, problems
from server.web.api.records import Limit, Nothing, Uid
from server.web.api.sent import Sending, Sent
from server.web.deps import Page, PageRequest

router = APIRouter(tags=["history"])
Before = Annotated[str | None, Query(description="The uid of an entry: those before it")]


class EntryOut(BaseModel):
    """One thing that somebody did. ``action``: what a POST beside it would do, "" where there is nothing to do."""

    uid: str
    at: datetime
    actor: str
    label: str
    action: str
    is_undone: bool


class HistoryOut(BaseModel):
    items: list[EntryOut]
    next_before: str | None


def _told(entry: HistoryEntry) -> EntryOut:
    return EntryOut(
        uid=entry.uid,
        at=entry.at,
        actor=entry.actor,
        label=entry.label,
        action=entry.action,
        is_undone=entry.is_undone,
    )


@router.get("/history", summary="What was changed, newest first", responses=problems(422))
def listing(page: Page, limit: Limit = 50, before: Before = None) -> HistoryOut:
    """A slice of the studio's history."""
    with page.db.read() as session:
        found = history.recent(session, page.actor, limit + 1, before)
    shown = found[:limit]
    return HistoryOut(
        items=[_told(entry) for entry in shown], next_before=shown[-1].uid if len(found) > limit else None
    )


@router.post(
    "/history/{uid}/undo",
    summary="Take a change back as a whole",
    response_model=EntryOut,
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra={"parameters": [KEY]},
)
def undo(page: Page, uid: Uid, given: Sending) -> Response:
    """Refused with the reason where somebody changed one of its rows since."""
    return _turn(page, uid, given, history.undo)


@router.post(
    "/history/{uid}/redo",
    summary="Do again what was undone",
    response_model=EntryOut,
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra={"parameters": [KEY]},
)
def redo(page: Page, uid: Uid, given: Sending) -> Response:
    """Refused with the reason where it no longer fits."""
    return _turn(page, uid, given, history.redo)


def _turn(page: PageRequest, uid: str, given: Sent, turned: Callable[[Session, Actor, str], ChangeSet]) -> Response:
    if given.body is not None:
        given.command(Nothing)
    with page.api_unit(given.key) as work:
        if not work.repeated:
            root = turned(work.session, page.actor, uid)
            did = "Redid" if root.undone_at is None else "Undid"
            work.label = f"{did}: {root.label}"[:300]
    with page.db.read() as session:
        entry = history.entry(session, page.actor, uid)
    if entry is None:
        raise NotFound
    told: dict[str, Any] = _told(entry).model_dump(mode="json")
    return JSONResponse(told)
