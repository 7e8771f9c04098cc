"""How the pages of records make a change: one posted form, one unit of work, one answer.

What goes wrong in a form comes back in the form, with everything that was typed; what goes wrong at a bare button is a
page that says why, since there is nothing to correct.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services.errors import Conflict, Invalid, Refused
from server.web.deps import PageRequest
from server.web.form_values import show as as_text
from server.web.forms import FormState


@dataclass(frozen=True, slots=True)
class Done:
    """What was done: its name in the history, and where to read on."""

    label: str
    location: str


def change(page: PageRequest, posted: FormData, act: Callable[[Session], Done], leads_to: str = "") -> Response:
    """Do ``act`` in one unit of work and lead to where it says, or to ``leads_to``.

    A form that was sent before does nothing and leads to where the first one led. Faults of the services pass through.
    """
    with page.unit("", posted) as work:
        if not work.repeated:
            done = act(work.session)
            work.label, work.location = done.label, leads_to or done.location
    return page.saved(work)


@dataclass(frozen=True, slots=True)
class Typed:
    """What was posted, as it came and as the form shows it; ``leads_to`` overrules where a success leads."""

    data: FormData
    form: FormState
    leads_to: str = ""


@dataclass(frozen=True, slots=True)
class FormPage:
    """The template a form is shown in again, with what the template needs besides ``form``."""

    template: str
    context: Callable[[], Mapping[str, Any]]

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        return page.render(self.template, {**self.context(), "form": form}, status)


def change_by_form(page: PageRequest, posted: Typed, shown: FormPage, act: Callable[[Session], Done]) -> Response:
    """The same for a form that was read without a fault: what the services refuse stands in the form, 422 or 409."""
    form = posted.form
    try:
        return change(page, posted.data, act, posted.leads_to)
    except Invalid as fault:
        form.add_errors(fault.errors)
        return shown.show(page, form, 422)
    except Conflict as fault:
        form.add_conflict(fault.current, fault.message, page.zone)
        return shown.show(page, form, 409)
    except Refused as fault:
        form.add_error(fault.field, fault.message)
        return shown.show(page, form, 409)


def change_by_button(
    page: PageRequest, posted: FormData, act: Callable[[Session], Done], back: str, leads_back: bool = False
) -> Response:
    """The same for a button with nothing to correct; ``back`` is where its page is, and with ``leads_back`` where a
    success leads as well."""
    try:
        return change(page, posted, act, back if leads_back else "")
    except Refused as fault:
        return refused(page, fault.message, back)
    except Invalid as fault:
        return refused(page, " ".join(error.message for error in fault.errors), back, 422)


def refused(page: PageRequest, message: str, back: str, status: int = 409) -> Response:
    """Say in plain words why nothing was done, with the way back."""
    return page.render("history/refused.html", {"message": message, "back": back}, status)


def local_path(given: object, otherwise: str) -> str:
    """``given`` when it is a path on this server, else ``otherwise``: a form must not lead away from here."""
    if not isinstance(given, str) or len(given) > 300 or not given.startswith("/"):
        return otherwise
    # "//host" and "/\host" are other servers to a browser; control characters could hide them.
    is_plain = given.isascii() and given.isprintable() and "\\" not in given
    return given if is_plain and not given.startswith("//") else otherwise


def exactly(typed: datetime | None, zone: tzinfo, *known: datetime | None) -> datetime | None:
    """The one of ``known`` that a form would show just as it shows ``typed``; else ``typed``.

    A form shows neither seconds nor which of the two hours it means when the clocks go back. What was left as it
    stood must not lose them.
    """
    if typed is None:
        return None
    shown = as_text(typed, zone)
    return next((each for each in known if each is not None and as_text(each, zone) == shown), typed)


def with_field(posted: FormData, name: str, text: str) -> FormData:
    """The form with ``text`` as the one value of a field."""
    return FormData([*without(posted, name).multi_items(), (name, text)])


def without(posted: FormData, name: str) -> FormData:
    """The form less a field that is no part of the command."""
    return FormData([(given, value) for given, value in posted.multi_items() if given != name])
