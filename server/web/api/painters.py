"""Painters, who are named by their hours: one called otherwise in all of them, and in the plans that stand."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session

from server.formats.sharing_json import Done
from server.services import working_hours
from server.services.working_hours import PainterRename
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.sent import Sending
from server.web.deps import Page
from server.web.pages.plan_hours import HOURS, renamed_words

router = APIRouter(tags=["working-hours"])
BODIES = (PainterRename,)


@router.post("/working-hours/rename", response_model=Done, **changing("Call a painter otherwise", "PainterRename"))
def rename_painter(page: Page, given: Sending) -> Any:
    """In all their hours and the plans that stand; calendars of their own go on. 404 where nobody of the name works."""
    command = given.command(PainterRename)

    def act(session: Session) -> Told:
        working_hours.rename_painter(session, page.actor, command)
        return renamed_words(command), HOURS

    doing.do_once(page, given, act)
    return Done(done=True)
