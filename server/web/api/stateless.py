"""POST /api/v1/estimate, /soundness and /learn: JSON in, JSON out, no account and no database.

The requests are checked by ``server.formats.calls``, the same code the commands use, so that both name a fault by the
same path and words. Here is only what HTTP adds: media types, status codes, the description.
"""

import json
from asyncio import AbstractEventLoop, Future, get_running_loop
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime
from functools import partial
from pathlib import Path
from threading import Semaphore, Thread
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from fastapi.openapi.constants import REF_TEMPLATE
from pydantic import BaseModel
from pydantic.json_schema import models_json_schema
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from server.formats.calls import NAMES, CallProblem, find
from server.formats.calls.command import parse_json
from server.services import planning_calls
from server.services.errors import Refused
from server.web.deps import get_now
from server.web.errors import problem

EXAMPLES_DIR = Path(__file__).parents[2] / "formats" / "calls" / "examples"
JSON = "application/json"
PROBLEM_JSON = "application/problem+json"

PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "description": "Problem details (RFC 9457); errors names every field to change.",
    "required": ["type", "title", "status"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["path", "message"],
                "properties": {"path": {"type": "string"}, "message": {"type": "string"}},
            },
        },
    },
}
PROBLEMS = {
    "400": "The body is not JSON",
    "403": "The request comes from another site",
    "413": "The body is too large",
    "415": "The body is not application/json",
    "422": "Fields need a change",
}

router = APIRouter(tags=["calculations"])


def component_schemas(more: Sequence[type[BaseModel]] = ()) -> dict[str, Any]:
    """The JSON schemas of every request and answer, and of ``more``, for ``components`` of the OpenAPI document."""
    models = [
        pair for call in map(find, NAMES) for pair in ((call.request, "validation"), (call.answer, "serialization"))
    ]
    models += [(model, "validation") for model in more]
    _, definitions = models_json_schema(models, ref_template=REF_TEMPLATE)  # type: ignore[arg-type]
    return {**definitions["$defs"], "Problem": PROBLEM_SCHEMA}


def _one_or_many(model: str) -> dict[str, Any]:
    one = {"$ref": f"#/components/schemas/{model}"}
    return {"anyOf": [one, {"type": "array", "items": one}]}


def _examples(name: str) -> dict[str, Any]:
    files = sorted(EXAMPLES_DIR.glob(f"{name}_*.json"))
    examples = {file.stem: json.loads(file.read_text(encoding="utf-8")) for file in files}
    return {stem: {"summary": e["summary"], "value": e["request"]} for stem, e in examples.items()}


def description(name: str) -> dict[str, Any]:
    """The OpenAPI operation of a call."""
    call = find(name)
    problem_content = {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    answers = {JSON: {"schema": _one_or_many(call.answer.__name__)}}
    return {
        "requestBody": {
            "required": True,
            "content": {JSON: {"schema": _one_or_many(call.request.__name__), "examples": _examples(name)}},
        },
        "responses": {
            "200": {"description": "The answer; a list is answered in the same order", "content": answers},
            **{status: {"description": text, "content": problem_content} for status, text in PROBLEMS.items()},
        },
    }


def _media_type(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


class Planners:
    """Threads of their own for what takes long: however much is asked for, pages never wait for it to end."""

    def __init__(self, at_once: int = 2, waiting: int = 8, what: str = "plans") -> None:
        self._turns = Semaphore(at_once)
        self._places = Semaphore(at_once + waiting)
        self._what = what

    async def run(self, work: Callable[[], Response]) -> Response:
        """What ``work`` answers, or a problem where too many wait already."""
        if not self._places.acquire(blocking=False):
            return problem(503, f"too many {self._what} are being worked out; try again in a minute")
        loop = get_running_loop()
        told: Future[Response] = loop.create_future()
        # A daemon: the program ends when it is told to, however long a search was asked for.
        Thread(target=self._do, args=(work, loop, told), name=self._what, daemon=True).start()
        return await told

    def _do(self, work: Callable[[], Response], loop: AbstractEventLoop, told: Future[Response]) -> None:
        tell: Callable[[], None]
        try:
            with self._turns:
                tell = partial(told.set_result, work())
        except Exception as fault:  # raised where the answer is awaited
            tell = partial(told.set_exception, fault)
        finally:
            self._places.release()
        with suppress(RuntimeError):  # the loop ended meanwhile
            loop.call_soon_threadsafe(lambda: None if told.done() else tell())


PLANNERS = Planners()  # threads that wait for a search process
LEARNERS = Planners(waiting=40, what="requests")


async def _respond(name: str, request: Request, now: datetime, pool: Planners | None = None) -> Response:
    if _media_type(request) != JSON:
        return problem(415, "send the request as application/json")
    try:
        payload = parse_json(await request.body())
    except CallProblem as fault:
        return problem(400, fault.errors[0].message, [{"path": e.path, "message": e.message} for e in fault.errors])
    if pool is not None:
        return await pool.run(partial(_answer, name, payload, now))
    return await run_in_threadpool(_answer, name, payload, now)


def _answer(name: str, payload: Any, now: datetime) -> Response:
    try:
        return JSONResponse(planning_calls.answered(name, payload, now))
    except CallProblem as fault:
        return JSONResponse(fault.as_json(), 422, media_type=PROBLEM_JSON)
    except Refused as fault:
        return problem(503, fault.message)


Now = Annotated[datetime, Depends(get_now)]


@router.post("/estimate", summary="When does this layer dry, here?", openapi_extra=description("estimate"))
async def estimate(request: Request, now: Now) -> Response:
    """Drying stages of a layer (ASTM D1640, ISO 9117 names) with their ranges, region by region."""
    return await _respond("estimate", request, now)


@router.post("/soundness", summary="May this be done on that stack, now?", openapi_extra=description("soundness"))
async def soundness(request: Request, now: Now) -> Response:
    """The verdict of the soundness rules with reasons, basis and the remedy worked out."""
    return await _respond("soundness", request, now)


@router.post("/learn", summary="What do these touch tests say of later layers?", openapi_extra=description("learn"))
async def learn(request: Request, now: Now) -> Response:
    """Effects of studio, pigments and mediums; dates of layers to come and in progress; tests that are doubtful."""
    return await _respond("learn", request, now, LEARNERS)


@router.post("/plan", summary="Which sitting when, so that panels make their dates?", openapi_extra=description("plan"))
async def plan(request: Request, now: Now) -> Response:
    """Sittings with their times and reasons; panels with their dates and, where late, what would help."""
    return await _respond("plan", request, now, PLANNERS)
