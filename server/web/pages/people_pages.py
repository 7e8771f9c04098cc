"""What the pages of people share: they need a shared install, they read passwords as typed, and keep nothing secret."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.datastructures import FormData
from starlette.responses import Response

from server.services.errors import Invalid, NotFound, Refused, ServiceError
from server.services.people.signing_in import NotSignedIn, TooManyTries
from server.web.deps import PageRequest
from server.web.forms import FormState
from server.web.pages.changes import without

NO_STORE = {"Cache-Control": "no-store"}


def alone(page: PageRequest) -> Response:
    """The answer of a single-user install: nobody signs in here, and how that would change."""
    return page.render("people/alone.html")


def need_shared(page: PageRequest) -> None:
    """Raises ``NotFound`` on a single-user install."""
    if not page.is_shared:
        raise NotFound


def secrets_of(posted: FormData, *names: str) -> tuple[dict[str, str], FormData]:
    """The secret fields exactly as typed, and the form without them: no form ever shows a secret again."""
    found = {}
    for name in names:
        given = posted.get(name)
        found[name] = given if isinstance(given, str) else ""
        posted = without(posted, name)
    return found, posted


@dataclass(frozen=True, slots=True)
class SecretForm:
    """A form's template with what it needs besides ``form``."""

    template: str
    context: Callable[[], Mapping[str, Any]]

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        return page.render(self.template, {**self.context(), "form": form}, status, NO_STORE)

    def refuse(self, page: PageRequest, form: FormState, fault: ServiceError) -> Response:
        """The form again with what is wrong: 422 at a field, 409 where things stand otherwise, 429 with a wait."""
        if isinstance(fault, Invalid):
            form.add_errors(fault.errors)
            return self.show(page, form, 422)
        form.add_error("", fault.message)
        if isinstance(fault, TooManyTries):
            answer = self.show(page, form, 429)
            answer.headers["Retry-After"] = str(fault.wait_s)
            return answer
        return self.show(page, form, 422 if isinstance(fault, NotSignedIn) else 409)


FAULTS = (Invalid, Refused, NotSignedIn, TooManyTries)
