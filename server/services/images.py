"""Rows as JSON and back: what the history keeps of a row before and after a change.

Instants are written in UTC, so that an image is the same whichever engine the row came from.
"""

from datetime import date, datetime, timezone
from typing import Any

from sqlalchemy import Date, inspect
from sqlalchemy import Table as SqlTable
from sqlalchemy.orm.base import NEVER_SET, NO_VALUE
from sqlalchemy.types import TypeEngine

from server.store.tables import (
    FinishStep,
    FinishTest,
    Layer,
    LayerMix,
    LearningChoice,
    Medium,
    MediumPart,
    Mix,
    MixPart,
    Paint,
    PaintPigment,
    Panel,
    PanelMove,
    Place,
    PlaceMonth,
    PlaceOff,
    Quote,
    ReadingBatch,
    Record,
    RuleLimit,
    ShareLink,
    ShareLinkPanel,
    SittingEnd,
    SittingMix,
    StackLayer,
    StackPlan,
    Studio,
    StudioPlan,
    Table,
    Thinner,
    TouchTest,
    UtcDateTime,
    WorkTime,
)

Image = dict[str, Any]


def sql_table(kind: type[Table]) -> SqlTable:
    return kind.__table__  # type: ignore[attr-defined]


# Every table the history follows, by its name in the database.
FOLLOWED: dict[str, type[Table]] = {
    sql_table(kind).name: kind
    for kind in (
        *(Studio, RuleLimit, Place, PlaceMonth, Paint, PaintPigment, Medium, MediumPart, Thinner, Mix, MixPart),
        *(Panel, Layer, LayerMix, TouchTest, FinishStep, FinishTest, SittingEnd, SittingMix, LearningChoice),
        *(StackPlan, StackLayer, WorkTime, StudioPlan, Quote, ReadingBatch, ShareLink, ShareLinkPanel),
        *(PanelMove, PlaceOff),
    )
}
# Rows that are part of a record, and the column that names it.
OWNER_COLUMN = {
    "place_month": "place_id",
    "place_off": "place_id",
    "paint_pigment": "paint_id",
    "medium_part": "medium_id",
    "mix_part": "mix_id",
    "layer_mix": "layer_id",
    "sitting_mix": "sitting_end_id",
    "stack_layer": "stack_plan_id",
    "share_link_panel": "share_link_id",
}
# What grows with every change and so says nothing about whether a row is as it was.
BOOKKEEPING = frozenset({"version", "updated_at"})


def table_name(row: Table) -> str:
    return sql_table(type(row)).name


def owner_of(name: str, image: Image) -> tuple[str, int] | None:
    """(table, id) of the record that a row is a part of; None for records themselves."""
    column = OWNER_COLUMN.get(name)
    return None if column is None else (column.removesuffix("_id"), image[column])


def image_of(row: Table) -> Image:
    """The row as it is in memory now."""
    return {column.key: to_json(getattr(row, column.key)) for column in sql_table(type(row)).columns}


def image_before(row: Table) -> Image | None:
    """The row as it was read, before the changes that wait to be written; None when a value was never read."""
    image = image_of(row)
    for name, value in inspect(row).committed_state.items():
        if value is NO_VALUE or value is NEVER_SET:
            return None
        if name in image:
            image[name] = to_json(value)
    return image


def from_mapping(kind: type[Table], mapping: Any) -> Image:
    """The image of a selected row."""
    return {column.key: to_json(mapping[column.key]) for column in sql_table(kind).columns}


def same(one: Image, other: Image) -> bool:
    """Whether two images say the same, bookkeeping apart; a column that only one of them knows does not count."""
    names = (one.keys() & other.keys()) - BOOKKEEPING
    return all(one[name] == other[name] for name in names)


def values_from(kind: type[Table], image: Image) -> dict[str, Any]:
    """Python values for the columns of an image that the table still has."""
    columns = sql_table(kind).columns
    return {name: _from_json(columns[name].type, value) for name, value in image.items() if name in columns}


def put_back(row: Table, image: Image) -> None:
    """Give ``row`` the values of ``image``, except what names the row and its bookkeeping."""
    for name, value in values_from(type(row), image).items():
        if name not in BOOKKEEPING and name not in {"id", "uid", "created_at"}:
            setattr(row, name, value)


def is_record(kind: type[Table]) -> bool:
    """Whether rows of this table are archived rather than taken away."""
    return issubclass(kind, Record)


def to_json(value: Any) -> Any:
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise ValueError("naive datetime")
        return value.astimezone(timezone.utc).isoformat()
    return value.isoformat() if isinstance(value, date) else value


def _from_json(kind: TypeEngine[Any], value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, UtcDateTime):
        return datetime.fromisoformat(value)
    return date.fromisoformat(value) if isinstance(kind, Date) else value
