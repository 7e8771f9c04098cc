"""When painters work, the plans made of it, and the dates promised by them."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, Named, StudioRecord, UtcDateTime, json_or_null


class WorkTime(StudioRecord, table=True):
    """A stretch of working time: on weekdays, on one day, or on the days of a repeating rule from ``on_date`` on.

    Without minutes the day is closed; with ``until_on`` so are all days from ``on_date`` to it. A rule takes the place
    of weekly hours, days away that of both, a single day with hours that of all. ``painter`` "": everybody.
    """

    __tablename__ = "work_time"
    __table_args__ = (CheckConstraint("end_min > start_min", name="minutes"), KEEP_IDS)
    painter: str = Field(sa_type=Named(120))
    weekdays: str = Field(default="", max_length=7)  # ISO numbers, 1 is Monday
    on_date: date | None = None
    until_on: date | None = None
    rule: str = Field(default="", max_length=200)  # RFC 5545, without RRULE:
    start_min: int | None = None  # of the wall clock's day
    end_min: int | None = None
    label: str = Field(default="", max_length=120, sa_column_kwargs={"server_default": ""})  # why: "away", a holiday


class Quote(StudioRecord, table=True):
    """A date that was worked out for a commission, as it was told then. ``panel_id``: the panel it became."""

    __table_args__ = KEEP_IDS
    title: str = Field(sa_type=Named(200))
    for_whom: str = Field(default="", sa_type=Named(200))
    content_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    panel_id: int | None = Field(default=None, foreign_key="panel.id")


class StudioPlan(StudioRecord, table=True):
    """A plan that was made: its sittings and panels as told then. ``accepted_at`` once the painter took it."""

    __tablename__ = "studio_plan"
    __table_args__ = KEEP_IDS
    content_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    accepted_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
