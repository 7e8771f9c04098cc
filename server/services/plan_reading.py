"""The plan in use as its readers take it: which sitting stands when, and why. One reading for every screen and feed."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from hashlib import sha256
from operator import attrgetter
from typing import Any, Literal, NamedTuple

from sqlalchemy import String, cast, select
from sqlmodel import Session, col

from server.planning.schedule.problem import FLOW_PRICE, SET_UP_PRICE
from server.services.kept import Kept
from server.services.plan_texts import KeptText, kept_text, layer_words
from server.store.tables import Name, StudioPlan

Mixed = Mapping[tuple[str, str, date], datetime]  # a palette in somebody's hands on a day: the first sitting with it
SHARED_BEFORE_D = SET_UP_PRICE / FLOW_PRICE  # for so long panels waited in plans from before studios could say


@dataclass(frozen=True, slots=True)
class BrokenSitting:
    """Why a sitting of the plan in use holds no more: its day is over, its layer is not ready then (but only
    ``ready_from``), its painter's hours, as they are now, have no room for it, ``rule`` stops it then, or the layer
    ``below`` that it waits for, with its mixing it ``takes_min`` by now, where it ``has_min``, or it was planned by the
    clock of another time zone. Not ``can_mend``: it is told to somebody who does not plan.
    """

    why: Literal["missed", "not_ready", "off_hours", "stopped", "short", "other_clock"]
    ready_from: date | None = None
    rule: str = ""
    below: str = ""
    takes_min: int = 0
    has_min: int = 0
    can_mend: bool = True


@dataclass(frozen=True, slots=True)
class PlannedSitting:
    """A sitting of the plan in use; ``uid`` is its layer's. Instants are in the studio's zone as it was then.

    The ``mixing_min`` minutes before ``start_at`` go into mixing the palette; 0: it is mixed already that day, or there
    is none. ``why`` it is not sooner; ``slip_to`` is the latest start that harms nothing while all else stays.
    ``cautions``: what the rules caution against on that day, as title and number, when the plan was made. ``broken``:
    why it holds no more, where the boards tell of it. ``why_of``: what ``why`` is told from where it names others.
    """

    uid: str
    panel_uid: str
    title: str
    kind: str
    painter: str
    start_at: datetime
    end_at: datetime
    palette: str | None
    mixing_min: int
    why: str
    slip_to: datetime
    pinned: bool
    cautions: tuple[str, ...] = ()
    broken: BrokenSitting | None = None
    why_of: KeptText | None = None

    @property
    def on(self) -> date:
        return self.start_at.date()

    def __reduce__(self) -> tuple[Any, ...]:
        return PlannedSitting, _values(self)  # searches are sent thousands of them: the usual way takes twice as long


_values = attrgetter(*(one.name for one in fields(PlannedSitting)))


@dataclass(frozen=True, slots=True)
class PlanRisk:
    """What a plan makes of a panel's date: the days it can leave, at p10, p50 and p90, and what costs most of its odds.

    ``wait``: "drying" of the layer named ``weakest``, "release" of the one that is on, "final" after the last one; both
    "" where no wait stands out.
    """

    low_on: date
    central_on: date
    high_on: date
    wait: str
    weakest: str


@dataclass(frozen=True, slots=True)
class Rest:
    """For how many days, in whatever climate, the layer below lies before the next goes on, and for which rule.

    ``is_stop``: sooner, the rule would stop it; else there would be a caution that the wait spares.
    """

    days: float
    rule: str
    title: str
    is_stop: bool = False


@dataclass(frozen=True, slots=True)
class PlanInUse:
    """The plan that was taken last: ``made_on`` its day, ``sittings`` by layer in the order of their times.

    ``format``: of what is stored; plans from before it was counted have 1. ``panels``: the uids of those that it holds
    or names as left out; ``left_out`` of the latter, with the versions of their layers to come as they were then, where
    that was kept. ``unplaced``: the layers that found no day. ``rests``: what the rules ask below a layer, by that
    layer. ``releases``: by panel, the day from which it counted on what lies there. ``follows``: its reasons are
    not told yet. ``mixed``: when each palette is first used on each day.
    """

    uid: str
    version: int
    made_on: date
    sittings: Mapping[str, PlannedSitting]
    settings: Mapping[str, Any]
    format: int = 1
    panels: frozenset[str] = frozenset()
    rests: Mapping[str, Rest] = field(default_factory=dict)
    releases: Mapping[str, date] = field(default_factory=dict)
    left_out: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    unplaced: frozenset[str] = frozenset()
    follows: bool = False
    mixed: Mixed = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        found: dict[tuple[str, str, date], datetime] = {}
        for one in self.sittings.values():
            key = (one.palette or "", one.painter, one.on)
            found[key] = min(one.start_at, found.get(key, one.start_at))
        object.__setattr__(self, "mixed", found)

    def __reduce__(self) -> tuple[Any, ...]:
        return PlanInUse, tuple(getattr(self, one.name) for one in fields(self) if one.init)  # ``mixed`` is read off it

    def lacks(self, panel_uid: str, to_come: Mapping[str, int], *, is_stopped: bool) -> bool:
        """Whether it would hold more of a panel if it were set right: ``to_come`` has its layers to come as they are
        now, with their versions; ``is_stopped``: a rule stops one of them for good."""
        if panel_uid not in self.panels:
            return bool(to_come)
        if panel_uid in self.left_out:
            then = self.left_out[panel_uid]
            return bool(then and to_come) and not is_stopped and dict(then) != dict(to_come)
        return any(uid not in self.sittings and uid not in self.unplaced for uid in to_come)


FOLLOWS = "follows"  # in a plan as it is stored: what is told of its sittings and panels is worked out yet
_READ: "Kept[PlanInUse]" = Kept(64)


def in_use(session: Session, studio_id: int) -> PlanInUse | None:
    """The plan in use of a studio, in one query; None where none was taken."""
    names = (col(StudioPlan.uid), col(StudioPlan.version), col(StudioPlan.created_at))
    query = (
        select(*names, cast(col(StudioPlan.content_json), String).label("content_text"))
        .where(
            col(StudioPlan.studio_id) == studio_id,
            col(StudioPlan.archived_at).is_(None),
            col(StudioPlan.accepted_at).is_not(None),
        )
        .order_by(col(StudioPlan.id).desc())
        .limit(1)
    )
    row = session.execute(query).first()
    if row is None or not row.content_text:
        return None
    key = (row.uid, row.version, row.created_at, sha256(row.content_text.encode()).digest())
    found = _READ.get(key)
    if found is None:
        content = json.loads(row.content_text)
        if not content:
            return None
        found = as_in_use(_Stored(row.uid, row.version, content, row.created_at))
        _READ.keep({key: found})
    return found


class _Stored(NamedTuple):
    uid: str
    version: int
    content_json: Mapping[str, Any]
    created_at: datetime


def is_following(session: Session, uid: str) -> bool:
    """Whether what is told of a plan is still to come, as it is stored now."""
    text = cast(col(StudioPlan.content_json), String)
    query = select(col(StudioPlan.id)).where(col(StudioPlan.uid) == uid, text.contains(f'"{FOLLOWS}": true'))
    return session.execute(query).first() is not None


def waits(session: Session, studio_id: int) -> bool:
    """Whether a plan waits to be taken or left."""
    query = select(col(StudioPlan.id)).where(
        col(StudioPlan.studio_id) == studio_id,
        col(StudioPlan.archived_at).is_(None),
        col(StudioPlan.accepted_at).is_(None),
    )
    return session.execute(query.limit(1)).first() is not None


def as_in_use(row: Any) -> PlanInUse:
    """A plan that has content, as it is stored, read as the one in use: ``uid``, ``version``, ``content_json`` and
    ``created_at`` are asked of it."""
    content = row.content_json
    made_on = date.fromisoformat(content["made_on"]) if "made_on" in content else row.created_at.date()
    sittings = {sitting.uid: sitting for sitting in sittings_of(content)}
    panels = [one["id"] for one in content.get("panels", ())] + [one["uid"] for one in content.get("left_out", ())]
    return PlanInUse(
        row.uid,
        row.version,
        made_on,
        sittings,
        content.get("settings", {}),
        int(content.get("format", 1)),
        frozenset(panels),
        {one["id"]: Rest(**one["rest"]) for one in content.get("sittings", ()) if one.get("rest")},
        {
            one["id"]: date.fromisoformat(one["release_on"])
            for one in content.get("panels", ())
            if one.get("release_on")
        },
        {
            one["uid"]: {layer["id"]: layer["version"] for layer in one.get("layers", ())}
            for one in content.get("left_out", ())
        },
        frozenset(one["sitting"] for one in content.get("unplaced", ())),
        bool(content.get(FOLLOWS)),
    )


class Called(NamedTuple):
    """What the panel and the layer of a sitting are called, and what is mixed for it, as they are now. A panel by
    itself has no ``kind``."""

    title: str
    kind: str = ""
    palette: str | None = None
    panel_uid: str = ""


def as_called(sitting: PlannedSitting, names: Mapping[str, Called]) -> PlannedSitting:
    """A sitting under the names of now, where they are known; as it was planned otherwise."""
    why = text_as_called(sitting.why_of, sitting.why, names, sitting.panel_uid)
    found = names.get(sitting.uid)
    stored = (sitting.title, sitting.kind, sitting.palette)
    if found is None or stored == (found.title, found.kind, found.palette):
        return sitting if why == sitting.why else replace(sitting, why=why)
    return replace(sitting, title=Name(found.title), kind=found.kind, palette=_name(found.palette), why=why)


def text_as_called(kept: KeptText | None, text: str, names: Mapping[str, Called], own: str) -> str:
    """A text of a plan about the panel ``own`` under the names of now; as it is where it names nothing."""

    def name(uid: str) -> str | None:
        found = names.get(uid)
        if found is None:
            return None
        return layer_words(found.kind, found.panel_uid, found.title, own) if found.kind else f"“{found.title}”"

    if kept is None or all(name(uid) in (then, None) for uid, then in kept.then):
        return text
    return kept.told(name)


def option_as_called(stored: Mapping[str, Any], names: Mapping[str, Called], own: str) -> str:
    """What would help the panel ``own``, under the names of now."""
    return text_as_called(kept_text(stored.get("text_of")), stored["text"], names, own)


def content_as_called(content: Mapping[str, Any], names: Mapping[str, Called]) -> dict[str, Any]:
    """What is stored of a plan beside its sittings, under the names of now."""

    def panel(one: Mapping[str, Any], uid: str) -> dict[str, Any]:
        called = {**one, "title": Name(names[uid].title if uid in names else one["title"])}
        options = [{**each, "text": option_as_called(each, names, uid)} for each in one.get("options", ())]
        return called | {"options": options} if options else called

    def layer(one: Mapping[str, Any], uid: str) -> dict[str, Any]:
        found = names.get(uid)
        return dict(one) if found is None else {**one, "title": Name(found.title), "kind": found.kind}

    def unplaced(one: Mapping[str, Any]) -> dict[str, Any]:
        uid = one["sitting"]
        own = names[uid].panel_uid if uid in names else ""
        reason = text_as_called(kept_text(one.get("reason_of")), one["reason"], names, own)
        return {**layer(one, uid), "reason": reason}

    return {
        **content,
        "panels": [panel(one, one["id"]) for one in content.get("panels", ())],
        "left_out": [panel(one, one["uid"]) for one in content.get("left_out", ())],
        "unplaced": [unplaced(one) for one in content.get("unplaced", ())],
        **{name: [layer(one, one["id"]) for one in content.get(name, ())] for name in ("let_go", "held")},
    }


def share_wait_of(content: Mapping[str, Any]) -> float:
    """For how many days a panel could wait to share a mix in a plan as it is stored."""
    return float(content.get("share_wait_d", SHARED_BEFORE_D))


def _name(palette: str | None) -> Name | None:
    return None if palette is None else Name(palette)


def sittings_of(content: Mapping[str, Any]) -> list[PlannedSitting]:
    """The sittings of a plan as it is stored, by their times."""
    told: Sequence[Mapping[str, Any]] = content.get("sittings", ())
    return sorted((_sitting(one) for one in told), key=lambda one: (one.start_at, one.title))


def _sitting(told: Mapping[str, Any]) -> PlannedSitting:
    return PlannedSitting(
        uid=told["id"],
        panel_uid=told["panel"],
        title=Name(told["title"]),
        kind=told["kind"],
        painter=Name(told["painter"]),
        start_at=datetime.fromisoformat(told["start_at"]),
        end_at=datetime.fromisoformat(told["end_at"]),
        palette=_name(told["palette"]),
        mixing_min=told["set_up_min"],
        why=told["why"],
        slip_to=datetime.fromisoformat(told["may_slip_to"]),
        pinned=bool(told.get("pinned")),
        why_of=kept_text(told.get("why_of")),
        cautions=tuple(f"{one['title']} ({one['rule']})" for one in told.get("cautions", ())),
    )
