"""The finish of a picture and the history of a record, as JSON for programs."""

from datetime import date, datetime
from typing import Any

from server.formats.board_json import BoardDays, BoardVerdict, Told


class GateOut(Told):
    """Something that may be done to a picture: the verdict on it now, and from when it may be tried. ``opens_on`` is
    the day that a rule names; ``no_forecast``: the drying of a film is not known."""

    action: str
    verdict: BoardVerdict | None
    first: BoardDays | None
    opens_on: date | None
    no_forecast: bool


class GatesOut(Told):
    at: datetime
    gates: tuple[GateOut, ...]


class FieldChangeOut(Told):
    name: str
    before: Any
    after: Any


class RowChangeOut(Told):
    """What changed in one row: in the record, or in one that belongs to it."""

    table: str
    what: str
    fields: tuple[FieldChangeOut, ...]


class RecordEntryOut(Told):
    """An entry of the history that touched a record."""

    uid: str
    at: datetime
    actor: str
    label: str
    action: str
    is_undone: bool
    rows: tuple[RowChangeOut, ...]


class RecordHistoryOut(Told):
    items: tuple[RecordEntryOut, ...]
    next_before: str | None
