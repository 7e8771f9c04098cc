"""Purging: what would go, and the title typed to say that it is meant."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import purging
from server.services.errors import Refused
from server.services.fields import Command, Text200
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage
from server.web.pages.record_forms import Reads, save

router = APIRouter()


class Purge(Command):
    """The title as it stands on the panel."""

    title: Text200


@router.get("/panels/{uid}/purge")
def ask(page: Page, uid: str) -> Response:
    """What would go, before anything goes; what may not be purged leads back to the panel."""
    try:
        return _form(page, uid).show(page, FormState())
    except Refused:
        return page.see_other(f"/panels/{uid}")


@router.post("/panels/{uid}/purge")
def purge(page: Page, posted: Posted, uid: str) -> Response:
    """Take the panel away for ever when its title was typed."""

    def act(session: Session, command: Any) -> Done:
        purging.purge(session, page.actor, uid, command.title)
        return Done("Purged a panel with all that belonged to it", "/panels")

    return save(page, posted, Reads(Purge), _form(page, uid), act)


def _form(page: PageRequest, uid: str) -> FormPage:
    def context() -> dict[str, Any]:
        with page.db.read() as session:
            return {"goes": purging.look(session, page.actor, uid)}

    return FormPage("panels/purge.html", context)
