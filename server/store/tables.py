"""The records a studio keeps.

One class a table. ``table=True`` classes do not validate: the command models in ``server/services`` do that
at the edge, and CHECK constraints stand behind them. Conventions:

- every record has a random ``uid`` that addresses it from outside, so counting up ids finds nothing;
- ``version`` grows with each change and guards against two people editing the same record;
- nothing is deleted: ``archived_at`` hides a record, the history brings back what an edit replaced;
- row ids are never used twice, so that the history can name a row that is gone;
- instants are aware UTC (``*_at``), days are dates (``*_on``); the unit of a quantity is in its name.
"""

import secrets
from datetime import date, datetime, timezone
from typing import Any, Literal, get_args

from sqlalchemy import JSON, CheckConstraint, DateTime, Index, MetaData, UniqueConstraint
from sqlalchemy.types import TypeDecorator
from sqlmodel import Field, SQLModel

NAMING_CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


# Closed lists, kept as text with a CHECK behind them. The command models use the same types.
Light = Literal["dark", "dim", "room", "bright", "sun_glass", "number"]
MediumPartKind = Literal["oil", "solvent", "alkyd_medium", "wax", "inert", "soft_resin"]
MixPartKind = Literal["paint", "medium", "thinner", "drier", "clove_oil"]
GroundKind = Literal["acrylic", "oil", "glue_chalk", "none"]
GroundSurface = Literal["absorbent", "matte", "sealed", "gloss"]
LayerMaterial = Literal["oil", "alkyd", "acrylic", "retouch_varnish", "old_painting"]
Texture = Literal["smooth", "fine_canvas", "coarse"]
Surface = Literal["matte", "gloss"]
TouchStage = Literal["wet", "tacky", "touch_dry", "firm"]

KEEP_IDS = {"sqlite_autoincrement": True}  # PostgreSQL's sequences do so by themselves


def one_of(column: str, choices: Any) -> CheckConstraint:
    """The CHECK of a closed list; an empty (NULL) column passes."""
    words = ", ".join(f"'{word}'" for word in get_args(choices))
    return CheckConstraint(f"{column} in ({words})", name=column)


def json_or_null() -> JSON:
    """A JSON column in which None is SQL's NULL, not the JSON word null."""
    return JSON(none_as_null=True)


class UtcDateTime(TypeDecorator[datetime]):
    """An aware instant, stored as UTC on every engine; a naive one is a programming error."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("naive datetime")
        return value.astimezone(timezone.utc)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        if value is None:
            return None
        # SQLite hands back a naive value that was stored as UTC.
        return value.replace(tzinfo=timezone.utc) if value.tzinfo is None else value.astimezone(timezone.utc)


def new_uid() -> str:
    """A random, unguessable public id of 96 bits."""
    return secrets.token_urlsafe(12)


def utc_now() -> datetime:
    return datetime.now(timezone.utc)


class Table(SQLModel):
    metadata = MetaData(naming_convention=NAMING_CONVENTION)
    __table_args__: Any = KEEP_IDS


class Record(Table):
    """What every top-level record has."""

    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    version: int = Field(default=1)
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    updated_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    archived_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class StudioRecord(Record):
    """A record that belongs to one studio; nobody outside it ever sees the record."""

    studio_id: int = Field(foreign_key="studio.id", index=True)


class Studio(Record, table=True):
    __table_args__ = (
        CheckConstraint("confidence_pct between 50 and 99", name="confidence_pct"),
        CheckConstraint("drops_per_ml between 1 and 100", name="drops_per_ml"),
        KEEP_IDS,
    )
    name: str = Field(max_length=120)
    time_zone: str = Field(max_length=64)  # IANA name
    confidence_pct: int = Field(default=90)  # the quantile that "ready" waits for
    drops_per_ml: int = Field(default=20)  # the painter's own count
    is_invented: bool = Field(default=False)  # the demo studio says so on every page


class RuleLimit(StudioRecord, table=True):
    """A limit of the soundness rules that a studio set otherwise than its default; archived: back at the default."""

    __tablename__ = "rule_limit"
    __table_args__ = (UniqueConstraint("studio_id", "name"), KEEP_IDS)
    name: str = Field(max_length=64)  # as in the table of thresholds, with the same unit
    value: float


class Place(StudioRecord, table=True):
    """Where panels dry, with its climate: one value, overruled month by month."""

    __table_args__ = (one_of("light", Light), KEEP_IDS)
    name: str = Field(max_length=120)
    light: str = Field(max_length=16)  # dark, dim, room, bright, sun_glass, number
    light_factor: float | None = None  # only with light = number
    measured: bool = False  # True: the figures below were read off instruments
    temperature_c: float = 20.0
    relative_humidity_pct: float = 50.0
    notes: str = Field(default="", max_length=4000)


class PlaceMonth(Table, table=True):
    __tablename__ = "place_month"
    __table_args__ = (
        UniqueConstraint("place_id", "month"),
        CheckConstraint("month between 1 and 12", name="month"),
        KEEP_IDS,
    )
    id: int | None = Field(default=None, primary_key=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    month: int
    temperature_c: float
    relative_humidity_pct: float


class Paint(StudioRecord, table=True):
    """A tube on the shelf under the painter's own label."""

    label: str = Field(max_length=120)
    oil: str = Field(max_length=32)
    tube_ml: float | None = None
    left_ml: float | None = None
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

    label: str = Field(max_length=120)
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
    label: str = Field(max_length=120)
    solvent: str = Field(max_length=32)
    notes: str = Field(default="", max_length=4000)


class Mix(StudioRecord, table=True):
    """A reusable mix by parts."""

    label: str = Field(max_length=120)
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


class Panel(StudioRecord, table=True):
    """A picture on its support, whatever the support is."""

    __table_args__ = (
        one_of("ground_kind", GroundKind),
        one_of("ground_surface", GroundSurface),
        CheckConstraint("width_mm > 0 and height_mm > 0", name="size"),
        KEEP_IDS,
    )
    place_id: int = Field(foreign_key="place.id")
    title: str = Field(max_length=200)
    width_mm: int
    height_mm: int
    support: str = Field(max_length=32)
    ground_kind: str = Field(max_length=16)  # acrylic, oil, glue_chalk, none
    ground_surface: str = Field(max_length=16)  # absorbent, matte, sealed, gloss
    ground_pigment: str | None = Field(default=None, max_length=16)  # Colour Index name of an oil ground's white
    ground_on: date | None = None
    due_on: date | None = None
    due_for: str = Field(default="", max_length=200)
    finished_on: date | None = None  # the last layer is on; what is left is drying and varnish
    notes: str = Field(default="", max_length=8000)


class Layer(StudioRecord, table=True):
    """A layer, planned until ``painted_at`` is set.

    When it is painted, ``recipe_json`` and ``forecast_json`` freeze what went on and what was promised, so that a
    later change to a mix, a tube or the model never rewrites the past.
    """

    __table_args__ = (
        Index("ix_layer_panel_position", "panel_id", "position"),
        one_of("material", LayerMaterial),
        one_of("texture", Texture),
        one_of("surface", Surface),
        CheckConstraint("wet_thickness_um > 0", name="wet_thickness_um"),
        CheckConstraint("solvent_pct >= 0 and solvent_pct < 100", name="solvent_pct"),
        KEEP_IDS,
    )
    panel_id: int = Field(foreign_key="panel.id", index=True)
    position: int  # 0 is the lowest
    kind: str = Field(max_length=32)  # imprimatura, underpainting, ... (the painter's word)
    material: str = Field(default="oil", max_length=24)  # oil, alkyd, acrylic, retouch_varnish, old_painting
    thickness_preset: str | None = Field(default=None, max_length=24)
    wet_thickness_um: float
    texture: str = Field(default="smooth", max_length=16)  # smooth, fine_canvas, coarse
    thinner_id: int | None = Field(default=None, foreign_key="thinner.id")
    solvent_pct: float = 0.0  # of the wet volume, on top of what the mixes hold
    wet_in_wet: bool = False  # goes into the layer below while that is wet
    surface: str | None = Field(default=None, max_length=8)  # matte, gloss, once seen
    sitting_min: int | None = None
    planned_on: date | None = None
    painted_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    recipe_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    forecast_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())
    notes: str = Field(default="", max_length=4000)


class LayerMix(Table, table=True):
    """One region of a layer."""

    __tablename__ = "layer_mix"
    __table_args__ = (CheckConstraint("area_share > 0 and area_share <= 1", name="area_share"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    layer_id: int = Field(foreign_key="layer.id", index=True)
    position: int
    mix_id: int = Field(foreign_key="mix.id")
    region: str = Field(default="", max_length=120)
    area_share: float


class TouchTest(StudioRecord, table=True):
    __tablename__ = "touch_test"
    __table_args__ = (one_of("stage", TouchStage), KEEP_IDS)
    layer_id: int = Field(foreign_key="layer.id", index=True)
    pressed_at: datetime = Field(sa_type=UtcDateTime)
    stage: str = Field(max_length=16)  # wet, tacky, touch_dry, firm
    place_on_panel: str = Field(default="", max_length=120)
    note: str = Field(default="", max_length=1000)
    # created_at is when it was entered; archived_at set means the painter took it back as mistaken.


class ChangeSet(Table, table=True):
    """One thing a person did: the unit that is undone, and that a repeated request finds again."""

    __tablename__ = "change_set"
    __table_args__ = (UniqueConstraint("studio_id", "command_key"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime, index=True)
    actor: str = Field(max_length=120)
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
