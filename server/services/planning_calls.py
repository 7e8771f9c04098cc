"""The stateless calls as the server answers them: plans in a search process, all else where it is asked."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from server.formats.calls import answer
from server.services.search_pool import SEARCHES

SEARCHED = "plan"


def answered(name: str, payload: Any, now: datetime) -> Any:
    """The answer of a call. Raises ``CallProblem``, and ``Refused`` where its search was cut off."""
    if name == SEARCHED:
        return SEARCHES.run(_answer, name, payload, now, kind="call")
    return answer(name, payload, now)


def _answer(name: str, payload: Any, now: datetime, _told: Callable[[Any], bool]) -> Any:
    return answer(name, payload, now)
