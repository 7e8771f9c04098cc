"""POST /api/v1/places/{uid}/readings: a sensor sends what it read, with its own token.

A batch is taken whole or not at all. It may be sent again, and in any order: an instant that is there already is left
as it is.
"""

from datetime import datetime
from functools import partial
from math import ceil
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from server.formats.calls import CallProblem
from server.formats.calls.command import parse_json
from server.formats.readings.sent import ReadingsSent, ReadingsTaken, checked
from server.services.errors import NotFound, Refused
from server.services.readings import sensors
from server.web.api.stateless import JSON, PROBLEM_JSON
from server.web.deps import Db, get_now
from server.web.errors import problem
from server.web.security.throttle import Throttle

BEARER = "bearer"
# A logger that was off line for weeks sends its batches one after the other; after that, one every few seconds is much.
SENDING = Throttle(burst=120, per_minute=30)
TRYING = Throttle(burst=20, per_minute=10)  # of wrong tokens for one place

router = APIRouter(tags=["readings"])

_PROBLEM = {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}}
_TOLD = {
    "400": "The body is not JSON",
    "401": "The token is missing, wrong or revoked",
    "403": "The request comes from another site",
    "404": "There is no such place",
    "409": "The place takes no readings as things stand",
    "413": "The body is too large",
    "415": "The body is not application/json",
    "422": "Readings need a change; none was taken. errors names each by its place in the list",
    "429": "Too many at once; Retry-After says when to go on",
}
DESCRIPTION: dict[str, Any] = {
    "security": [{"sensorToken": []}],
    "requestBody": {
        "required": True,
        "content": {
            JSON: {
                "schema": {"$ref": "#/components/schemas/ReadingsSent"},
                "example": {
                    "readings": [
                        {"at": "2026-11-02T10:00:00+00:00", "temperature_c": 18.2, "relative_humidity_pct": 61.0}
                    ]
                },
            }
        },
    },
    "responses": {
        "200": {
            "description": "All of them are there now",
            "content": {JSON: {"schema": {"$ref": "#/components/schemas/ReadingsTaken"}}},
        },
        **{status: {"description": text, "content": _PROBLEM} for status, text in _TOLD.items()},
    },
}
MODELS = (ReadingsSent, ReadingsTaken)


@router.post("/places/{uid}/readings", summary="What a sensor read in a place", openapi_extra=DESCRIPTION)
async def readings(request: Request, uid: str, db: Db, now: Annotated[datetime, Depends(get_now)]) -> Response:
    """Take readings of one place: up to 5,000, in any order, each instant once."""
    sensor = await run_in_threadpool(_who, db, uid, request.headers.get("authorization", ""))
    if isinstance(sensor, Response):
        return sensor
    wait_s = SENDING.wait_s(sensor.key)
    if wait_s:
        return _later(wait_s)
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != JSON:
        return problem(415, "send the readings as application/json")
    try:
        payload = parse_json(await request.body())
    except CallProblem as fault:
        return problem(400, fault.errors[0].message, [{"path": e.path, "message": e.message} for e in fault.errors])
    return await run_in_threadpool(partial(_take, db, sensor, payload, now))


def _who(db: Db, uid: str, authorization: str) -> sensors.Sensor | Response:
    kind, _, token = authorization.partition(" ")
    try:
        with db.read() as session:
            return sensors.who(session, uid, token.strip() if kind.lower() == BEARER else "")
    except NotFound:
        return problem(404, "there is no such place")
    except sensors.WrongToken:
        wait_s = TRYING.wait_s(uid)
        if wait_s:
            return _later(wait_s)
        words = "send the sensor's own token, as in Authorization: Bearer umb_…"
        return problem(401, words, headers={"WWW-Authenticate": 'Bearer realm="readings"'})


def _later(wait_s: float) -> Response:
    return problem(429, "too many at once; nothing was taken", headers={"Retry-After": str(ceil(wait_s))})


def _take(db: Db, sensor: sensors.Sensor, payload: Any, now: datetime) -> Response:
    try:
        taken = sensors.send(db, sensor, checked(payload, now))
    except CallProblem as fault:
        return JSONResponse(fault.as_json(), 422, media_type=PROBLEM_JSON)
    except Refused as fault:
        return problem(409, fault.message)
    return JSONResponse({"taken": taken.taken, "already_there": taken.already_there})
