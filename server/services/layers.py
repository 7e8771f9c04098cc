"""Layers of a panel: planned, painted, put back, corrected, moved, archived."""

from datetime import datetime, timedelta
from typing import Any, Literal

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import overrides, records, stack
from server.services.access import Actor
from server.services.errors import Invalid, Refused
from server.services.freezing import freeze_painted, thaw
from server.services.layer_commands import (
    LAYER_KINDS,
    LayerCreate,
    LayerFields,
    LayerMixPart,
    LayerPaint,
    LayerRemembered,
    LayerUpdate,
    thickness,
)
from server.services.stack import Stack
from server.services.unit import moment
from server.store.tables import FinishStep, FinishTest, Layer, LayerMix, Mix, Panel, Thinner

__all__ = ["LAYER_KINDS", "LayerCreate", "LayerMixPart", "LayerPaint", "LayerUpdate"]

# What emptying a box says of a layer that went on otherwise than planned; a box left out says nothing.
EMPTY: dict[str, Any] = {"thinner_uid": None, "solvent_pct": 0.0, "surface": None, "sitting_min": None, "notes": ""}
Way = Literal["up", "down"]  # up is towards the surface
LATELY = timedelta(days=2)  # what is recorded later than this is written down from memory or a notebook


def create(session: Session, actor: Actor, panel_uid: str, command: LayerCreate, now: datetime | None = None) -> Layer:
    """Plan a layer on top of the others, or log it as painted where ``painted_at`` is given; then it lies below the
    layers that are still planned. Raises ``NotFound``, ``Refused``, ``Invalid``.

    What was painted lately goes before the rules as in ``paint``. Of what was painted before that the record only tells
    what happened: no verdict stood here when the brush went down.
    """
    pile = stack.open_for_change(session, actor, panel_uid)
    layer = Layer(
        studio_id=actor.studio_id,
        panel_id=pile.panel.id or 0,
        position=stack.next_position(session, pile.panel),
        **_values(session, actor, command, None),
    )
    if command.painted_at is not None:
        stack.check_painted_at(session, pile, layer, command.painted_at, now or moment(session))
        _make_room(pile, layer)
        layer.painted_at = command.painted_at
    else:
        stack.check_planned_on(pile, command.planned_on)
    session.add(layer)
    session.flush()
    _set_mixes(session, actor, layer, command.mixes)
    if layer.painted_at is not None:
        promised = not isinstance(command, LayerRemembered)
        freeze_painted(session, stack.load(session, pile.panel), layer, promised=promised)
        _judge(session, actor, pile, layer, now or moment(session))
    else:
        layer.override_reason = ""
    session.flush()
    return layer


def update(session: Session, actor: Actor, uid: str, command: LayerUpdate, now: datetime | None = None) -> Layer:
    """Change a planned layer, or correct a painted one, which freezes anew what went on.

    Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused``.
    """
    layer, pile = _open(session, actor, uid)
    records.check_version(layer, command, public(session, layer), "this layer")
    if (command.painted_at is None) != (layer.painted_at is None):
        raise Invalid.at("painted_at", _USE_ANOTHER_WAY[layer.painted_at is None])
    before = _content(session, layer)
    if command.painted_at is not None:
        stack.check_painted_at(session, pile, layer, command.painted_at, now or moment(session))
    elif command.planned_on != layer.planned_on:
        stack.check_planned_on(pile, command.planned_on)
    reason = command.override_reason if "override_reason" in command.model_fields_set else layer.override_reason
    values = {"painted_at": command.painted_at, "override_reason": overrides.corrected(layer, reason)}
    records.change(layer, _values(session, actor, command, layer) | values)
    _set_mixes(session, actor, layer, command.mixes)
    session.flush()
    after = _content(session, layer)
    if layer.painted_at is not None and after != before:
        freeze_painted(session, pile, layer, keep_mixes=after[0] == before[0])
        session.flush()
    return layer


def paint(session: Session, actor: Actor, uid: str, command: LayerPaint, now: datetime | None = None) -> Layer:
    """Log a planned layer as painted, and freeze what went on and what is promised.

    What the command leaves out stays as it was planned; without ``painted_at`` it is now. Raises ``NotFound``,
    ``Conflict``, ``Refused``, ``Invalid``: at ``override_reason`` where a rule stops it and no reason is given.
    """
    layer, pile = _open(session, actor, uid)
    if layer.painted_at is not None:
        raise Refused("This layer is painted already. Correct it instead.")
    planned = public(session, layer)
    changes = {name: value for name, value in command.model_dump().items() if value not in (None, ())}
    emptied = {name: value for name, value in EMPTY.items() if name in command.model_fields_set - changes.keys()}
    wanted = planned.model_copy(update=emptied | changes | {"mixes": command.mixes or planned.mixes})
    if command.version != layer.version:  # "as planned" means the plan that was on the screen
        raise records.conflict(wanted, planned, "this layer")
    below = pile.below(layer)
    if below is not None and below.painted_at is None:
        raise Refused(f"“{below.kind}” lies below and is not painted yet. Paint it first, or move this layer below it.")
    at = command.painted_at or now or moment(session)
    stack.check_painted_at(session, pile, layer, at, now or moment(session))
    if command.wet_thickness_um is None and command.thickness_preset is not None:
        wanted = wanted.model_copy(update={"wet_thickness_um": None})
    records.change(layer, _values(session, actor, wanted, layer) | {"painted_at": at})
    _set_mixes(session, actor, layer, wanted.mixes)
    session.flush()
    freeze_painted(session, pile, layer)
    _judge(session, actor, pile, layer, None)
    session.flush()
    return layer


def unpaint(session: Session, actor: Actor, uid: str) -> Layer:
    """Put the topmost painted layer back to planned. Raises ``Refused`` when something lies on it or tested it."""
    layer, pile = _open(session, actor, uid)
    if layer.painted_at is None:
        return layer
    above = pile.above(layer)
    if above is not None and above.painted_at is not None:
        raise Refused(f"“{above.kind}” is painted on top of it. Put that one back first.")
    if stack.tests_of(session, (layer,)):
        raise Refused("It has touch tests. Take those back first.")
    if _is_seen_to(session, layer):
        raise Refused("The finish was begun on it: steps are done, or the picture was tested. Take those back first.")
    thaw(layer)
    overrides.forget(layer)
    session.flush()
    return layer


def move(session: Session, actor: Actor, uid: str, way: Way) -> Layer:
    """Swap a planned layer with the planned one next to it. Raises ``Refused`` where there is none."""
    layer, pile = _open(session, actor, uid)
    if layer.painted_at is not None:
        raise Refused("A painted layer stays where it is.")
    other = pile.above(layer) if way == "up" else pile.below(layer)
    if other is None:
        raise Refused("It is the topmost layer." if way == "up" else "It is the lowest layer.")
    if other.painted_at is not None:
        raise Refused("The layer below is painted. A planned layer cannot go beneath it.")
    layer.position, other.position = other.position, layer.position
    session.flush()
    return layer


def archive(session: Session, actor: Actor, uid: str) -> Layer:
    return records.archive(session, actor, Layer, uid)


def restore(session: Session, actor: Actor, uid: str) -> Layer:
    """Bring a layer back: a painted one to its place, a planned one to the top. Raises ``Refused`` where a painted
    one no longer fits into the order."""
    layer = records.find(session, actor, Layer, uid)
    pile = stack.around(session, layer)
    records.restore(session, actor, Layer, uid)
    if layer.painted_at is None and layer not in pile.layers:
        layer.position = stack.next_position(session, pile.panel)
    session.flush()
    problem = stack.problem(session, stack.load(session, pile.panel))
    if problem is not None:
        raise Refused(f"It does not fit in any more: {problem}")
    return layer


def get(session: Session, actor: Actor, uid: str) -> Layer:
    return records.find(session, actor, Layer, uid)


def all_open(session: Session, actor: Actor, panel_uid: str | None = None) -> list[Layer]:
    """Layers of the studio's open panels, or of one panel; panel by panel, lowest first. Archived ones left out."""
    query = (
        select(Layer)
        .join(Panel, col(Panel.id) == col(Layer.panel_id))
        .where(col(Layer.studio_id) == actor.studio_id, col(Layer.archived_at).is_(None))
        .order_by(col(Layer.panel_id), col(Layer.position), col(Layer.id))
    )
    if panel_uid is None:
        return list(session.scalars(query.where(col(Panel.archived_at).is_(None))))
    return list(session.scalars(query.where(col(Panel.id) == records.find(session, actor, Panel, panel_uid).id)))


def all_archived(session: Session, actor: Actor) -> list[Layer]:
    return records.find_all(session, actor, Layer, archived=True)


def mixes_of(session: Session, layer: Layer) -> list[LayerMix]:
    """The regions of a layer in their order."""
    query = select(LayerMix).where(col(LayerMix.layer_id) == layer.id).order_by(col(LayerMix.position))
    return list(session.scalars(query))


def public(session: Session, layer: Layer) -> LayerUpdate:
    """The layer as the command that would leave it as it is: what an edit form starts from."""
    uids = _uids(session, layer)
    values: dict[str, Any] = {name: getattr(layer, name) for name in LayerUpdate.model_fields if hasattr(layer, name)}
    if layer.thickness_preset is not None:
        values["wet_thickness_um"] = None  # the preset says it; a number typed here would overrule the preset
    values["thinner_uid"] = uids.get(("thinner", layer.thinner_id or 0))
    values["mixes"] = tuple(
        LayerMixPart.model_construct(
            mix_uid=uids["mix", row.mix_id], area_pct=round(row.area_share * 100, 9), region=row.region
        )
        for row in mixes_of(session, layer)
    )
    return LayerUpdate.model_construct(**values)


_USE_ANOTHER_WAY = {
    True: "The layer is only planned. Log it as painted instead.",
    False: "Say when it was painted, or put the layer back to planned.",
}


def _open(session: Session, actor: Actor, uid: str) -> tuple[Layer, Stack]:
    layer = records.find(session, actor, Layer, uid)
    pile = stack.around(session, layer)  # the panel first, then its layers: always in this order, so nobody waits twice
    records.refuse_archived(layer, "this layer")
    return layer, pile


def _judge(session: Session, actor: Actor, pile: Stack, layer: Layer, recorded_at: datetime | None) -> None:
    """Put a layer that went on before the rules, unless it is recorded long after."""
    assert layer.painted_at is not None
    if recorded_at is not None and recorded_at - layer.painted_at > LATELY:
        layer.override_reason = ""
        return
    session.flush()
    overrides.keep(layer, overrides.of_layer(session, actor, pile, layer), layer.override_reason)


def _is_seen_to(session: Session, layer: Layer) -> bool:
    """Whether a step of the finish was done, or a test of the picture made, since the layer went on."""
    asked = (
        select(col(FinishStep.id)).where(
            col(FinishStep.panel_id) == layer.panel_id,
            col(FinishStep.archived_at).is_(None),
            col(FinishStep.done_at) >= layer.painted_at,
        ),
        select(col(FinishTest.id)).where(
            col(FinishTest.panel_id) == layer.panel_id,
            col(FinishTest.archived_at).is_(None),
            col(FinishTest.tested_at) >= layer.painted_at,
        ),
    )
    return any(session.scalars(query.limit(1)).first() is not None for query in asked)


def _make_room(pile: Stack, layer: Layer) -> None:
    """Put a new painted layer where the lowest planned one lies, and the planned ones each a place further up."""
    for planned in reversed(pile.planned):
        planned.position, layer.position = layer.position, planned.position


def _values(session: Session, actor: Actor, command: LayerFields, layer: Layer | None) -> dict[str, Any]:
    """Column values of the command. Raises ``Invalid`` for a thinner that is not there."""
    values = command.model_dump(exclude={"mixes", "thinner_uid", "version", "painted_at"})
    values["thickness_preset"], values["wet_thickness_um"] = thickness(
        command.thickness_preset, command.wet_thickness_um
    )
    values["thinner_id"] = None
    if command.thinner_uid is not None:
        thinner = records.find_named(session, actor, Thinner, command.thinner_uid, "thinner_uid")
        if thinner.archived_at is not None and (layer is None or layer.thinner_id != thinner.id):
            raise Invalid.at("thinner_uid", "This thinner is archived. Choose another.")
        values["thinner_id"] = thinner.id
    return values


def _set_mixes(session: Session, actor: Actor, layer: Layer, parts: tuple[LayerMixPart, ...]) -> None:
    old = mixes_of(session, layer) if layer.id is not None else []
    known = {row.mix_id for row in old}
    new = []
    for position, part in enumerate(parts):
        mix = records.find_named(session, actor, Mix, part.mix_uid, f"mixes.{position}.mix_uid")
        if mix.archived_at is not None and mix.id not in known:
            raise Invalid.at(f"mixes.{position}.mix_uid", "This mix is archived. Choose another.")
        share = 1.0 if part.area_pct is None else part.area_pct / 100
        new.append(
            LayerMix(
                layer_id=layer.id or 0, position=position, mix_id=mix.id or 0, region=part.region, area_share=share
            )
        )
    if records.replace_rows(session, old, new) and old:
        records.mark_changed(session, layer)


def _content(session: Session, layer: Layer) -> tuple[object, object]:
    """What is frozen depends on: what the paint is made of; how thick and when it went on."""
    rows = [(row.mix_id, row.region, row.area_share) for row in mixes_of(session, layer)]
    made_of = (layer.material, layer.thinner_id, layer.solvent_pct, rows)
    return made_of, (layer.wet_thickness_um, layer.painted_at)


def _uids(session: Session, layer: Layer) -> dict[tuple[str, int], str]:
    """Public ids of the mixes and the thinner that a layer names."""
    mixes = select(col(Mix.id), col(Mix.uid)).join(LayerMix, col(LayerMix.mix_id) == col(Mix.id))
    found = {("mix", row[0]): row[1] for row in session.execute(mixes.where(col(LayerMix.layer_id) == layer.id))}
    thinners = select(col(Thinner.id), col(Thinner.uid)).where(col(Thinner.id) == layer.thinner_id)
    return found | {("thinner", row[0]): row[1] for row in session.execute(thinners)}
