"""One request or a list of them, checked, answered in order."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pydantic import BaseModel, ValidationError

from server.formats.calls import estimate, soundness
from server.formats.calls.layer_in import Collector
from server.formats.calls.problems import CallProblem, FieldProblem, from_validation

MAX_REQUESTS = 20_000


@dataclass(frozen=True, slots=True)
class Call:
    """A stateless call: its request and answer models, how to prepare one request and answer many."""

    name: str
    request: type[BaseModel]
    answer: type[BaseModel]
    prepare: Callable[[Any, datetime, Collector], Any]
    answer_many: Callable[[Sequence[Any]], list[dict[str, Any]]]


CALLS = {
    "estimate": Call(
        "estimate",
        estimate.EstimateRequest,
        estimate.EstimateAnswer,
        lambda request, now, faults: estimate.prepare(request, faults),
        estimate.answer_many,
    ),
    "soundness": Call(
        "soundness",
        soundness.SoundnessRequest,
        soundness.SoundnessAnswer,
        soundness.Prepared,
        soundness.answer_many,
    ),
}


def answer(name: str, payload: object, now: datetime) -> Any:
    """Answer ``payload`` (one object, or a list answered by a list in the same order).

    ``now`` is an aware instant. Raises CallProblem naming every fault with its path.
    """
    call = CALLS[name]
    if isinstance(payload, list):
        if len(payload) > MAX_REQUESTS:
            raise CallProblem([FieldProblem("$", f"takes at most {MAX_REQUESTS:,} requests at once")])
        return _answers(call, [((i,), item) for i, item in enumerate(payload)], now)
    return _answers(call, [((), payload)], now)[0]


def _answers(call: Call, items: list[tuple[tuple[int, ...], object]], now: datetime) -> list[dict[str, Any]]:
    problems: list[FieldProblem] = []
    prepared = []
    for prefix, item in items:
        try:
            request = call.request.model_validate(item)
        except ValidationError as error:
            problems += from_validation(error, prefix)
            continue
        faults = Collector(prefix)
        ready = call.prepare(request, now, faults)
        problems += faults.problems
        prepared.append(ready)
    if problems:
        raise CallProblem(problems)
    return call.answer_many(prepared)
