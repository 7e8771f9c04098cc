"""Touch tests: what a fingertip said of a layer, and when."""

from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.services import records, stack, touch_doubts
from server.services.access import Actor
from server.services.errors import Invalid, Refused
from server.services.fields import Command, Instant, OptionalText120, ShortNote, Version
from server.services.touch_doubts import Doubt
from server.services.unit import moment
from server.store.tables import Layer, Occasion, Panel, TouchStage, TouchTest


class TouchTestFields(Command):
    """Without ``pressed_at`` it is now. ``region`` names the mix that was pressed, as it is called in its layer; "" for
    any of them. ``is_sure``: it is right, however unlikely."""

    stage: TouchStage
    pressed_at: Instant | None = None
    place_on_panel: OptionalText120 = ""
    region: OptionalText120 = ""
    note: ShortNote = ""
    is_sure: bool = False


class TouchTestCreate(TouchTestFields):
    """``occasion``: the painter's own moment, one that was asked for, or only seen, not pressed."""

    occasion: Occasion = "own"


class TouchTestUpdate(TouchTestFields):
    """Without ``pressed_at`` the time stays."""

    version: Version


def log(
    session: Session, actor: Actor, layer_uid: str, command: TouchTestCreate, now: datetime | None = None
) -> TouchTest:
    """Note a touch test of a painted layer. Raises ``NotFound``, ``Refused``, ``Invalid`` at ``pressed_at``."""
    layer = records.find(session, actor, Layer, layer_uid)
    stack.around(session, layer)  # locked, the panel first
    records.refuse_archived(layer, "this layer")
    at = now or moment(session)
    pressed_at = command.pressed_at or at
    _check(session, layer, pressed_at, at)
    _check_region(layer, command.region)
    doubt = None if command.occasion == "seen" else touch_doubts.doubt_of(session, layer, (command, pressed_at), at)
    values = command.model_dump() | {"pressed_at": pressed_at, **_kept(doubt, command)}
    test = TouchTest(studio_id=actor.studio_id, layer_id=layer.id or 0, **values)
    session.add(test)
    session.flush()
    return test


def update(
    session: Session, actor: Actor, uid: str, command: TouchTestUpdate, now: datetime | None = None
) -> TouchTest:
    """Correct a touch test. Raises ``NotFound``, ``Conflict``, ``Refused``, ``Invalid`` at ``pressed_at``."""
    layer = _open_layer(session, actor, uid)
    test = records.find(session, actor, TouchTest, uid, "update")
    records.refuse_archived(test, "this touch test")
    pressed_at = command.pressed_at or test.pressed_at
    command = command.model_copy(update={"pressed_at": pressed_at})
    records.check_version(test, command, public(session, test), "this touch test")
    _check(session, layer, pressed_at, now or moment(session))
    if command.region != test.region:
        _check_region(layer, command.region)
    doubt = touch_doubts.doubt_of(session, layer, (command, pressed_at), now or moment(session), test)
    records.change(test, command.model_dump(exclude={"version"}) | _kept(doubt, command))
    session.flush()
    return test


def doubt_about(
    session: Session, actor: Actor, layer_uid: str, command: TouchTestCreate, now: datetime
) -> Doubt | None:
    """What a page asks before it notes a test. None where there is nothing to ask, and where the test could not be
    noted anyway."""
    return _doubt(session, records.find(session, actor, Layer, layer_uid), (command, command.pressed_at or now), now)


def doubt_about_change(
    session: Session, actor: Actor, uid: str, command: TouchTestUpdate, now: datetime
) -> Doubt | None:
    """The same before it corrects the test of that uid."""
    test = records.find(session, actor, TouchTest, uid)
    layer = session.get_one(Layer, test.layer_id)
    return _doubt(session, layer, (command, command.pressed_at or test.pressed_at), now, test)


def _doubt(
    session: Session,
    layer: Layer,
    pressed: tuple[TouchTestFields, datetime],
    now: datetime,
    besides: TouchTest | None = None,
) -> Doubt | None:
    is_out = layer.archived_at is not None or session.get_one(Panel, layer.panel_id).archived_at is not None
    if is_out or layer.painted_at is None or not layer.painted_at <= pressed[1] <= now + stack.LEEWAY:
        return None
    return touch_doubts.doubt_of(session, layer, pressed, now, besides)


def confirm(session: Session, actor: Actor, uid: str) -> TouchTest:
    """Keep the answer that a doubtful test is right. Raises ``Refused`` on a panel that is put away."""
    _open_layer(session, actor, uid)
    test = records.find(session, actor, TouchTest, uid, "update")
    records.refuse_archived(test, "this touch test")
    records.change(test, {"is_sure": True})
    session.flush()
    return test


def _kept(doubt: Doubt | None, command: TouchTestFields) -> dict[str, Any]:
    """What is kept of a doubt: its kind, and the answer where there was something to answer."""
    return {"doubt": "" if doubt is None else doubt.kind, "is_sure": command.is_sure and doubt is not None}


def archive(session: Session, actor: Actor, uid: str) -> TouchTest:
    """Take a test back as mistaken. Raises ``Refused`` on a panel that is put away."""
    _open_layer(session, actor, uid)
    return records.archive(session, actor, TouchTest, uid)


def restore(session: Session, actor: Actor, uid: str) -> TouchTest:
    """Let a test count again. Raises ``Refused`` when its layer is no longer painted or was painted later, and on a
    panel that is put away."""
    layer = _open_layer(session, actor, uid)
    test = records.find(session, actor, TouchTest, uid)
    if layer.painted_at is None or test.pressed_at < layer.painted_at:
        raise Refused("It no longer fits its layer, which was painted later or is only planned.")
    return records.restore(session, actor, TouchTest, uid)


def get(session: Session, actor: Actor, uid: str) -> TouchTest:
    return records.find(session, actor, TouchTest, uid)


def of_layer(session: Session, actor: Actor, layer_uid: str) -> list[TouchTest]:
    """The tests of a layer that count, oldest first."""
    layer = records.find(session, actor, Layer, layer_uid)
    return stack.tests_of(session, (layer,))


def all_open(session: Session, actor: Actor) -> list[TouchTest]:
    return records.find_all(session, actor, TouchTest)


def all_archived(session: Session, actor: Actor) -> list[TouchTest]:
    return records.find_all(session, actor, TouchTest, archived=True)


def public(_session: Session, test: TouchTest) -> TouchTestUpdate:
    """The test as the command that would leave it as it is: what an edit form starts from."""
    values: dict[str, Any] = {name: getattr(test, name) for name in TouchTestUpdate.model_fields}
    return TouchTestUpdate.model_construct(**values)


def regions_of(layer: Layer) -> tuple[str, ...]:
    """What the mixes of a painted layer are called, as it was frozen; nothing where it has only one."""
    frozen = layer.recipe_json["mixes"] if layer.recipe_json else []
    return tuple(mix["name"] for mix in frozen) if len(frozen) > 1 else ()


def _check_region(layer: Layer, region: str) -> None:
    if region and region not in regions_of(layer):
        raise Invalid.at("region", "This layer has no mix of that name. Choose one of the list.")


def _open_layer(session: Session, actor: Actor, uid: str) -> Layer:
    """The layer of a test, with its stack locked before the test itself. Raises ``Refused`` for an archived panel."""
    layer = session.get_one(Layer, records.find(session, actor, TouchTest, uid).layer_id)
    stack.around(session, layer)
    return layer


def _check(session: Session, layer: Layer, pressed_at: datetime, now: datetime) -> None:
    if layer.painted_at is None:
        raise Refused("This layer is not painted yet, so there is nothing to touch.")
    if pressed_at > now + stack.LEEWAY:
        raise Invalid.at("pressed_at", "This is still to come. Give a time up to now.")
    if pressed_at < layer.painted_at:
        painted = stack.in_words(layer.painted_at, stack.zone_of(session, layer.studio_id))
        raise Invalid.at("pressed_at", f"The layer was painted on {painted}. A test of it cannot be older.")
