"""Error answers: a page in plain words, a fragment for htmx, problem details (RFC 9457) under /api. Never a trace."""

from collections.abc import Callable, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import Scope

from server.services.errors import Conflict, Forbidden, Invalid, NotFound, Refused
from server.web import plain_words
from server.web.render import render, wants_fragment
from server.web.security.public_links import forget_link, is_public

API_PREFIX = "/api/"
MOST_ERRORS = 100  # told of one call: what sends more has another fault than the hundred and first

# Title and what to do next, by status.
TEXTS: dict[int, tuple[str, str]] = {
    400: ("This request makes no sense here", "Go back and try again from the studio's own page."),
    401: ("Sign in first", "Nothing is lost: go back, and what you typed is still there."),
    403: ("This is not allowed", "Nothing was changed."),
    404: ("There is nothing here", "The address may be mistyped, or what was here has another address now."),
    405: ("This cannot be done at this address", "Go back and use the buttons of the page."),
    408: ("This took too long to arrive", "Nothing was changed. Go back and send it again."),
    409: ("This cannot be done as things stand now", "Go back and look at what is stored now."),
    413: ("That is too much at once", "Go back, shorten the text and send it again. What you typed is still there."),
    429: ("That was too often", "Wait a little and try again."),
    422: ("Something in this request cannot be read", "Go back and correct it."),
    500: (
        "Something broke on our side",
        "Nothing you saved before is lost. Try again; what you typed may still be in the form.",
    ),
}


def title_of(status: int) -> str:
    return TEXTS[status][0] if status in TEXTS else HTTPStatus(status).phrase


def problem(
    status: int,
    detail: str = "",
    errors: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
    more: Mapping[str, Any] | None = None,
) -> JSONResponse:
    """Problem details of RFC 9457; ``errors`` lists {path, message}, no more than the first hundred of them, ``more``
    holds further members."""
    body: dict[str, Any] = {"type": "about:blank", "title": title_of(status), "status": status}
    if detail:
        body["detail"] = detail
    if errors:
        body["errors"] = list(errors[:MOST_ERRORS])
    body |= more or {}
    return JSONResponse(body, status, dict(headers or {}), media_type="application/problem+json")


def error_response(scope: Scope, status: int, detail: str, headers: Mapping[str, str] | None = None) -> Response:
    """The error as whoever asked can read it. Works in any layer around the app."""
    if scope["path"].startswith(API_PREFIX):
        return problem(status, detail, headers=headers)
    request = Request(scope)
    default_title, advice = TEXTS.get(status, (title_of(status), ""))
    context = {"status": status, "title": default_title, "detail": detail, "advice": advice}
    if is_public(scope["path"]):  # a stranger gets no way into the studio, and one answer to every missing link
        forget_link(scope)
        template = "share/error.html"
    else:
        template = "errors/_message.html" if wants_fragment(request) else "errors/page.html"
    try:
        return render(request, template, context, status, headers)
    except Exception:
        # The frame itself may be what broke.
        if status != HTTPStatus.INTERNAL_SERVER_ERROR:
            raise
        return PlainTextResponse(f"{default_title}. {advice}", status)


async def on_http_exception(request: Request, fault: HTTPException) -> Response:
    detail = fault.detail if fault.detail != HTTPStatus(fault.status_code).phrase else ""
    if fault.status_code in {204, 304}:
        return Response(status_code=fault.status_code, headers=fault.headers)
    return error_response(request.scope, fault.status_code, detail, fault.headers)


async def on_unreadable_request(request: Request, fault: RequestValidationError) -> Response:
    """A path, query or JSON body that is not what the address takes."""
    errors = [
        {"path": ".".join(str(part) for part in error["loc"]), "message": plain_words.message_for(error)}
        for error in fault.errors()
    ]
    if request.url.path.startswith(API_PREFIX):
        return problem(422, f"{len(errors)} to change, see errors", errors)
    told = " ".join(f"{error['path'].rpartition('.')[2]}: {error['message']}" for error in errors)
    return error_response(request.scope, 422, told)


async def on_not_found(request: Request, fault: NotFound) -> Response:
    return error_response(request.scope, 404, "")


async def on_forbidden(request: Request, fault: Forbidden) -> Response:
    return error_response(request.scope, 403, fault.message)


async def on_refused(request: Request, fault: Refused) -> Response:
    return error_response(request.scope, 409, fault.message)


async def on_invalid(request: Request, fault: Invalid) -> Response:
    errors = [{"path": error.field, "message": error.message} for error in fault.errors]
    if request.url.path.startswith(API_PREFIX):
        return problem(422, f"{len(errors)} to change, see errors", errors)
    return error_response(request.scope, 422, " ".join(error["message"] for error in errors))


async def on_conflict(request: Request, fault: Conflict) -> Response:
    return error_response(request.scope, 409, fault.message)


def install(app: FastAPI) -> None:
    """Make ``app`` answer every fault through this module."""
    handlers: dict[type[Exception], Callable[[Request, Any], Any]] = {
        HTTPException: on_http_exception,
        RequestValidationError: on_unreadable_request,
        NotFound: on_not_found,
        Forbidden: on_forbidden,
        Refused: on_refused,
        Invalid: on_invalid,
        Conflict: on_conflict,
    }
    for kind, handler in handlers.items():
        app.add_exception_handler(kind, handler)
