"""Tests of a finished picture as JSON: swab, thumb, fingernail, and how old the top layer was."""

from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum

from pydantic import AwareDatetime

from server.formats.calls.layer_in import AgeD, CallModel, Collector
from server.science.finish_tests import RESULTS, FinishTestMade

SECONDS_PER_DAY = 86_400.0
ROUNDING_D = 1e-6  # an instant told to the second and an age in days may differ by so much


class FinishMethod(StrEnum):
    SWAB = "swab"
    THUMB = "thumb"
    NAIL = "nail"


class FinishResult(StrEnum):
    CLEAN = "clean"
    COLOUR = "colour"
    DULL = "dull"
    NO_MARK = "no_mark"
    MARK = "mark"
    NO_DENT = "no_dent"
    DENT = "dent"


class FinishTestIn(CallModel):
    """A test of the picture; exactly one of ``age_d`` (of the top layer, then) and ``tested_at``."""

    method: FinishMethod
    result: FinishResult
    age_d: AgeD | None = None
    tested_at: AwareDatetime | None = None


def finish_tests(
    given: Sequence[FinishTestIn], top_age_d: float | None, now: datetime, faults: Collector
) -> tuple[FinishTestMade, ...]:
    """The science's values; what makes no sense goes to ``faults``. ``top_age_d`` is None where nothing is painted."""
    found = []
    for i, test in enumerate(given):
        path = ("finish_tests", i)
        if test.result.value not in RESULTS[test.method.value]:
            words = ", ".join(RESULTS[test.method.value])
            faults.add((*path, "result"), f"is not what a {test.method.value} test shows; it shows one of: {words}")
        elif top_age_d is None:
            faults.add(path, "needs a stack: nothing is painted yet, so there is nothing to test")
        elif (test.age_d is None) == (test.tested_at is None):
            faults.add((*path, "age_d"), "give either age_d or tested_at")
        else:
            age_d = _age_d(test, top_age_d, now)
            name = "age_d" if test.tested_at is None else "tested_at"
            if age_d > top_age_d + ROUNDING_D:
                faults.add((*path, name), "must not be in the future: the top layer is not so old yet")
            elif age_d < 0.0:
                faults.add((*path, name), "must not be before the top layer was painted")
            else:
                found.append(FinishTestMade(test.method.value, test.result.value, min(age_d, top_age_d)))
    return tuple(found)


def _age_d(test: FinishTestIn, top_age_d: float, now: datetime) -> float:
    if test.tested_at is None:
        return test.age_d or 0.0
    return top_age_d - (now - test.tested_at).total_seconds() / SECONDS_PER_DAY
