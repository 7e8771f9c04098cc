"""Places through time, what was read there, rules with their limits, and what lists hold, as JSON for programs."""

from datetime import date, datetime
from typing import Literal

from server.formats.board_json import SeverityName, Told
from server.formats.studio_json import LimitOut


class CourseHour(Told):
    """One hour of a place: the air that estimates take, what the place is said to be, and the drying speed (1 is the
    reference room)."""

    at: datetime
    temperature_c: float
    relative_humidity_pct: float
    usual_c: float
    usual_pct: float
    speed: float
    source: Literal["read", "bridged", "usual", "to_come"]


class CourseOut(Told):
    """The last two weeks of a place and the coming one; ``read_share`` of the last week's hours were read."""

    place_uid: str
    now: int
    week_speed: float
    next_speed: float
    read_share: float
    has_readings: bool
    hours: tuple[CourseHour, ...]


class ReadingBatchOut(Told):
    """Readings that came together. ``token_uid`` of the sensor that may still send into it, "" without one."""

    uid: str
    source: str
    name: str
    readings: int
    first_at: datetime | None
    last_at: datetime | None
    created_at: datetime
    is_archived: bool
    token_uid: str


class ReadingBatchesOut(Told):
    items: tuple[ReadingBatchOut, ...]
    next_after: str | None


class ReadingBatchTurned(Told):
    uid: str
    is_archived: bool


class FileColumns(Told):
    """How a file is read; columns count from 0, -1: there is none."""

    upload: str
    at_column: int
    clock_column: int
    temperature_column: int
    humidity_column: int
    light_column: int
    date_order: str
    clock: str
    temperature_unit: str
    humidity_unit: str
    leave_out: bool


class FilePreviewOut(Told):
    """A file as it would be taken: its headings, how it is read, how many readings it has. It is kept for a while under
    ``choices.upload``. ``fault`` says why it cannot be taken so."""

    name: str
    headings: tuple[str, ...]
    choices: FileColumns
    readings: int
    first_at: datetime | None
    last_at: datetime | None
    faults: tuple[str, ...]


class FileTakenOut(Told):
    batch_uid: str
    taken: int
    already_there: int


class SensorMade(Told):
    """``token`` is told this once; null where the same sending was answered before."""

    place_uid: str
    token: str | None


class SensorRevoked(Told):
    place_uid: str


class SourceOut(Told):
    cite: str
    read: str


class RuleOut(Told):
    """A rule of soundness: what it looks at, how heavy it can weigh, why, and what supports it."""

    id: str
    title: str
    looks_at: str
    weighs: tuple[SeverityName, ...]
    why: str
    dispute: str
    basis: str
    evidence: str
    sources: tuple[SourceOut, ...]


class RulesOut(Told):
    items: tuple[RuleOut, ...]


class RulePageOut(Told):
    """What stands under one number, with its limits. Send ``version`` in If-Match to set them."""

    id: str
    version: int
    rules: tuple[RuleOut, ...]
    limits: tuple[LimitOut, ...]


class ListNames(Told):
    items: tuple[str, ...]


class ListLine(Told):
    """A line of a list: taken ("new"), or there already."""

    line: int
    state: str
    words: str


class ListFault(Told):
    line: int
    column: str
    message: str


class ListOutcome(Told):
    """What became of a list, or would: as it was read, line by line. ``taken``: whether it is kept now."""

    taken: bool
    delimiter: str
    decimal: str
    order: str
    columns: dict[str, int | str]
    units: dict[str, str]
    rows: tuple[ListLine, ...]
    faults: tuple[ListFault, ...]


class PurgeableOut(Told):
    """What purging a panel takes away for ever."""

    uid: str
    title: str
    layers: int
    tests: int
    changes: int


class PurgeableRecordOut(Told):
    """What purging another record takes away for ever. ``hangs`` says in sentences what names it: then it stays."""

    kind: str
    uid: str
    name: str
    readings: int
    changes: int
    hangs: tuple[str, ...]


class Purged(Told):
    purged: bool


class StarterOut(Told):
    added: int


class StayOut(Told):
    """A panel in a place from an instant on, null from the beginning; ``move_uid`` of the move that brought it."""

    place_uid: str
    place: str
    since: datetime | None
    move_uid: str


class StaysOut(Told):
    items: tuple[StayOut, ...]


class TubeOut(Told):
    """A tube against what is planned: ``left_ml`` by what was said and painted since, null while nobody knows;
    ``runs_out_on`` the first day for which it is not enough."""

    paint_uid: str
    label: str
    left_ml: float | None
    planned_ml: float
    undated_ml: float
    runs_low: bool
    runs_out_on: date | None


class TubesOut(Told):
    items: tuple[TubeOut, ...]
    next_after: str | None
