"""What every form that saves a record does with what was posted: read it, try it, or show it again.

The threat: something typed that is lost. Whatever goes wrong, the same form comes back with every text in it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

from pydantic import BaseModel
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services.errors import Conflict, Invalid
from server.web.deps import PageRequest
from server.web.forms import FormState, edited_rows, parse

C = TypeVar("C", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Saving(Generic[C]):
    """One form: its command, what the history says of it, how it is done, and how the form is shown.

    ``do`` answers with the address to go to; ``show`` is given the form and the status; ``quiet`` names fields that
    do not make a row of a list count.
    """

    command: type[C]
    label: Callable[[C], str]
    do: Callable[[Session, C], str]
    show: Callable[[FormState, int], Response]
    quiet: tuple[str, ...] = ()


def save(page: PageRequest, posted: FormData, form_of: Saving[C]) -> Response:
    """The answer to a posted form: 303 when it was done, else the form with 200 (rows), 422 (faults) or 409."""
    with_other_rows = edited_rows(posted)
    if with_other_rows is not None:
        return form_of.show(with_other_rows, 200)
    command, form = parse(posted, form_of.command, zone=page.zone, quiet=form_of.quiet)
    if command is None:
        return form_of.show(form, 422)
    try:
        with page.unit(form_of.label(command), posted) as work:
            if not work.repeated:
                work.location = form_of.do(work.session, command)
    except Invalid as fault:
        form.add_errors(fault.errors)
        return form_of.show(form, 422)
    except Conflict as fault:
        form.add_conflict(fault.current, fault.message, page.zone)
        return form_of.show(form, 409)
    return page.saved(work)
