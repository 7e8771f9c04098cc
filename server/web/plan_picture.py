"""The plan that waits as a picture: which panels it shows, and where their sittings stand now and would stand then."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.formats.drawings_plan import Kind, PlanDrawing, PlannedRow, PlannedStroke, draw_plan
from server.services.board.facts import PanelFact
from server.services.plan_reading import PlannedSitting
from server.web import words
from server.web.plan_panels import PanelShown
from server.web.plan_shown import PlanShown, SittingShown

MOST_ROWS = 12
MOST_READ = 6  # sittings of a row that are read out


@dataclass(frozen=True, slots=True)
class PlanPicture:
    """``others``: so many panels more are in the plan; ``keep``: of them nothing changes. ``is_change``: against one in
    use."""

    drawing: PlanDrawing
    others: int
    keep: bool
    is_change: bool


def plan_picture(
    plan: PlanShown | None, standing: PlanShown | None, facts: Mapping[str, PanelFact], today: date
) -> PlanPicture | None:
    """The plan beside the one in use: the panels of which something changes, else all, the soonest sittings first."""
    if plan is None:
        return None
    sittings: dict[str, list[SittingShown]] = {}
    for day in plan.days:
        for one in day.sittings:
            if not one.is_painted:
                sittings.setdefault(one.plan.panel_uid, []).append(one)
    gone: dict[str, list[PlannedSitting]] = {}
    for sitting in plan.changes.gone:
        gone.setdefault(sitting.panel_uid, []).append(sitting)
    before = {panel.uid: panel for panel in standing.panels} if standing is not None else {}
    shown = [uid for uid in dict.fromkeys([*sittings, *gone]) if standing is None or _changes(uid, sittings, gone)]
    keep = standing is not None and 0 < len(shown) <= MOST_ROWS
    shown = shown or list(sittings)
    if not shown:
        return None
    after = {panel.uid: panel for panel in plan.panels}
    rows = [
        _row(_strokes(sittings.get(uid, ()), gone.get(uid, ()), today, is_change=standing is not None), named, today)
        for uid in shown[:MOST_ROWS]
        for named in [(after.get(uid), before.get(uid), facts.get(uid))]
    ]
    others = len(sittings.keys() | gone.keys()) - len(rows)
    return PlanPicture(draw_plan(rows, today), others, keep, standing is not None)


def _changes(
    uid: str, sittings: Mapping[str, Sequence[SittingShown]], gone: Mapping[str, Sequence[PlannedSitting]]
) -> bool:
    return uid in gone or any(one.before is not None or one.was is None for one in sittings.get(uid, ()))


def _strokes(
    sittings: Iterable[SittingShown], gone: Iterable[PlannedSitting], today: date, *, is_change: bool
) -> tuple[PlannedStroke, ...]:
    found = []
    for one in sittings:
        then = words.day_words(one.plan.on, today)
        kind: Kind = "stays" if one.was is not None or not is_change else "new"
        told = f"“{one.plan.kind}”: {then}"
        if one.before is not None:
            kind = "moves"
            told = f"“{one.plan.kind}”: from {words.day_words(one.before, today)} to {then}"
        was = None if one.before is None else (one.before - today).days
        found.append(PlannedStroke(kind, (one.plan.on - today).days, told, was))
    for sitting in gone:
        told = f"“{sitting.kind}”: {words.day_words(sitting.on, today)} by the plan in use, without a place in this one"
        found.append(PlannedStroke("gone", (sitting.on - today).days, told))
    return tuple(found)


def _row(
    strokes: tuple[PlannedStroke, ...],
    named: tuple[PanelShown | None, PanelShown | None, PanelFact | None],
    today: date,
) -> PlannedRow:
    after, before, fact = named
    due = fact.due.on if fact is not None and fact.due is not None else None
    title = fact.title if fact is not None else after.title if after is not None else ""
    told = "; ".join(one.words for one in strokes[:MOST_READ])
    more = len(strokes) - MOST_READ
    if more > 0:
        told = f"{told}; and {more} more"
    return PlannedRow(
        title,
        strokes,
        _finish(after, today),
        _finish(before, today),
        _away(due, today),
        f"“{title}”: {told}.",
    )


def _finish(panel: PanelShown | None, today: date) -> int | None:
    return None if panel is None or panel.is_broken else _away(panel.finish_on, today)


def _away(on: date | None, today: date) -> int | None:
    return None if on is None else (on - today).days
