"""Shapes shared by the layers: header look-up in a raw scope."""

from starlette.types import Scope


def header(scope: Scope, name: bytes) -> str | None:
    """The first value of a header (``name`` in lower case), or None."""
    for key, value in scope["headers"]:
        if key == name:
            return str(value.decode("latin-1"))
    return None


def header_values(scope: Scope, name: bytes) -> list[str]:
    """Every value of a header that may be repeated."""
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name]
