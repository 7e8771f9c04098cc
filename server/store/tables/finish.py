"""What is done to a picture once its last layer is on, the tests before it, and the ends of sittings."""

from datetime import date, datetime
from typing import Any, Literal

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from server.store.tables.base import (
    KEEP_IDS,
    Named,
    StudioRecord,
    Table,
    UtcDateTime,
    json_or_null,
    one_of,
)

FinishAction = Literal[
    "oil_out", "temporary_varnish", "final_varnish", "frame", "frame_glazed", "wrap", "stack", "ship"
]
FinishMethod = Literal["swab", "thumb", "nail"]
FinishResult = Literal["clean", "colour", "dull", "no_mark", "mark", "no_dent", "dent"]
KeptIn = Literal["tray", "sealed", "fridge", "freezer"]
Rags = Literal["spread", "water", "none"]


class FinishStep(StudioRecord, table=True):
    """Varnish, frame, wrap, stack, ship: planned until ``done_at`` is set.

    ``verdict_json`` is what the rules said when it was done, ``override_reason`` why it was done all the same.
    """

    __tablename__ = "finish_step"
    __table_args__ = (
        one_of("action", FinishAction),
        CheckConstraint("transit_c between -60 and 80", name="transit_c"),
        KEEP_IDS,
    )
    panel_id: int = Field(foreign_key="panel.id", index=True)
    action: str = Field(max_length=24)
    planned_on: date | None = None
    done_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    transit_c: float | None = None  # the coldest or hottest on the way
    note: str = Field(default="", max_length=1000)
    verdict_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    override_reason: str = Field(default="", max_length=1000)


class FinishTest(StudioRecord, table=True):
    """A test of a finished picture: a swab, a turned thumb, a fingernail, and what it showed."""

    __tablename__ = "finish_test"
    __table_args__ = (one_of("method", FinishMethod), one_of("result", FinishResult), KEEP_IDS)
    panel_id: int = Field(foreign_key="panel.id", index=True)
    method: str = Field(max_length=8)
    result: str = Field(max_length=8)
    tested_at: datetime = Field(sa_type=UtcDateTime)
    place_on_panel: str = Field(default="", sa_type=Named(120))
    note: str = Field(default="", max_length=1000)
    # archived_at set means the painter took it back as mistaken.


class SittingEnd(StudioRecord, table=True):
    """The end of a sitting: brushes, lids and rags seen to. It covers what was painted up to ``covers_to``."""

    __tablename__ = "sitting_end"
    __table_args__ = (one_of("rags", Rags), KEEP_IDS)
    ended_at: datetime = Field(sa_type=UtcDateTime)
    covers_to: datetime = Field(sa_type=UtcDateTime, index=True)
    rags: str = Field(max_length=8)  # spread outdoors, under water in a lidded can, none used
    brushes: bool = False
    lids: bool = False
    note: str = Field(default="", max_length=1000)


class SittingMix(Table, table=True):
    """A mix that was left over at the end of a sitting, and how it is kept."""

    __tablename__ = "sitting_mix"
    __table_args__ = (one_of("kept_in", KeptIn), CheckConstraint("left_ml >= 0", name="left_ml"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    sitting_end_id: int = Field(foreign_key="sitting_end.id", index=True)
    position: int
    mix_id: int = Field(foreign_key="mix.id")
    left_ml: float | None = None
    kept_in: str = Field(max_length=8)
