"""What the validator found wrong, in words for the person who filled in the form."""

from collections.abc import Mapping
from typing import Any

from server.web.manner import Unit

FILL_IN = "Fill this in."
CHOOSE = "Choose one of the list."
NUMBER = "Write a number, such as 2.5."
WHOLE_NUMBER = "Write a whole number, such as 3."
DATE = "Write a date as year-month-day, such as 2026-11-02."
INSTANT = "Write a day and a time, such as 2026-11-02 10:00."
SKIPPED_BY_CLOCKS = "The clocks skipped this time when they went forward. Give one before or after."
YEAR = "Give a year between 1500 and 2200."
HIDDEN_CHARACTERS = (
    "There are characters in here that cannot be shown, marked \N{REPLACEMENT CHARACTER}. Take them out."
)

# By the validator's own names of what went wrong; {…} are filled from its context.
MESSAGES = {
    "missing": FILL_IN,
    "none_required": "Leave this empty.",
    "float_type": NUMBER,
    "float_parsing": NUMBER,
    "finite_number": NUMBER,
    "int_type": WHOLE_NUMBER,
    "int_parsing": WHOLE_NUMBER,
    "int_parsing_size": WHOLE_NUMBER,
    "int_from_float": WHOLE_NUMBER,
    "greater_than": "This must be more than {gt}.",
    "greater_than_equal": "This must be at least {ge}.",
    "less_than": "This must be less than {lt}.",
    "less_than_equal": "This must be at most {le}.",
    "multiple_of": "This must be a multiple of {multiple_of}.",
    "string_type": "Write some text.",
    "string_too_long": "Shorten this to {max_length} characters.",
    "string_pattern_mismatch": "This is not written in the way that is expected here.",
    "enum": CHOOSE,
    "literal_error": CHOOSE,
    "bool_type": "Choose yes or no.",
    "bool_parsing": "Choose yes or no.",
    "date_type": DATE,
    "date_parsing": DATE,
    "date_from_datetime_parsing": DATE,
    "date_from_datetime_inexact": DATE,
    "datetime_type": INSTANT,
    "datetime_parsing": INSTANT,
    "datetime_from_date_parsing": INSTANT,
    "datetime_object_invalid": INSTANT,
    "timezone_aware": INSTANT,
    "time_parsing": "Write a time, such as 10:30.",
    "list_type": "Add at least one line.",
    "tuple_type": "Add at least one line.",
    "model_type": FILL_IN,
    "extra_forbidden": "This field is not known here.",
    "union_tag_invalid": CHOOSE,
    "union_tag_not_found": CHOOSE,
}


def plural(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def message_for(error: Mapping[str, Any], unit: Unit | None = None) -> str:
    """One validation error (as pydantic's ``errors()`` lists them) in plain words, its bounds in the typed unit."""
    context = error.get("ctx", {})
    match error["type"]:
        case "value_error" | "assertion_error":
            # Written by us, in the command models, for the painter.
            return str(context.get("error", error["msg"]))
        case "string_too_short":
            least = context["min_length"]
            return FILL_IN if least == 1 else f"Write at least {least} characters."
        case "too_short":
            return f"Add at least {plural(context['min_length'], 'line', 'lines')}."
        case "too_long":
            return f"Keep to {plural(context['max_length'], 'line', 'lines')} at most."
        case kind if kind in MESSAGES:
            shown = {name: figure(value) if unit is None else bound(value, unit) for name, value in context.items()}
            return MESSAGES[kind].format(**shown)
    return "This is not understood here."


def bound(value: object, unit: Unit) -> str:
    """The same in the unit of the field, with its name where it is not the stored one."""
    if not isinstance(value, int | float) or unit.factor == 1.0:
        return figure(value)
    return f"{unit.shown(float(value)):.4g} {unit.symbol}"


def figure(value: object) -> str:
    """A bound as a person writes it: 5000.0 is 5000."""
    return f"{value:g}" if isinstance(value, float) and abs(value) < 1e6 else str(value)
