"""What was changed, by whom, and each row before and after."""

from datetime import datetime
from typing import Any

from sqlalchemy import Index, UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, Table, UtcDateTime, json_or_null, new_uid, utc_now


class ChangeSet(Table, table=True):
    """One thing a person did: the unit that is undone, and that a repeated request finds again."""

    __tablename__ = "change_set"
    __table_args__ = (UniqueConstraint("studio_id", "command_key"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime, index=True)
    actor: str = Field(max_length=120)
    person_id: int | None = Field(default=None, foreign_key="person.id")  # whose account did it, where people sign in
    label: str = Field(max_length=300)  # in the painter's words: "Painted 'Grey sketch' on 'Two pears'"
    command_key: str | None = Field(default=None, max_length=64)
    location: str = Field(default="", max_length=300)  # where the first answer led
    undoes_id: int | None = Field(default=None, foreign_key="change_set.id", index=True)
    undone_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Change(Table, table=True):
    """One row before and after, as JSON. ``before`` None: it was added; ``after`` None: it was taken away."""

    __tablename__ = "change"
    __table_args__ = (Index("ix_change_row", "table_name", "row_id"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    change_set_id: int = Field(foreign_key="change_set.id", index=True)
    position: int
    table_name: str = Field(max_length=32)
    row_id: int
    before: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    after: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
