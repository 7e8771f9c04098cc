"""Records under /api/v1: list, read, add, change, archive, bring back, and what else is done to some of them.

Every change is one unit of work with its entry in the history, at most once for an ``Idempotency-Key``. A record is
changed as a whole by PUT with the version that was read in ``If-Match``; what else is done to it is held to a version
where one is sent. Lists come in slices, oldest first.
"""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.services import records
from server.services.errors import Conflict
from server.services.fields import Command
from server.services.records import Slice
from server.services.sendings import added_before
from server.store.tables import StudioRecord
from server.web.api.doing import hold
from server.web.api.record_schemas import RecordDoc
from server.web.api.resources import RESOURCES, Deed, Resource
from server.web.api.sent import Sending, Sent, VersionSeen, VersionWanted
from server.web.deps import Page, PageRequest
from server.web.errors import problem

PREFIX = "/api/v1"
Uid = Annotated[str, Path(description="The record's uid")]
Limit = Annotated[int, Query(ge=1, le=200, description="How many records at most")]
After = Annotated[str | None, Query(description="The uid of the last record of the slice before")]
Archived = Annotated[bool, Query(description="Those that were put away instead of those that are in use")]


class Nothing(Command):
    """A body without a field."""


def told(session: Session, resource: Resource, record: StudioRecord) -> dict[str, Any]:
    """The record as JSON values: what every record has, what it belongs to, and the fields of its command."""
    fields = resource.service.public(session, record).model_dump(mode="json", exclude={"version"})
    parent = {}
    if resource.parent is not None:
        owner = getattr(record, resource.parent.column)
        parent[f"{resource.parent.one}_uid"] = records.uid_of(session, resource.parent.table, owner)
    return {
        "uid": record.uid,
        "version": record.version,
        "created_at": record.created_at.isoformat(),
        "updated_at": record.updated_at.isoformat(),
        "archived_at": record.archived_at and record.archived_at.isoformat(),
        **parent,
        **fields,
    }


def answer_of(session: Session, resource: Resource, record: StudioRecord, status: int = 200) -> Response:
    """The answer that tells a record, with its version and, for a new one, its address."""
    headers = {"ETag": f'"{record.version}"'}
    if status == 201:
        headers["Location"] = f"{PREFIX}/{resource.path}/{record.uid}"
    return JSONResponse(told(session, resource, record), status, headers)


Act = Callable[[Session], tuple[StudioRecord, str]]


def _change(page: PageRequest, resource: Resource, given: Sent, act: Act, uid: str | None = None) -> Response:
    """Do ``act``, which answers the record and what to call the change, once; and tell the record as it is then.

    ``uid`` is the record's, None for one that is added.
    """
    with page.api_unit(given.key) as work:
        if not work.repeated:
            record, work.label = act(work.session)
            work.location = resource.page(record)
            told_uid = record.uid
        else:
            told_uid = uid or added_before(work, resource.table)[0]
    with page.db.read() as session:
        record = resource.service.get(session, page.actor, told_uid)
        return answer_of(session, resource, record, 200 if uid else 201)


def _lists(router: APIRouter, resource: Resource, doc: RecordDoc) -> None:
    parent = resource.parent

    def answer(page: PageRequest, wanted: Slice) -> dict[str, Any]:
        with page.db.read() as session:
            found, more = records.find_slice(session, page.actor, resource.table, wanted)
            return {
                "items": [told(session, resource, record) for record in found],
                "next_after": found[-1].uid if more else None,
            }

    def every(page: Page, limit: Limit = 50, after: After = None, archived: Archived = False) -> Any:
        return JSONResponse(answer(page, Slice(limit, after, archived)))

    router.get(f"/{resource.path}", **doc.listing())(every)
    if parent is None:
        return

    def on_parent(page: Page, uid: Uid, limit: Limit = 50, after: After = None, archived: Archived = False) -> Any:
        with page.db.read() as session:
            owner = records.find(session, page.actor, parent.table, uid)
        return JSONResponse(answer(page, Slice(limit, after, archived, (parent.column, owner.id or 0))))

    router.get(f"/{parent.path}/{{uid}}/{resource.path}", **doc.listing(of=parent.one))(on_parent)


def _adds(router: APIRouter, resource: Resource, doc: RecordDoc) -> None:
    def at_large(page: Page, given: Sending) -> Any:
        return add(page, given, ())

    def on_parent(page: Page, uid: Uid, given: Sending) -> Any:
        return add(page, given, (uid,))

    def add(page: PageRequest, given: Sent, parent: tuple[str, ...]) -> Response:
        command = given.command(resource.create)

        def act(session: Session) -> tuple[StudioRecord, str]:
            record = resource.add(session, page.actor, *parent, command)
            return record, f"Added the {resource.one}{resource.title(record)}"

        return _change(page, resource, given, act)

    if resource.parent is None:
        router.post(f"/{resource.path}", **doc.adding())(at_large)
    else:
        router.post(f"/{resource.parent.path}/{{uid}}/{resource.path}", **doc.adding(of=resource.parent.one))(on_parent)


def _reads_and_changes(router: APIRouter, resource: Resource, doc: RecordDoc) -> None:
    def read(page: Page, uid: Uid) -> Any:
        with page.db.read() as session:
            return answer_of(session, resource, resource.service.get(session, page.actor, uid))

    def change(page: Page, uid: Uid, given: Sending, version: VersionWanted) -> Any:
        assert resource.update is not None
        command = given.command(resource.update, version=version)

        def act(session: Session) -> tuple[StudioRecord, str]:
            record = resource.service.update(session, page.actor, uid, command)
            return record, f"Changed the {resource.one}{resource.title(record)}"

        return _or_moved_on(page, resource, uid, lambda: _change(page, resource, given, act, uid))

    router.get(f"/{resource.path}/{{uid}}", **doc.reading())(read)
    if resource.update is not None:
        router.put(f"/{resource.path}/{{uid}}", **doc.changing())(change)


def _or_moved_on(page: PageRequest, resource: Resource, uid: str, work: Callable[[], Response]) -> Response:
    """What ``work`` answers, or 412 with the record as it is now where somebody changed it since."""
    try:
        return work()
    except Conflict:
        with page.db.read() as session:
            now = told(session, resource, resource.service.get(session, page.actor, uid))
        detail = f"The {resource.one} was changed since: it is at version {now['version']}. Read it again."
        return problem(412, detail, more={"current": now}, headers={"ETag": f'"{now["version"]}"'})


def _deeds(router: APIRouter, resource: Resource, doc: RecordDoc) -> None:
    put_away = Deed("archive", "Archived", resource.service.archive)
    bring_back = Deed("restore", "Brought back", resource.service.restore)
    for deed in (*resource.deeds, put_away, bring_back):
        router.post(f"/{resource.path}/{{uid}}/{deed.path}", **doc.doing(deed))(_doer(resource, deed))


def _doer(resource: Resource, deed: Deed) -> Callable[..., Any]:
    def do(page: PageRequest, uid: str, given: Sent, seen: int | None, *command: Any) -> Response:
        def act(session: Session) -> tuple[StudioRecord, str]:
            hold(session, page.actor, (resource.table, uid), seen)
            deed.does(session, page.actor, uid, *command)
            record = resource.service.get(session, page.actor, uid)
            return record, f"{deed.told} the {resource.one}{resource.title(record)}"

        return _or_moved_on(page, resource, uid, lambda: _change(page, resource, given, act, uid))

    def plain(page: Page, uid: Uid, given: Sending, seen: VersionSeen) -> Any:
        if given.body is not None:
            given.command(Nothing)
        return do(page, uid, given, seen)

    def versioned(page: Page, uid: Uid, given: Sending, version: VersionWanted) -> Any:
        assert deed.command is not None
        return do(page, uid, given, None, given.command(deed.command, version=version))

    return versioned if deed.with_version else plain


def make_router() -> APIRouter:
    """The routes of all records."""
    router = APIRouter()
    for resource in RESOURCES:
        doc = RecordDoc(resource)
        for add_routes in (_lists, _adds, _reads_and_changes, _deeds):
            add_routes(router, resource, doc)
    return router


router = make_router()
