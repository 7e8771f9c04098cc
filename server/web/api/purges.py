"""Purging of what is no panel: tubes, mediums, thinners, mixes, stacks, places that nothing names; people who left."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session

from server.formats.rooms_json import PurgeableRecordOut, Purged
from server.formats.sharing_json import PurgeablePersonOut
from server.services import purging_records
from server.services.fields import Command, Text200
from server.services.people import purging as people_purging
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import problems
from server.web.api.records import Uid
from server.web.api.sent import Sending
from server.web.deps import Page
from server.web.pages.people_pages import need_shared
from server.web.pages.purge import PAGES

router = APIRouter(tags=["sheets"])
Kind = Annotated[str, Path(description=f"One of {', '.join(purging_records.KINDS)}")]


class RecordPurge(Command):
    """The name as it stands on the record: purging asks twice."""

    name: Text200


class PersonPurge(Command):
    """The name of whoever left: purging asks twice."""

    name: Text200


BODIES = (RecordPurge, PersonPurge)


@router.get("/purge/{kind}/{uid}", summary="What purging a record takes away", responses=problems(404, 409, 422))
def look_at_purge(page: Page, kind: Kind, uid: Uid) -> PurgeableRecordOut:
    """Before anything goes, with what names it: as long as anything does, it stays. 409 for what is not archived."""
    with page.db.read() as session:
        found = purging_records.look(session, page.actor, kind, uid)
    return PurgeableRecordOut(**{name: getattr(found, name) for name in PurgeableRecordOut.model_fields})


@router.post("/purge/{kind}/{uid}", response_model=Purged, **changing("Take a record away for ever", "RecordPurge"))
def purge(page: Page, kind: Kind, uid: Uid, given: Sending) -> Any:
    """With its history. There is no way back."""
    command = given.command(RecordPurge)

    def act(session: Session) -> Told:
        word = purging_records.purge(session, page.actor, (kind, uid), command.name)
        return f"Purged a {word} with all that belonged to it", PAGES[kind][1]

    doing.do_once(page, given, act)
    return Purged(purged=True)


@router.get("/members/{uid}/purge", summary="What purging somebody takes away", responses=problems(404, 422))
def look_at_purge_of_a_person(page: Page, uid: Uid) -> PurgeablePersonOut:
    """Of somebody who left, with what stands against it: membership of another studio, hours that still stand."""
    need_shared(page)
    with page.db.read() as session:
        found = people_purging.look(session, page.actor, uid)
    return PurgeablePersonOut(uid=found.uid, name=found.name, entries=found.entries, hangs=found.hangs)


@router.post(
    "/members/{uid}/purge", response_model=Purged, **changing("Take somebody who left away for ever", "PersonPurge")
)
def purge_person(page: Page, uid: Uid, given: Sending) -> Any:
    """Their account and their name; what they did stays under a neutral one. There is no way back."""
    command = given.command(PersonPurge)
    need_shared(page)

    def act(session: Session) -> Told:
        people_purging.purge(session, page.actor, uid, command.name)
        return people_purging.PURGED, "/people"

    doing.do_once(page, given, act)
    return Purged(purged=True)
