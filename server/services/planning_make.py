"""Work out a plan of all open panels: read the studio, search, prove, ask the rules, and try what would help.

Reading and working out are two steps, so that no session is held while a search runs. Nothing here changes a record.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.formats.calls.plan import as_json
from server.planning.schedule.explain import explained
from server.planning.schedule.odds import odds_of
from server.planning.schedule.options import Variant
from server.planning.schedule.plan import Option, Plan
from server.planning.schedule.problem import Painter
from server.planning.schedule.repair import SEARCH_S
from server.planning.schedule.solve import Progress
from server.services import planning
from server.services.access import Actor, allow
from server.services.board.facts import Moment
from server.services.board.films import panel_layers
from server.services.board.plan_holds import ready_sooner
from server.services.board.plan_odds import risk_of
from server.services.board.plan_problem import Room, panel_job, release_chain, zone_minutes
from server.services.board.rows import StudioRows, load
from server.services.board.snapshot import snapshot
from server.services.board.spans import local_day
from server.services.board.standing import standings
from server.services.board.today import moment_at, moment_of, standing_sittings
from server.services.errors import Refused
from server.services.plan_reading import FOLLOWS
from server.services.planning_asked import Asked, Effort, Made, PlanMake
from server.services.planning_names import Names
from server.services.planning_reasons import Reasons
from server.services.planning_rules import Slips, first_stop
from server.services.planning_since import PINNED_BEFORE
from server.services.planning_sound import sound
from server.services.planning_ways import OnShelf, PanelWay, on_shelf, panel_ways
from server.services.search_pool import SEARCHES, Ears, Kind
from server.store.db import Database

QUICK_S = SEARCH_S
FORMAT = 2
MOST_LATE = 12  # panels whose options are tried, the costliest first
NOON = 12
DUE = "due:"
ANEW = "anew"  # in a plan as it is stored: everything could move
OF_SITTINGS, OF_PANELS = ("why", "why_of", "binding", "may_slip_to"), ("odds", "risk", "options")


def read(session: Session, actor: Actor, command: PlanMake, now: datetime, zone: ZoneInfo) -> Asked:
    """The studio as a plan wants it. Raises ``Refused`` without working hours and without a place."""
    return read_from(session, actor, command, moment_of(now, zone), snapshot(session, actor).rows)


def read_changed(session: Session, actor: Actor, command: PlanMake, now: datetime, zone: ZoneInfo) -> Asked:
    """The same with what this very session changed and nobody else sees yet: none of it is kept for others."""
    return reading_changed(session, actor, command, now, zone).asked()


def reading_changed(session: Session, actor: Actor, command: PlanMake, now: datetime, zone: ZoneInfo) -> "Reading":
    """The same before it is found where the panels stand."""
    rows = load(session, actor)
    assert rows is not None
    return reading_from(session, actor, command, moment_at(now, zone), rows)


def read_from(session: Session, actor: Actor, command: PlanMake, moment: Moment, board: StudioRows) -> Asked:
    """The same from rows that were read already."""
    return reading_from(session, actor, command, moment, board).asked()


def reading_from(session: Session, actor: Actor, command: PlanMake, moment: Moment, board: StudioRows) -> "Reading":
    """That before it is found where the panels stand."""
    allow(actor, "read", None)
    hours = planning.all_open(session, actor)
    if not any(row.painter != planning.EVERYBODY for row in hours):
        raise Refused("Nobody has working hours yet. Say first when you paint.")
    if not board.places:
        raise Refused("Say first where panels dry: a plan needs a place with its climate.")
    painters = planning.painters(hours, moment.on, zone_minutes(moment.at, moment.zone))
    return Reading(board, moment, painters, on_shelf(session, actor), command)


@dataclass(frozen=True, slots=True)
class Reading:
    """What is read of a studio for a plan. Where its panels stand may be found elsewhere: it needs no session."""

    board: StudioRows
    moment: Moment
    painters: tuple[Painter, ...]
    shelf: OnShelf
    command: PlanMake

    def asked(self) -> Asked:
        board, moment, command = self.board, self.moment, self.command
        standing = standing_sittings(board)
        found = standings(board, panel_layers(board, moment), moment)
        sooner = ready_sooner(board, found, moment)
        kept = [s for s in standing if s.pinned or s.on == moment.on or not (command.anew or s.panel_uid in sooner)]
        room = Room(
            painters=self.painters,
            easels=command.easels,
            rack_places=command.rack_places,
            set_up_min=command.mix_setup_min,
            stood={s.uid: (s.start_at, s.painter) for s in kept},
            pinned=frozenset(s.uid for s in kept if s.pinned),
            is_repair=bool(standing) and not command.anew,
        )
        return Asked(board, moment, room, found, self.shelf, command)


def work_out(asked: Asked, effort: Effort | None = None) -> dict[str, Any]:
    """A plan as it is stored. Raises ``Refused`` when it does not stand up to the checker or to the rules."""
    return content_of(sound(asked, effort or Effort()), asked)


def make(db: Database, actor: Actor, command: PlanMake, now: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """Read, and have it worked out in a search process. Nothing is locked meanwhile."""
    with db.read() as session:
        asked = read(session, actor, command, now, zone)
    return worked_out_apart(asked, Effort())


def worked_out_apart(asked: Asked, effort: Effort, kind: Kind = "quick", ears: Ears | None = None) -> dict[str, Any]:
    """`work_out` in a search process. No session is to be held meanwhile."""
    found: dict[str, Any] = SEARCHES.run(work_out_told, asked, effort, kind=kind, ears=ears)
    return found


def work_out_told(asked: Asked, effort: Effort, told: Callable[[Progress], bool]) -> dict[str, Any]:
    """`work_out` as a search process does it."""
    return work_out(asked, replace(effort, told=told))


# What would help a late panel


def with_options(made: Made, asked: Asked) -> Plan:
    """The plan with its reasons, and for late panels what was tried and helps, as changes that can be applied."""
    late = sorted((p for p in made.plan.panels if p.late_d and p.finish_on), key=lambda p: -p.late_d)[:MOST_LATE]
    slips = Slips(made.said, asked.moment)
    if not late:
        return explained(made.bench, may_be=slips)
    found = {standing.layers.panel.uid: standing for standing in asked.found}
    ways = {p.id: panel_ways(found[p.id], asked.board, asked.moment, asked.shelf) for p in late}
    jobs = {uid: [_variant(way, asked, made) for way in some] for uid, some in ways.items()}
    variants = {uid: [one for one in some if one is not None] for uid, some in jobs.items()}
    plan = explained(made.bench, variants=variants, may_be=slips)
    by_key = {uid: {way.key: way for way in some} for uid, some in ways.items()}
    panels = tuple(
        replace(p, options=tuple(o for o in p.options if _passes(o, by_key.get(p.id, {}), asked))) for p in plan.panels
    )
    return replace(plan, panels=panels)


def _variant(way: PanelWay, asked: Asked, made: Made) -> Variant | None:
    [standing] = standings(way.rows, panel_layers(way.rows, asked.moment), asked.moment)
    terms = (made.asked.confidence, replace(made.extra, left_out={}))
    job = panel_job(standing, way.rows, asked.moment, terms)
    return None if job is None else Variant(way.key, way.text, job)


def _passes(option: Option, ways: Mapping[str, PanelWay], asked: Asked) -> bool:
    """Whether the rules let the panel pass as the option would have it, on the days it was tried on."""
    way = ways.get(option.key)
    if way is None:
        return True
    [standing] = standings(way.rows, panel_layers(way.rows, asked.moment), asked.moment)
    noon = {
        uid: datetime(on.year, on.month, on.day, NOON, tzinfo=asked.moment.zone).astimezone(timezone.utc)
        + timedelta(minutes=n)
        for n, (uid, on) in enumerate(option.starts)
    }
    return first_stop(standing, way.rows, asked.moment, noon) is None


# As it is stored


def content_of(made: Made, asked: Asked) -> dict[str, Any]:
    """The plan with its reasons, odds, and what would help."""
    names = Names(asked.board)
    plan = with_options(made, asked)
    content = _plain(made, asked, names, plan)
    risks, reasons = _risks(made, asked), Reasons(made, asked)
    for sitting in content["sittings"]:
        told, own = reasons.told(sitting), sitting["panel"]
        sitting["why"], sitting["why_of"] = names.in_words(told, own), names.to_keep(told, own)
    for panel, planned in zip(content["panels"], plan.panels, strict=True):
        panel.update(risks.get(panel["id"], {}))
        for option, found in zip(panel["options"], planned.options, strict=True):
            told, own = option["text"], panel["id"]
            option["text"], option["text_of"] = names.in_words(told, own), names.to_keep(told, own)
            option["key"] = found.key
        if planned.late_d and planned.finish_on is not None:
            panel["options"].append(_later(planned.finish_on))
    return content


def first_content_of(made: Made, asked: Asked) -> dict[str, Any]:
    """The plan as it can be kept before its reasons, odds, and what would help are worked out."""
    return {**_plain(made, asked, Names(asked.board), made.plan), FOLLOWS: True}


def with_what_follows(first: Mapping[str, Any], whole: Mapping[str, Any]) -> dict[str, Any]:
    """A plan that was kept first, whatever became of it since, with what was worked out after."""
    sittings, panels = ({one["id"]: one for one in whole[name]} for name in ("sittings", "panels"))
    content = {name: value for name, value in first.items() if name != FOLLOWS}
    content["sittings"] = [_taking(one, sittings[one["id"]], OF_SITTINGS) for one in first["sittings"]]
    content["panels"] = [_taking(one, panels[one["id"]], OF_PANELS) for one in first["panels"]]
    return content


def _taking(one: Mapping[str, Any], other: Mapping[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {**one, **{name: other[name] for name in names if name in other}}


def _plain(made: Made, asked: Asked, names: Names, plan: Plan) -> dict[str, Any]:
    """What is stored of a plan but for what takes long to be worked out."""
    titles, kinds = names.titles, names.kinds
    told = as_json(plan)
    cautions, pinned = made.cautions(), asked.room.pinned - made.let_go
    used = asked.board.plan
    releases = {panel.id: panel.release_on.isoformat() if panel.release_on else None for panel in made.asked.panels}
    for sitting in told["sittings"]:
        sitting["title"], sitting["kind"] = titles[sitting["panel"]], kinds[sitting["id"]]
        sitting["why"] = ""
        rest = made.extra.rests.get(sitting["id"])
        sitting["rest"] = asdict(rest) if rest else None
        sitting["cautions"] = [{"rule": one.rule, "title": one.title} for one in cautions.get(sitting["id"], ())]
        sitting["pinned"] = sitting["id"] in pinned
    for panel in told["panels"]:
        panel["title"] = titles[panel["id"]]
        panel["release_on"] = releases[panel["id"]]
    for unplaced in told["unplaced"]:
        own = names.panels[unplaced["sitting"]]
        unplaced["kind"], unplaced["title"] = kinds[unplaced["sitting"]], titles.get(own, "")
        told_why = unplaced["reason"]
        unplaced["reason"], unplaced["reason_of"] = names.in_words(told_why, own), names.to_keep(told_why, own)
    return {
        **told,
        "format": FORMAT,
        PINNED_BEFORE: sorted(one.uid for one in used.sittings.values() if one.pinned) if used is not None else [],
        "made_on": asked.moment.on.isoformat(),
        "settings": asked.command.model_dump(exclude={"anew"}),
        ANEW: asked.command.anew,
        "share_wait_d": asked.board.studio.share_wait_d,
        "let_go": [names.of_sitting(uid) for uid in sorted(made.let_go)],
        "held": [{**names.of_sitting(uid), **held} for uid, held in sorted(_held(made, asked.moment.zone).items())],
        "left_out": [
            {"title": titles[uid], "uid": uid, "reason": reason, "layers": _versions(uid, asked)}
            for uid, reason in made.extra.left_out.items()
        ],
    }


def _versions(panel_uid: str, asked: Asked) -> list[dict[str, Any]]:
    """The layers to come of a panel, with their versions."""
    [standing] = [one for one in asked.found if one.layers.panel.uid == panel_uid]
    return [{"id": layer.row.uid, "version": layer.row.version} for layer in standing.layers.to_come]


def _held(made: Made, zone: ZoneInfo) -> dict[str, dict[str, str | None]]:
    """What does not hold of pinned sittings that stay, by the kind of the checker's fault; of two the upper one.
    ``ready_on``: where that is a later day than its own, the one from which its panel was counted on."""
    release = {panel.id: panel.release_on for panel in made.asked.panels}
    placed = {one.id: one for one in made.plan.sittings}
    found = {}
    for fault in reversed(made.held):
        one = placed[fault.sittings[-1]]
        ready_on = release[one.panel]
        is_later = ready_on is not None and ready_on > local_day(one.start_at, zone)
        found[one.id] = {"why": fault.kind, "ready_on": ready_on.isoformat() if ready_on and is_later else None}
    return found


def _risks(made: Made, asked: Asked) -> dict[str, dict[str, Any]]:
    """The odds of each panel's date by this plan, as they are stored with it."""
    released = {standing.layers.panel.uid: release_chain(standing, asked.moment).at_d for standing in asked.found}
    standing_of = {standing.layers.panel.uid: standing for standing in asked.found}
    found = odds_of(made.asked, made.plan.sittings, released)
    told = {}
    for uid, odds in found.items():
        risk = risk_of(standing_of[uid], odds)
        days = {name: getattr(risk, name).isoformat() for name in ("low_on", "central_on", "high_on")}
        told[uid] = {"odds": odds.odds, "risk": {**days, "wait": risk.wait, "weakest": risk.weakest}}
    return told


def _later(finish: date) -> dict[str, Any]:
    """To agree on the day that the plan comes to: it saves nothing, and nothing is late any more."""
    text = f"Agree on {finish.day} {finish:%B %Y} instead"
    return {"text": text, "finish_on": finish.isoformat(), "saves_d": 0, "key": f"{DUE}{finish.isoformat()}"}
