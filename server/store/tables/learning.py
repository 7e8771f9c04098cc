"""What a studio chose about learning from its touch tests, and the scales that were learned of it when idle."""

from datetime import datetime
from typing import Any, Literal

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, Private, StudioRecord, UtcDateTime, json_or_null, one_of

LearningMode = Literal["on", "frozen", "off"]
Occasion = Literal["own", "asked", "seen"]


class LearningChoice(StudioRecord, table=True):
    """``frozen``: tests entered after ``frozen_at`` teach nothing; ``off``: the book's dates are shown.

    Tests pressed before ``since_at`` teach nothing: learning begun anew. A studio without a row learns.
    """

    __tablename__ = "learning_choice"
    __table_args__ = (UniqueConstraint("studio_id"), one_of("mode", LearningMode), KEEP_IDS)
    mode: str = Field(default="on", max_length=8)
    frozen_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    since_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class LearnedScales(Private, table=True):
    """The scales of a studio's learning as they were learned last, from so many ``tests``; no record, since the tests
    tell them again. ``claimed_by`` is who learns them now, since ``claimed_at``."""

    __tablename__ = "learned_scales"
    __table_args__ = (UniqueConstraint("studio_id"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    studio_id: int = Field(foreign_key="studio.id")
    revision: int = 0  # grows whenever they were learned
    tests: int = 0
    model: str = Field(default="", max_length=16)
    scales_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    learned_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    claimed_by: str = Field(default="", max_length=32)
    claimed_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
