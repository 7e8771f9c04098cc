"""Paints, mediums, thinners, and the mixes made of them."""

from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from server.store.tables.base import (
    KEEP_IDS,
    MediumPartKind,
    MixPartKind,
    Named,
    StudioRecord,
    Table,
    UtcDateTime,
    one_of,
)


class Paint(StudioRecord, table=True):
    """A tube on the shelf under the painter's own label."""

    label: str = Field(sa_type=Named(120))
    oil: str = Field(max_length=32)
    tube_ml: float | None = None
    left_ml: float | None = None  # as it was said at left_at; see services/tubes.py for what is left now
    left_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    # The painter's own figures where they know better than the table.
    paint_oil_g_per_100g: float | None = None
    rub_out_oa_g_per_100g: float | None = None
    density_g_cm3: float | None = None
    notes: str = Field(default="", max_length=4000)


class PaintPigment(Table, table=True):
    __tablename__ = "paint_pigment"
    __table_args__ = (CheckConstraint("share > 0 and share <= 1", name="share"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    paint_id: int = Field(foreign_key="paint.id", index=True)
    position: int
    ci_name: str = Field(max_length=16)
    variant: str | None = Field(default=None, max_length=64)
    share: float  # of the pigment volume


class Medium(StudioRecord, table=True):
    """An oil or medium as a recipe by parts."""

    label: str = Field(sa_type=Named(120))
    notes: str = Field(default="", max_length=4000)


class MediumPart(Table, table=True):
    __tablename__ = "medium_part"
    __table_args__ = (one_of("kind", MediumPartKind), CheckConstraint("parts > 0", name="parts"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    medium_id: int = Field(foreign_key="medium.id", index=True)
    position: int
    kind: str = Field(max_length=16)  # oil, solvent, alkyd_medium, wax, inert, soft_resin
    oil: str | None = Field(default=None, max_length=32)
    solvent: str | None = Field(default=None, max_length=32)
    parts: float
    non_volatile: float | None = None  # share of the volume that stays, for alkyd_medium


class Thinner(StudioRecord, table=True):
    label: str = Field(sa_type=Named(120))
    solvent: str = Field(max_length=32)
    notes: str = Field(default="", max_length=4000)


class Mix(StudioRecord, table=True):
    """A reusable mix by parts."""

    label: str = Field(sa_type=Named(120))
    swatch: str | None = Field(default=None, max_length=7)  # #rrggbb as the painter sees it; None: worked out
    notes: str = Field(default="", max_length=4000)


class MixPart(Table, table=True):
    """Paint, medium or thinner by parts; drier by per cent of metal on oil; clove oil by drops per 10 ml."""

    __tablename__ = "mix_part"
    __table_args__ = (one_of("kind", MixPartKind), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    mix_id: int = Field(foreign_key="mix.id", index=True)
    position: int
    kind: str = Field(max_length=16)  # paint, medium, thinner, drier, clove_oil
    paint_id: int | None = Field(default=None, foreign_key="paint.id")
    medium_id: int | None = Field(default=None, foreign_key="medium.id")
    thinner_id: int | None = Field(default=None, foreign_key="thinner.id")
    parts: float | None = None
    metal: str | None = Field(default=None, max_length=4)
    percent_on_oil: float | None = None
    drops_per_10_ml: float | None = None
