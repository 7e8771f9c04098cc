"""A form of one record from what was posted to the answer: its rows, its faults, and at last the change itself."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.web.deps import PageRequest
from server.web.forms import edited_rows, parse
from server.web.pages.changes import Done, FormPage, Typed, change_by_form

# A form swaps the page's content in place, and the message of what was done.
BOOST = "target:#main select:#main selectOOB:#flash swap:outerHTML"


@dataclass(frozen=True, slots=True)
class Reads:
    """The command a form holds; ``quiet`` names fields that do not make a row of a list count."""

    command: type[BaseModel]
    quiet: tuple[str, ...] = ()


def save(
    page: PageRequest, posted: FormData, reads: Reads, shown: FormPage, act: Callable[[Session, Any], Done]
) -> Response:
    """303 when ``act`` was done with the command, else the form again: with other rows, with faults, or with what
    somebody else stored meanwhile."""
    with_other_rows = edited_rows(posted)
    if with_other_rows is not None:
        return shown.show(page, with_other_rows)
    command, form = parse(posted, reads.command, zone=page.zone, quiet=reads.quiet)
    if command is None:
        return shown.show(page, form, 422)
    return change_by_form(page, Typed(posted, form), shown, lambda session: act(session, command))
