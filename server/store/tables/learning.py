"""What a studio chose about learning from its touch tests."""

from datetime import datetime
from typing import Literal

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, StudioRecord, UtcDateTime, one_of

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
