"""Stacks: how a painter builds a picture, layer by layer, to be used on panel after panel."""

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, LayerMaterial, Named, StudioRecord, Table, one_of


class StackPlan(StudioRecord, table=True):
    """A sequence of layers that is no panel's yet."""

    __tablename__ = "stack_plan"
    label: str = Field(sa_type=Named(120))
    notes: str = Field(default="", max_length=4000)


class StackLayer(Table, table=True):
    """One layer of it. Without ``mix_id`` the mix is chosen when the stack is put on a panel."""

    __tablename__ = "stack_layer"
    __table_args__ = (
        one_of("material", LayerMaterial),
        CheckConstraint("wet_thickness_um > 0", name="wet_thickness_um"),
        CheckConstraint("solvent_pct >= 0 and solvent_pct < 100", name="solvent_pct"),
        KEEP_IDS,
    )
    id: int | None = Field(default=None, primary_key=True)
    stack_plan_id: int = Field(foreign_key="stack_plan.id", index=True)
    position: int  # 0 is the lowest
    kind: str = Field(max_length=32)
    material: str = Field(default="oil", max_length=24)
    mix_id: int | None = Field(default=None, foreign_key="mix.id")
    wet_thickness_um: float
    solvent_pct: float = 0.0  # of the wet volume, on top of what the mix holds
    advice: str = Field(default="", max_length=200)
