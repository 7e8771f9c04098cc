"""Panels, their layers, and the touch tests of these."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field

from server.store.tables.base import (
    KEEP_IDS,
    GroundKind,
    GroundSurface,
    LayerMaterial,
    Millimetres,
    Named,
    PanelFinish,
    StudioRecord,
    Surface,
    Table,
    Texture,
    TouchStage,
    UtcDateTime,
    json_or_null,
    one_of,
)


class Panel(StudioRecord, table=True):
    """A picture on its support, whatever the support is."""

    __table_args__ = (
        one_of("ground_kind", GroundKind),
        one_of("ground_surface", GroundSurface),
        CheckConstraint("width_mm > 0 and height_mm > 0", name="size"),
        CheckConstraint("weight > 0", name="weight"),
        one_of("finish", PanelFinish),
        KEEP_IDS,
    )
    place_id: int = Field(foreign_key="place.id")  # where it began; see PanelMove
    title: str = Field(sa_type=Named(200))
    width_mm: float = Field(sa_type=Millimetres)
    height_mm: float = Field(sa_type=Millimetres)
    support: str = Field(max_length=32)
    ground_kind: str = Field(max_length=16)  # acrylic, oil, glue_chalk, none
    ground_surface: str = Field(max_length=16)  # absorbent, matte, sealed, gloss
    ground_pigment: str | None = Field(default=None, max_length=16)  # Colour Index name of an oil ground's white
    ground_on: date | None = None
    due_on: date | None = None
    due_for: str = Field(default="", sa_type=Named(200))
    weight: float = 1.0  # of its date against those of others, when a plan has to choose
    finish: str = Field(default="", max_length=24)  # what is done to it before it leaves; "": touch-dry is enough
    packing_d: int = 1  # days between that and its date
    transit_d: int = 0  # days on the way
    finished_on: date | None = None  # the last layer is on; what is left is drying and varnish
    notes: str = Field(default="", max_length=8000)


class PanelMove(StudioRecord, table=True):
    """A panel was put into another place. Before its first move it was in the place written in the panel itself."""

    __tablename__ = "panel_move"
    panel_id: int = Field(foreign_key="panel.id", index=True)
    place_id: int = Field(foreign_key="place.id")
    moved_at: datetime = Field(sa_type=UtcDateTime)


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
    verdict_json: dict[str, Any] | None = Field(default=None, sa_type=json_or_null())  # the rules' word as it went on
    override_reason: str = Field(default="", max_length=1000)  # why it went on against that word
    notes: str = Field(default="", max_length=4000)


class LayerMix(Table, table=True):
    """One region of a layer."""

    __tablename__ = "layer_mix"
    __table_args__ = (CheckConstraint("area_share > 0 and area_share <= 1", name="area_share"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    layer_id: int = Field(foreign_key="layer.id", index=True)
    position: int
    mix_id: int = Field(foreign_key="mix.id")
    region: str = Field(default="", sa_type=Named(120))
    area_share: float


class TouchTest(StudioRecord, table=True):
    __tablename__ = "touch_test"
    __table_args__ = (one_of("stage", TouchStage), KEEP_IDS)
    layer_id: int = Field(foreign_key="layer.id", index=True)
    pressed_at: datetime = Field(sa_type=UtcDateTime)
    stage: str = Field(max_length=16)  # wet, tacky, touch_dry, firm
    occasion: str = Field(default="own", max_length=8)  # own moment, asked by the app, or only seen
    place_on_panel: str = Field(default="", sa_type=Named(120))
    region: str = Field(default="", sa_type=Named(120))  # the mix that was pressed, by its name in the layer; "": any
    note: str = Field(default="", max_length=1000)
    doubt: str = Field(default="", max_length=8)  # when it was entered: softer, date, unusual; "": nothing
    is_sure: bool = False  # the painter was asked and said that it is right
    # created_at is when it was entered; archived_at set means the painter took it back as mistaken.
