"""Purging: what would go, what stands against it, and the title or name typed to say that it is meant."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import purging, purging_records
from server.services.errors import Refused
from server.services.fields import Command, Text200
from server.services.people import purging as people_purging
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage
from server.web.pages.people_pages import need_shared
from server.web.pages.record_forms import Reads, save

router = APIRouter()


class Purge(Command):
    """The title as it stands on the panel."""

    title: Text200


class PurgeRecord(Command):
    """The name as it stands on the record."""

    name: Text200


# Where a record's own page is, and where its list.
PAGES = {
    "paints": ("/shelf/paints/{uid}/edit", "/shelf"),
    "mediums": ("/shelf/mediums/{uid}/edit", "/shelf"),
    "thinners": ("/shelf/thinners/{uid}/edit", "/shelf"),
    "mixes": ("/mixes/{uid}", "/mixes"),
    "stacks": ("/stacks/{uid}", "/stacks"),
    "places": ("/room/{uid}/edit", "/room"),
}


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


@router.get("/purge/{kind}/{uid}")
def ask_record(page: Page, kind: str, uid: str) -> Response:
    """The same for a tube, a medium, a thinner, a mix, a stack, a place."""
    try:
        return _record_form(page, kind, uid).show(page, FormState())
    except Refused:
        return page.see_other(PAGES[kind][0].format(uid=uid))


@router.post("/purge/{kind}/{uid}")
def purge_record(page: Page, posted: Posted, kind: str, uid: str) -> Response:
    """Take it away for ever when its name was typed and nothing names it."""

    def act(session: Session, command: Any) -> Done:
        word = purging_records.purge(session, page.actor, (kind, uid), command.name)
        return Done(f"Purged a {word} with all that belonged to it", PAGES[kind][1])

    return save(page, posted, Reads(PurgeRecord), _record_form(page, kind, uid), act)


@router.get("/people/{uid}/purge")
def ask_person(page: Page, uid: str) -> Response:
    """The same for somebody who left the studio; ``uid`` is of the membership that ended."""
    need_shared(page)
    return _person_form(page, uid).show(page, FormState())


@router.post("/people/{uid}/purge")
def purge_person(page: Page, posted: Posted, uid: str) -> Response:
    """Take their account and their name away for ever when the name was typed."""
    need_shared(page)

    def act(session: Session, command: Any) -> Done:
        people_purging.purge(session, page.actor, uid, command.name)
        return Done(people_purging.PURGED, "/people")

    return save(page, posted, Reads(PurgeRecord), _person_form(page, uid), act)


def _person_form(page: PageRequest, uid: str) -> FormPage:
    def context() -> dict[str, Any]:
        with page.db.read() as session:
            return {"goes": people_purging.look(session, page.actor, uid)}

    return FormPage("purge/person.html", context)


def _record_form(page: PageRequest, kind: str, uid: str) -> FormPage:
    def context() -> dict[str, Any]:
        with page.db.read() as session:
            goes = purging_records.look(session, page.actor, kind, uid)
        return {"goes": goes, "back": PAGES[kind][0].format(uid=uid)}

    return FormPage("purge/record.html", context)


def _form(page: PageRequest, uid: str) -> FormPage:
    def context() -> dict[str, Any]:
        with page.db.read() as session:
            return {"goes": purging.look(session, page.actor, uid)}

    return FormPage("panels/purge.html", context)
