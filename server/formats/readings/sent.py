"""What a sensor sends: a batch of readings as JSON, checked as a whole."""

from datetime import datetime, timedelta
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from server.formats.calls.problems import CallProblem, FieldProblem, from_validation
from server.formats.readings.columns import (
    EARLIEST_S,
    LEAST_C,
    LEAST_PCT,
    MOST_C,
    MOST_LX,
    MOST_PCT,
    Columns,
    columns,
)

MOST_READINGS = 5_000
AHEAD = timedelta(minutes=10)


class _Sent(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)


class ReadingSent(_Sent):
    """One reading. ``at`` with its offset; °C; per cent; lux where measured."""

    at: AwareDatetime
    temperature_c: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=LEAST_C, le=MOST_C)]
    relative_humidity_pct: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=LEAST_PCT, le=MOST_PCT)]
    light_lx: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=MOST_LX)] | None = None


class ReadingsSent(_Sent):
    """Readings of one place, in any order; one that is there already is left as it is."""

    readings: Annotated[list[ReadingSent], Field(min_length=1, max_length=MOST_READINGS)]


class ReadingsTaken(_Sent):
    """How many were taken, and how many were there already."""

    taken: int
    already_there: int


def checked(payload: Any, now: datetime) -> Columns:
    """The readings of a request. Raises ``CallProblem`` with the place of every fault; then none is to be taken."""
    try:
        sent = ReadingsSent.model_validate(payload)
    except ValidationError as fault:
        raise CallProblem(from_validation(fault)) from None
    faults = [
        FieldProblem(f"readings[{n}].at", "must lie between 1990 and now")
        for n, reading in enumerate(sent.readings)
        if reading.at > now + AHEAD or reading.at.timestamp() < EARLIEST_S
    ]
    if faults:
        raise CallProblem(faults)
    return columns(
        [int(reading.at.timestamp()) for reading in sent.readings],
        [reading.temperature_c for reading in sent.readings],
        [reading.relative_humidity_pct for reading in sent.readings],
        [float("nan") if reading.light_lx is None else reading.light_lx for reading in sent.readings],
    )
