"""What a use case may answer instead of a result, in the painter's words. The web turns each into its status."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


class ServiceError(Exception):
    """A refusal with a message that may be shown as it is."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class NotFound(ServiceError):
    """No such record for this person; one of another studio looks the same as one that never was."""

    def __init__(self, message: str = "There is nothing here under that address.") -> None:
        super().__init__(message)


class Forbidden(ServiceError):
    """A member of the studio whose role does not have this."""

    def __init__(self, message: str = "Your role in this studio does not have this. Nothing was changed.") -> None:
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class FieldError:
    """``field`` is the name in the command, with dots for places in lists: ``mixes.0.area_pct``; "" is the whole."""

    field: str
    message: str


class Invalid(ServiceError):
    """What was typed cannot be kept; each error stands at its field."""

    def __init__(self, errors: Sequence[FieldError]) -> None:
        super().__init__(" ".join(error.message for error in errors))
        self.errors = list(errors)

    def __reduce__(self) -> tuple[type["Invalid"], tuple[list[FieldError]]]:
        return Invalid, (self.errors,)  # from a search process it comes by what it was made of

    @classmethod
    def at(cls, field: str, message: str) -> "Invalid":
        return cls([FieldError(field, message)])


class Conflict(ServiceError):
    """Somebody else changed the record first.

    ``current``: what is stored now, by the command's field names, ``version`` included, so that a form can show both
    and be sent again. ``fields``: the names in which that differs from what was sent.
    """

    def __init__(self, current: dict[str, Any], message: str, fields: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.current = current
        self.fields = tuple(fields)


class Refused(ServiceError):
    """A well-formed wish that the state of things forbids. ``field``: the command's, where it is about one of them."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field

    def __reduce__(self) -> tuple[type["Refused"], tuple[str, str]]:
        return type(self), (self.message, self.field)
