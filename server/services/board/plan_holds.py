"""Whether the plan in use still holds: the one place that every page's word on it comes from."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from sqlalchemy import Row

from server.planning.schedule.calendar import Window, Zone, windows
from server.services.board.facts import Moment, PanelFact, PlanHolds, Standing
from server.services.board.plan_short import too_short
from server.services.board.rows import StudioRows
from server.services.board.standing import PanelStanding
from server.services.kept import Kept
from server.services.plan_reading import BrokenSitting, PlanInUse, PlannedSitting
from server.services.planning import painters

SLACK_MIN = 1 / 60
LEAST_SOONER = timedelta(days=2)  # that what lies there is ready before the plan counted on it; a choice of ours
OFF_HOURS: Kept[frozenset[str]] = Kept(256)


def plan_holds(rows: StudioRows, facts: Iterable[PanelFact], moment: Moment) -> PlanHolds:
    """What of the plan in use has to be set right, by panel; nothing where no plan is in use."""
    if rows.plan is None:
        return PlanHolds()
    off = _standing_off_hours(rows, moment)
    layers = {panel.uid: rows.layers.get(panel.id, ()) for panel in rows.panels}
    slipped, held, unplanned, sooner = [], [], [], []
    for fact in facts:
        if fact.standing is Standing.FINISHED:
            continue
        here = off.get(fact.uid, ())
        told = fact.uid, fact.title
        next_sitting = fact.coming.sitting if fact.coming else None
        if _counted_on_later(fact.standing, next_sitting, rows.plan, moment):
            sooner.append(told)
        is_other = any(one.why == "other_clock" for _, one in fact.broken)
        is_short = any(_short(layer, rows) is not None for layer in layers.get(fact.uid, ()))
        is_off = any(not sitting.pinned for sitting in here)
        if _is_missed(fact, moment) or fact.plan_stops or is_short or is_other or is_off:
            slipped.append(told)
        if any(sitting.pinned for sitting in here):
            held.append(told)
        to_come = {layer.uid: layer.version for layer in layers.get(fact.uid, ()) if layer.painted_at is None}
        if rows.plan.lacks(fact.uid, to_come, is_stopped=fact.stop is not None):
            unplanned.append(told)
    return PlanHolds(*(tuple(sorted(found, key=lambda told: told[1])) for found in (slipped, held, unplanned, sooner)))


def off_hours(rows: StudioRows, moment: Moment) -> frozenset[str]:
    """The layers whose sitting in the plan, today or later, is not wholly, its mixing included, within one open window
    of its painter by the hours as they are now."""
    plan = rows.plan
    if plan is None:
        return frozenset()
    key = (plan.uid, plan.version, rows.hours, moment.today, moment.zone.key)
    found = OFF_HOURS.get(key)
    if found is None:
        found = _off_hours(plan, rows, Zone(moment.zone, moment.today))
        OFF_HOURS.keep({key: found})
    return found


def _off_hours(plan: PlanInUse, rows: StudioRows, week: Zone) -> frozenset[str]:
    to_come = [(day, s) for s in plan.sittings.values() if (day := week.day_of(s.start_at)) >= 0]
    if not to_come:
        return frozenset()
    who = painters(rows.hours, week.today, 0)
    open_at: dict[tuple[str, int], list[Window]] = defaultdict(list)
    for window in windows(who, week, max(day for day, _ in to_come) + 1):
        open_at[who[window.painter].id, window.day].append(window)
    return frozenset(s.uid for day, s in to_come if not _fits(s, open_at.get((s.painter, day), ()), week))


def _fits(sitting: PlannedSitting, open_then: Iterable[Window], week: Zone) -> bool:
    begin = week.minute_of(sitting.start_at - timedelta(minutes=sitting.mixing_min)) + SLACK_MIN
    end = week.minute_of(sitting.end_at) - SLACK_MIN
    return any(window.start_min <= begin and end <= window.end_min for window in open_then)


def _is_missed(fact: PanelFact, moment: Moment) -> bool:
    """Whether the next sitting was missed, or comes before its layer is ready."""
    coming = fact.coming
    return coming is not None and coming.sitting is not None and _too_early(coming.sitting, fact, moment) is not None


def ready_sooner(rows: StudioRows, found: Iterable[PanelStanding], moment: Moment) -> frozenset[str]:
    """The panels that are ready now though the plan in use counted on that only days from now."""
    plan, sooner = rows.plan, set()
    for standing in found if plan is not None else ():
        to_come = standing.layers.to_come
        sitting = rows.sitting_of(to_come[0].row) if to_come else None
        if plan is not None and _counted_on_later(standing.standing, sitting, plan, moment):
            sooner.add(standing.layers.panel.uid)
    return frozenset(sooner)


def _counted_on_later(standing: Standing, sitting: PlannedSitting | None, plan: PlanInUse, moment: Moment) -> bool:
    """Whether a panel is ready, and its next sitting waits for a day from which the plan counted on that."""
    if standing is not Standing.READY or sitting is None or sitting.pinned or sitting.uid in plan.rests:
        return False
    counted = plan.releases.get(sitting.panel_uid)
    return counted is not None and sitting.on >= counted and counted - moment.today >= LEAST_SOONER


def _standing_off_hours(rows: StudioRows, moment: Moment) -> dict[str, list[PlannedSitting]]:
    """Sittings that still stand and do not fit the hours, by panel."""
    off = off_hours(rows, moment)
    found: dict[str, list[PlannedSitting]] = {}
    if off:
        for panel in rows.panels:
            sittings = [rows.sitting_of(layer) for layer in rows.layers.get(panel.id, ()) if layer.uid in off]
            found[panel.uid] = [sitting for sitting in sittings if sitting is not None]
    return found


def broken_sittings(rows: StudioRows, facts: Iterable[PanelFact], moment: Moment) -> dict[str, BrokenSitting]:
    """Why sittings that stand in the plan in use hold no more, by their layers; those that hold are not named."""
    off = off_hours(rows, moment)
    layers = {panel.uid: rows.layers.get(panel.id, ()) for panel in rows.panels}
    by_uid = {layer.uid: layer for some in layers.values() for layer in some}
    found: dict[str, BrokenSitting] = {}
    for fact in facts:
        if rows.plan is None or fact.standing is Standing.FINISHED:
            continue
        for sitting in filter(None, map(rows.sitting_of, layers.get(fact.uid, ()))):
            why = _too_early(sitting, fact, moment)
            if why is None and _is_by_other_clock(sitting, moment):
                why = BrokenSitting("other_clock")
            if why is None and sitting.uid in off:
                why = BrokenSitting("off_hours")
            if why is None:
                why = dict(fact.plan_stops).get(sitting.uid)
            if why is None:
                why = too_short(sitting, by_uid[sitting.uid], rows)
            if why is not None:
                found[sitting.uid] = why
    return found


def _short(layer: Row[Any], rows: StudioRows) -> BrokenSitting | None:
    sitting = rows.sitting_of(layer)
    return None if sitting is None else too_short(sitting, layer, rows)


def _is_by_other_clock(sitting: PlannedSitting, moment: Moment) -> bool:
    """Whether the studio's clock, as it is set now, shows another hour at its beginning than the one it is told by."""
    return sitting.start_at.utcoffset() != sitting.start_at.astimezone(moment.zone).utcoffset()


def _too_early(sitting: PlannedSitting, fact: PanelFact, moment: Moment) -> BrokenSitting | None:
    """Whether a sitting's day is over, or comes before its layer is ready; the latter is known of the next one."""
    if sitting.on < moment.today:
        return BrokenSitting("missed")
    coming = fact.coming
    if coming is None or coming.uid != sitting.uid or coming.planned_from is None or coming.planned_from <= sitting.on:
        return None
    return BrokenSitting("not_ready", coming.planned_from)
