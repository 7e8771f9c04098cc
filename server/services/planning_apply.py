"""What was offered for a late panel, done: the records are changed as it was tried, through their own services.

Only what a plan offers can be applied. Everything happens in the caller's unit, so one undo takes all of it back.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from server.planning.schedule import options
from server.planning.schedule.calendar import Zone, windows
from server.planning.schedule.problem import Painter
from server.services import layers, mixes, panel_moves, panels, planning, records
from server.services.access import Actor
from server.services.board.plan_standing import comes_to, plan_in
from server.services.board.rows import load
from server.services.board.today import moment_at, panel_facts
from server.services.errors import Refused
from server.services.layer_commands import LayerMixPart
from server.services.mixes import MixCreate, PartRow
from server.services.plan_reading import Called, option_as_called
from server.services.planning_ahead import Changed
from server.services.planning_make import DUE
from server.services.planning_ways import DROP, PLACE, QUICKER, QUICKER_PCT, THINNER
from server.store.tables import Layer, Mix, Panel, StudioPlan

WEIGHTIER = 5.0
GONE = "This was not offered for this panel, or something changed since. Make the plan anew. Nothing was changed."


def apply(session: Session, actor: Actor, chosen: tuple[str, str, str], now: datetime, zone: ZoneInfo) -> Changed:
    """Do what a plan offers.

    ``chosen``: the plan's uid, the panel's, and the key of what was offered. Raises ``NotFound``, and ``Refused`` for
    what was not offered or does not hold any more.
    """
    plan_uid, panel_uid, key = chosen
    plan = records.find(session, actor, StudioPlan, plan_uid)
    panel = records.find(session, actor, Panel, panel_uid)
    content = plan.content_json or {}
    offered = next((p for p in content.get("panels", ()) if p["id"] == panel_uid), {"options": ()})
    if plan.archived_at is not None or key not in {o.get("key") for o in offered["options"]}:
        raise Refused(GONE)
    option = next(o for o in offered["options"] if o.get("key") == key)
    layers = session.exec(select(Layer).where(col(Layer.panel_id) == panel.id))
    names = {row.uid: Called(panel.title, row.kind, panel_uid=panel.uid) for row in layers}
    text = option_as_called(option, names, panel.uid)
    if plan.accepted_at is not None and not _is_as_tried(session, actor, offered, (now, zone)):
        raise Refused(GONE)
    kind, _, rest = key.partition(":")
    APPLY[kind](session, actor, panel, rest, (now, zone))
    session.flush()
    return Changed(
        f"{panel.title}: {text[0].lower()}{text[1:]}", content.get("settings", {}), is_chosen=True, panel=panel.uid
    )


When = tuple[datetime, ZoneInfo]


def _is_as_tried(session: Session, actor: Actor, offered: dict[str, Any], when: When) -> bool:
    """Whether a panel of the plan in use still comes to what it came to when its options were tried."""
    rows = load(session, actor)
    assert rows is not None
    moment = moment_at(*when)
    fact = next((fact for fact in panel_facts(rows, moment) if fact.uid == offered["id"]), None)
    planned = date.fromisoformat(offered["finish_on"]) if offered["finish_on"] else None
    as_it_was = comes_to(fact, planned) == (planned, offered["late_d"])
    return as_it_was and offered["id"] not in plan_in(rows, moment).changed


def _thinner(session: Session, actor: Actor, _panel: Panel, rest: str, _when: When) -> None:
    uid, _, um = rest.partition(":")
    _change_layer(session, actor, uid, {"thickness_preset": None, "wet_thickness_um": float(um)})


def _change_layer(session: Session, actor: Actor, uid: str, changes: dict[str, Any]) -> None:
    layer = records.find(session, actor, Layer, uid)
    if layer.painted_at is not None or layer.archived_at is not None:
        raise Refused(GONE)
    layers.update(session, actor, uid, layers.public(session, layer).model_copy(update=changes))


def _quicker(session: Session, actor: Actor, _panel: Panel, rest: str, _when: When) -> None:
    """The same mix with some of a quick medium or tube in it is kept under a name of its own and takes its place."""
    layer_uid, mix_uid, kind, item_uid = rest.split(":")
    mix = records.find(session, actor, Mix, mix_uid)
    stored = mixes.public(session, mix)
    whole = sum(row.parts for row in stored.parts)
    item = f"{kind}:{item_uid}"
    if any(row.item == item for row in stored.parts):
        raise Refused(GONE)
    more = PartRow(item=item, parts=whole * QUICKER_PCT / (100.0 - QUICKER_PCT))
    command = MixCreate(
        label=f"{mix.label}, quicker"[:120],
        parts=(*stored.parts, more),
        driers=stored.driers,
        clove_drops_per_10_ml=stored.clove_drops_per_10_ml,
        swatch=mix.swatch,
    )
    made = mixes.create(session, actor, command)
    layer = records.find(session, actor, Layer, layer_uid)
    given = layers.public(session, layer).mixes
    # Of several regions with the same mix, the one that holds the layer up is the first of them.
    place = next((n for n, part in enumerate(given) if part.mix_uid == mix_uid), None)
    if place is None:
        raise Refused(GONE)
    part = given[place]
    other = LayerMixPart.model_construct(mix_uid=made.uid, area_pct=part.area_pct, region=part.region or mix.label)
    _change_layer(session, actor, layer_uid, {"mixes": (*given[:place], other, *given[place + 1 :])})


def _place(session: Session, actor: Actor, panel: Panel, rest: str, _when: When) -> None:
    panel_moves.create(session, actor, panel.uid, panel_moves.MoveCreate(place_uid=rest))


def _change_panel(session: Session, actor: Actor, panel: Panel, changes: dict[str, Any]) -> None:
    panels.update(session, actor, panel.uid, panels.public(session, panel).model_copy(update=changes))


def _drop(session: Session, actor: Actor, panel: Panel, rest: str, _when: When) -> None:
    layer = records.find(session, actor, Layer, rest)
    if layer.painted_at is not None or layer.panel_id != panel.id:
        raise Refused(GONE)
    layers.archive(session, actor, rest)


def _due(session: Session, actor: Actor, panel: Panel, rest: str, _when: When) -> None:
    _change_panel(session, actor, panel, {"due_on": date.fromisoformat(rest)})


def _weightier(session: Session, actor: Actor, panel: Panel, _rest: str, _when: When) -> None:
    _change_panel(session, actor, panel, {"weight": max(WEIGHTIER, panel.weight)})


def _open_day(session: Session, actor: Actor, _panel: Panel, rest: str, when: When) -> None:
    """Work on a free day, with the hours of each painter's last working day before it."""
    on = date.fromisoformat(rest)
    rows = planning.all_open(session, actor)
    for painter in planning.painters(rows, when[0].astimezone(when[1]).date(), 0):
        for start, end in _hours_before(painter, on, when[1]):
            planning.create(
                session, actor, planning.WorkTimeCreate(painter=painter.id, on_date=on, start=start, end=end)
            )


def _hours_before(painter: Painter, on: date, zone: ZoneInfo) -> list[tuple[str, str]]:
    week = Zone(zone, on - timedelta(days=7))
    found = windows((painter,), week, 8)
    if any(w.day == 7 for w in found):
        return []
    last = max((w.day for w in found), default=None)
    return [(f"{week.instant(w.start_min):%H:%M}", f"{week.instant(w.end_min):%H:%M}") for w in found if w.day == last]


Apply = Callable[[Session, Actor, Panel, str, When], None]
APPLY: dict[str, Apply] = {
    THINNER: _thinner,
    QUICKER: _quicker,
    PLACE: _place,
    DROP: _drop,
    DUE.rstrip(":"): _due,
    options.WAIT: _weightier,
    options.DAY.rstrip(":"): _open_day,
}
