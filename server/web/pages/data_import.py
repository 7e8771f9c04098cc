"""Lists from a notebook or a spreadsheet: read, looked over with the painter, and taken in as one change.

Nothing is kept on the server in between: the list travels with the form. Threat: a file is the one thing here that
comes in as bytes. This route alone takes one, of bounded length, decodes it to text or says why not, and forgets it.
"""

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from server.formats.csv_read import (
    DELIMITERS,
    ENCODINGS,
    Unreadable,
    decoded,
)
from server.services.errors import Refused
from server.services.lists.fields import KINDS
from server.services.lists.kinds import run
from server.services.lists.take_in import At, Outcome
from server.web.deps import SENDING, Page, PageRequest
from server.web.form_values import clean_text
from server.web.forms import COMMAND_KEY, FormState, key_of_sending, new_key
from server.web.list_reading import DECIMALS, ORDERS, Asked, NothingKept, asked_of, preview, taken_words
from server.web.plain_words import message_for

router = APIRouter(prefix="/data/import")
MAX_LIST_BYTES = 400_000
SHOWN = 60  # rows of a preview


async def posted_list(request: Request) -> FormData:
    """The posted fields as text; a file becomes the fields ``text`` and ``latin``. Faults stand in ``unreadable``."""
    async with request.form(max_files=1, max_fields=200, max_part_size=MAX_LIST_BYTES) as form:
        items = [item for item in form.multi_items() if isinstance(item[1], str)]
        upload = form.get("file")
        if isinstance(upload, UploadFile) and upload.filename:
            items = [item for item in items if item[0] not in {"text", "latin"}]
            items += _from_file(await upload.read(MAX_LIST_BYTES + 1))
    posted = FormData(items)
    setattr(request.state, SENDING, key_of_sending(request.url.path, posted))
    return posted


def _from_file(data: bytes) -> list[tuple[str, str | UploadFile]]:
    try:
        if len(data) > MAX_LIST_BYTES:
            raise Unreadable(f"This file is longer than {MAX_LIST_BYTES // 1000} kB. Bring it in parts.")
        found = decoded(data)
    except Unreadable as fault:
        return [("unreadable", str(fault))]
    return [("text", found.text), ("latin", "" if found.is_sure else "1")]


PostedList = Annotated[FormData, Depends(posted_list)]


@router.get("")
def start(page: Page, kind: str = "panels") -> Response:
    """Where a list is pasted or a file chosen."""
    form = FormState(values={"kind": kind if kind in KINDS else "panels"}, command_key=new_key())
    return page.render("data/import.html", _shown(form))


@router.post("")
def take(page: Page, posted: PostedList) -> Response:
    """Read the list, show what will become of each line, and on ``step`` "save" do it."""
    form = FormState(
        values={name: clean_text(str(value)) for name, value in posted.multi_items()}, command_key=_key(posted)
    )
    try:
        asked = asked_of(form.values)
    except Unreadable as fault:
        form.add_error("file" if "unreadable" in form.values else "text", str(fault))
        return page.render("data/import.html", _shown(form), 422)
    reading = asked.reading
    if form.values.get("step") == "save":
        done = _save(page, posted, asked)
        if isinstance(done, Response):
            return done
        outcome = done
    else:
        outcome = preview(page, reading)
    is_faulty = bool(outcome.faults) and form.values.get("step") != "read"
    return page.render("data/import.html", _shown(form, asked, outcome), 422 if is_faulty else 200)


def _shown(form: FormState, asked: Asked | None = None, outcome: Outcome | None = None) -> dict[str, Any]:
    lists = {"encodings": ENCODINGS, "delimiters": DELIMITERS, "orders": ORDERS, "decimals": DECIMALS}
    return {"form": form, "asked": asked, "outcome": outcome, "shown": SHOWN, **lists}


def _key(posted: FormData) -> str:
    given = posted.get(COMMAND_KEY)
    return given if isinstance(given, str) and given else new_key()


def _save(page: PageRequest, posted: FormData, asked: Asked) -> Response | Outcome:
    """303 when every line was taken; else what is wrong, with nothing kept."""
    outcome = Outcome((), ())
    try:
        with page.unit("", posted) as work:
            if not work.repeated:
                outcome = run(At(work.session, page.actor, page.zone, page.now), asked.reading, message_for)
                if outcome.faults:
                    raise NothingKept
                work.label, work.location = taken_words(asked, outcome)
    except NothingKept:
        return outcome
    except Refused as fault:
        return replace(outcome, faults=outcome.faults) if outcome.faults else _refused(page, fault)
    return page.saved(work)


def _refused(page: PageRequest, fault: Refused) -> Response:
    return page.render("history/refused.html", {"message": fault.message, "back": "/data/import"}, 409)
