"""What is wrong with a call, as RFC 9457 problem details with a list of {path, message}."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

MAX_REPORTED = 100


@dataclass(frozen=True, slots=True)
class FieldProblem:
    path: str  # layer.mixes[0].paints[1].parts
    message: str


class CallProblem(Exception):
    """The call cannot be answered as it stands; ``errors`` says what to change and where."""

    def __init__(self, errors: Sequence[FieldProblem], title: str = "The request has fields that need a change"):
        super().__init__("; ".join(f"{e.path}: {e.message}" for e in errors))
        self.errors = tuple(errors)
        self.title = title

    def __reduce__(self) -> tuple[type["CallProblem"], tuple[tuple[FieldProblem, ...], str]]:
        return CallProblem, (self.errors, self.title)  # from a search process it comes by what it was made of

    def as_json(self, status: int = 422) -> dict[str, Any]:
        return {
            "type": "about:blank",
            "title": self.title,
            "status": status,
            "detail": f"{len(self.errors)} to change, see errors",
            "errors": [{"path": e.path, "message": e.message} for e in self.errors[:MAX_REPORTED]],
        }


def path_text(location: Sequence[int | str]) -> str:
    """``('layer', 'mixes', 0, 'parts')`` -> ``layer.mixes[0].parts``; the whole request is ``$``."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += f".{part}" if text else part
    return text or "$"


# What pydantic says, in words a painter would use. {name} comes from the error's own context.
PLAIN_WORDS = {
    "missing": "is missing",
    "extra_forbidden": "is not a field of this call",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "finite_number": "must be a finite number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "string_type": "must be text",
    "list_type": "must be a list",
    "dict_type": "must be an object",
    "model_type": "must be an object",
    "model_attributes_type": "must be an object",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be {le} or less",
    "too_short": "needs at least {min_length}",
    "too_long": "takes at most {max_length}",
    "string_too_short": "must not be empty",
    "string_unicode": "holds half a character, which cannot be written",
    "string_too_long": "is too long: at most {max_length} characters",
    "enum": "must be one of {expected}",
    "literal_error": "must be one of {expected}",
    "timezone_aware": "needs its time zone, as in 2026-11-02T10:00:00+00:00",
    "datetime_parsing": "must be an instant like 2026-11-02T10:00:00+00:00",
    "datetime_from_date_parsing": "must be an instant like 2026-11-02T10:00:00+00:00",
    "datetime_type": "must be an instant like 2026-11-02T10:00:00+00:00",
    "datetime_object_invalid": "must be an instant like 2026-11-02T10:00:00+00:00",
}


# Where a word or a number will do, the validator names its two ways, and of a pair it says "[key]"; whoever called
# knows only the field.
WAYS = ("literal[", "constrained-float", "[key]")


def from_validation(error: ValidationError, prefix: Sequence[int | str] = ()) -> list[FieldProblem]:
    """Every fault pydantic found, with its path and a plain message."""
    told: dict[str, list[str]] = {}
    for fault in error.errors(include_url=False, include_input=False):
        words = PLAIN_WORDS.get(fault["type"])
        if words is None:
            message = fault["msg"].removeprefix("Value error, ")
        else:
            message = words.format(**fault.get("ctx", {}))
        steps = [step for step in fault["loc"] if not str(step).startswith(WAYS)]
        told.setdefault(path_text((*prefix, *steps)), []).append(message)
    return [FieldProblem(path, ", or ".join(messages)) for path, messages in told.items()]
