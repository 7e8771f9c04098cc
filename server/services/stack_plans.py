"""Stacks to be used again: planned, changed, archived, and put on a panel as its layers to come."""

from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import layers, records
from server.services.access import Actor, allow
from server.services.errors import FieldError, Invalid, Refused
from server.services.fields import (
    Command,
    Notes,
    OptionalText200,
    Text32,
    Text120,
    Uid,
    Version,
    WetThicknessUm,
)
from server.services.layer_commands import LayerCreate, LayerMixPart, SolventPct
from server.store.tables import Layer, LayerMaterial, Mix, Panel, StackLayer, StackPlan

MOST_LAYERS = 12


class StackRow(Command):
    """One layer, lowest first. Without ``mix_uid`` its mix is chosen later."""

    kind: Text32
    mix_uid: Uid | None = None
    wet_thickness_um: WetThicknessUm
    solvent_pct: SolventPct = 0.0
    material: LayerMaterial = "oil"
    advice: OptionalText200 = ""


class StackCreate(Command):
    label: Text120
    layers: Annotated[tuple[StackRow, ...], Field(min_length=1, max_length=MOST_LAYERS)]
    notes: Notes = ""


class StackUpdate(StackCreate):
    version: Version


class StackMix(Command):
    """Another mix than the stack's own for its layer of that number, 0 the lowest."""

    layer: Annotated[int, Field(ge=0, lt=MOST_LAYERS)]
    mix_uid: Uid | None = None


Chosen = Annotated[tuple[StackMix, ...], Field(max_length=MOST_LAYERS)]


class StackApply(Command):
    """Put on this panel, with other mixes where they are given."""

    panel_uid: Uid
    mixes: Chosen = ()


def create(session: Session, actor: Actor, command: StackCreate) -> StackPlan:
    """Keep a stack. Raises ``Invalid`` for a mix that is not there."""
    allow(actor, "create", None, StackPlan)
    mix_ids = _mix_ids(session, actor, [row.mix_uid for row in command.layers], set())
    plan = StackPlan(studio_id=actor.studio_id, label=command.label, notes=command.notes)
    session.add(plan)
    session.flush()
    session.add_all(_rows(plan, command, mix_ids))
    session.flush()
    return plan


def update(session: Session, actor: Actor, uid: str, command: StackUpdate) -> StackPlan:
    """Change a stack. Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused`` for an archived one."""
    plan = records.find(session, actor, StackPlan, uid, "update")
    records.refuse_archived(plan, "this stack")
    old = layers_of(session, plan)
    mix_ids = _mix_ids(session, actor, [row.mix_uid for row in command.layers], {row.mix_id for row in old})
    records.check_version(plan, command, public(session, plan), "this stack")
    records.change(plan, {"label": command.label, "notes": command.notes})
    if records.replace_rows(session, old, _rows(plan, command, mix_ids)):
        records.mark_changed(session, plan)
    session.flush()
    return plan


def public(session: Session, plan: StackPlan) -> StackUpdate:
    """The stack as the command that would leave it as it is: what an edit form starts from."""
    rows = layers_of(session, plan)
    uids = mix_uids(session, rows)
    names = [name for name in StackRow.model_fields if name != "mix_uid"]
    listed = tuple(
        StackRow.model_construct(
            **{name: getattr(row, name) for name in names} | {"mix_uid": uids.get(row.mix_id or 0)}
        )
        for row in rows
    )
    return StackUpdate.model_construct(label=plan.label, layers=listed, notes=plan.notes, version=plan.version)


def layers_of(session: Session, plan: StackPlan) -> list[StackLayer]:
    """The layers of a stack, lowest first."""
    query = select(StackLayer).where(col(StackLayer.stack_plan_id) == plan.id).order_by(col(StackLayer.position))
    return list(session.scalars(query))


def layers_of_many(session: Session, plans: Sequence[StackPlan]) -> dict[int, list[StackLayer]]:
    """The layers of stacks by the stack's id, lowest first, with one query."""
    found: dict[int, list[StackLayer]] = {plan.id or 0: [] for plan in plans}
    query = select(StackLayer).where(col(StackLayer.stack_plan_id).in_(list(found)))
    for row in session.scalars(query.order_by(col(StackLayer.stack_plan_id), col(StackLayer.position))):
        found[row.stack_plan_id].append(row)
    return found


def mix_uids(session: Session, rows: Sequence[StackLayer]) -> dict[int, str]:
    """The uids of the mixes that these layers name, by id."""
    ids = {row.mix_id for row in rows if row.mix_id is not None}
    found = session.execute(select(col(Mix.id), col(Mix.uid)).where(col(Mix.id).in_(ids)))
    return {row.id: row.uid for row in found}


def archive(session: Session, actor: Actor, uid: str) -> StackPlan:
    return records.archive(session, actor, StackPlan, uid)


def restore(session: Session, actor: Actor, uid: str) -> StackPlan:
    return records.restore(session, actor, StackPlan, uid)


def get(session: Session, actor: Actor, uid: str) -> StackPlan:
    return records.find(session, actor, StackPlan, uid)


def all_open(session: Session, actor: Actor) -> list[StackPlan]:
    return records.find_all(session, actor, StackPlan)


def all_archived(session: Session, actor: Actor) -> list[StackPlan]:
    return records.find_all(session, actor, StackPlan, archived=True)


def apply(session: Session, actor: Actor, uid: str, command: StackApply) -> tuple[Panel, list[Layer]]:
    """Plan the stack's layers on top of a panel. Raises ``NotFound``, ``Invalid``, and ``Refused`` for a panel that is
    archived or called finished."""
    plan = records.find(session, actor, StackPlan, uid)
    panel = records.find_named(session, actor, Panel, command.panel_uid, "panel_uid")
    if panel.finished_on is not None:
        raise Refused("This panel is called finished. Take the finish back first, then plan more layers.")
    rows = layers_of(session, plan)
    uids = mix_uids(session, rows)
    chosen = {mix.layer: mix.mix_uid for mix in command.mixes if mix.mix_uid}
    made = []
    for place, row in enumerate(rows):
        mix_uid = chosen.get(place) or uids.get(row.mix_id or 0)
        try:
            made.append(layers.create(session, actor, panel.uid, _as_layer(row, mix_uid)))
        except Invalid as fault:
            raise Invalid.at(f"mixes.{place}.mix_uid", fault.errors[0].message) from fault
    return panel, made


def _as_layer(row: StackLayer, mix_uid: str | None) -> LayerCreate:
    values: dict[str, Any] = {
        "kind": row.kind,
        "material": row.material,
        "wet_thickness_um": row.wet_thickness_um,
        "solvent_pct": row.solvent_pct,
        "notes": row.advice,
        "mixes": (LayerMixPart(mix_uid=mix_uid),) if mix_uid else (),
    }
    return LayerCreate.model_validate(values)


def _mix_ids(session: Session, actor: Actor, uids: Sequence[str | None], held: set[int | None]) -> list[int | None]:
    """The ids of mixes by uid. Raises ``Invalid`` at ``layers.N.mix_uid``; an archived one stays where it was held."""
    wanted = {uid for uid in uids if uid}
    query = select(Mix).where(col(Mix.studio_id) == actor.studio_id, col(Mix.uid).in_(wanted))
    known = {mix.uid: mix for mix in session.scalars(query)}
    errors: list[FieldError] = []
    found: list[int | None] = []
    for number, uid in enumerate(uids):
        mix = known.get(uid) if uid else None
        if uid and (mix is None or (mix.archived_at is not None and mix.id not in held)):
            errors.append(FieldError(f"layers.{number}.mix_uid", "This mix is no longer there. Choose another."))
        found.append(mix.id if mix else None)
    if errors:
        raise Invalid(errors)
    return found


def _rows(plan: StackPlan, command: StackCreate, mix_ids: Sequence[int | None]) -> list[StackLayer]:
    assert plan.id is not None
    return [
        StackLayer(
            stack_plan_id=plan.id,
            position=position,
            mix_id=mix_id,
            **row.model_dump(exclude={"mix_uid"}),
        )
        for position, (row, mix_id) in enumerate(zip(command.layers, mix_ids, strict=True))
    ]
