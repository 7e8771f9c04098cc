"""What the interfaces beside the records have in common: a change done once, and a record added once, for its key."""

from collections.abc import Callable
from typing import Any

from sqlmodel import Session

from server.services import records
from server.services.access import Actor
from server.services.sendings import added_before
from server.services.unit import Unit
from server.store.tables import StudioRecord
from server.web.api.record_schemas import KEY, body_of, problems
from server.web.api.sent import Sent, hold_to
from server.web.deps import PageRequest

Told = tuple[str, str]  # what was done, for the history, and the page where it is to be seen
KEYED: dict[str, Any] = {"parameters": [KEY]}  # of a change without a body
FAULTS = (400, 404, 409, 413, 415, 422)
HELD = (*FAULTS, 412)  # of what is done to a record, held to its version where the sender tells one


def changing(summary: str, body: str = "", *, status: int = 200, held: bool = False) -> dict[str, Any]:
    """What a route that changes something says of itself; ``body`` names the schema of what is sent. ``held``: it
    takes the version that the sender saw (``VersionSeen``)."""
    return {
        "summary": summary,
        "status_code": status,
        "responses": problems(*(HELD if held else FAULTS)),
        "openapi_extra": body_of(body) if body else KEYED,
    }


def asking(summary: str, body: str) -> dict[str, Any]:
    """The same for a question that is sent as a body and changes nothing: no key is wanted."""
    told = body_of(body)
    del told["parameters"]
    return {"summary": summary, "responses": problems(*FAULTS), "openapi_extra": told}


def hold(session: Session, actor: Actor, which: tuple[type[StudioRecord], str], seen: int | None) -> None:
    """Keep a record from changing until the transaction ends, and raise 412 where it did since it was seen."""
    if seen is not None:
        hold_to(records.find(session, actor, *which, "hold").version, seen)


def check_empty(given: Sent) -> None:
    """Raises ``Invalid`` for a body that says anything, where nothing is to be said."""
    from server.web.api.records import Nothing

    if given.body is not None:
        given.command(Nothing)


def do_once(page: PageRequest, given: Sent, act: Callable[[Session], Told]) -> Unit:
    """Do ``act`` in one unit of work, at most once for the key of the sending."""
    with page.api_unit(given.key) as work:
        if not work.repeated:
            work.label, work.location = act(work.session)
    return work


def add_once(
    page: PageRequest, given: Sent, kind: type[StudioRecord], act: Callable[[Session], tuple[StudioRecord, str, str]]
) -> str:
    """The uid of the record that ``act`` adds, or that an earlier sending of the same request added."""
    with page.api_unit(given.key) as work:
        if work.repeated:
            return added_before(work, kind)[0]
        record, work.label, work.location = act(work.session)
        return record.uid
