"""One request or a list of them, checked, answered in order."""

from datetime import datetime
from typing import Any

from pydantic import ValidationError

from server.formats.calls.call import Call, find
from server.formats.calls.layer_in import Collector
from server.formats.calls.problems import CallProblem, FieldProblem, from_validation

MAX_REQUESTS = 20_000


def answer(name: str, payload: object, now: datetime) -> Any:
    """Answer ``payload`` (one object, or a list answered by a list in the same order).

    ``now`` is an aware instant. Raises CallProblem naming every fault with its path.
    """
    call = find(name)
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
