"""What a link lets be seen of a studio's facts: everything else is taken out before a page words anything.

The threat: a name, a note or a mix that stands in a fact and reaches a stranger by a template that prints it. Titles,
kinds of layers, days and odds are what a link is for; the rest is there only where it was ticked.
"""

from dataclasses import replace

from server.services.board.calendar_facts import CalendarBoard, CalendarRow
from server.services.board.facts import (
    ClosingFact,
    LayerFact,
    PanelBoard,
    PanelFact,
    PlanHolds,
    RegionFact,
    StepFact,
    TodayBoard,
)
from server.services.plan_reading import PlannedSitting
from server.services.share_access import OpenLink


def today_of(found: TodayBoard, link: OpenLink) -> TodayBoard:
    """The board as the link may see it: its panels alone, veiled."""
    groups = {
        standing: tuple(panel_of(panel, link) for panel in panels if link.shows_panel(panel.uid))
        for standing, panels in found.groups.items()
    }
    at_risk = tuple(panel_of(panel, link) for panel in found.at_risk if link.shows_panel(panel.uid))
    has_panels = any(groups.values())
    seen = [sitting for sitting in found.planned if link.shows_panel(sitting.panel_uid)]
    return replace(
        found,
        groups=groups,
        at_risk=at_risk,
        has_panels=has_panels,
        sitting=None,
        planned=tuple(one for sitting in seen if (one := _sitting_of(sitting, link)) is not None),
        next_planned=None,
        holds=PlanHolds(),
    )


def calendar_of(found: CalendarBoard, link: OpenLink) -> CalendarBoard:
    """The same of the calendar."""
    rows = tuple(row_of(row, link) for row in found.rows if link.shows_panel(row.panel.uid))
    return replace(found, rows=rows)


def row_of(row: CalendarRow, link: OpenLink) -> CalendarRow:
    layers = tuple(
        replace(layer, uid=link.ref(layer.uid), sitting=_sitting_of(layer.sitting, link)) for layer in row.layers
    )
    return CalendarRow(panel_of(row.panel, link), layers)


def panel_of(panel: PanelFact, link: OpenLink) -> PanelFact:
    """A panel without its place, without what the rules say of the next layer, and without what was not ticked."""
    due = panel.due
    if due is not None and "names" not in link.shows:
        due = replace(due, due_for="")  # whom it is due for is a name, most often
    return replace(
        panel,
        uid=link.ref(panel.uid),
        place="",
        verdict=None,
        lightly=None,
        due=due,
        broken=(),
        plan_stops=(),
        stop=None if panel.stop is None else replace(panel.stop, rule="", title=""),
        top=None if panel.top is None else layer_of(panel.top, link),
        coming=None if panel.coming is None else layer_of(panel.coming, link),
        closing=None if panel.closing is None else _closing_of(panel.closing, link),
    )


def layer_of(layer: LayerFact, link: OpenLink) -> LayerFact:
    has_mixes, has_notes = "mixes" in link.shows, "notes" in link.shows
    tests = tuple(test if has_notes else replace(test, note="", place_on_panel="") for test in layer.tests)
    return replace(
        layer,
        uid=link.ref(layer.uid),
        notes=layer.notes if has_notes else "",
        tests=tests,
        over=None,
        sitting=_sitting_of(layer.sitting, link),
        holds_up=layer.holds_up if has_mixes else None,
        regions=layer.regions if has_mixes else tuple(_unnamed(region) for region in layer.regions),
    )


def _sitting_of(sitting: PlannedSitting | None, link: OpenLink) -> PlannedSitting | None:
    """A planned sitting without why it is then: the reasons name other panels."""
    if sitting is None:
        return None
    return replace(
        sitting,
        uid=link.ref(sitting.uid),
        panel_uid=link.ref(sitting.panel_uid),
        painter=sitting.painter if "names" in link.shows else "",
        palette=sitting.palette if "mixes" in link.shows else None,
        why="",
        why_of=None,
        broken=None
        if sitting.broken is None
        else replace(sitting.broken, rule="", below="", takes_min=0, has_min=0, can_mend=False),
    )


def _unnamed(region: RegionFact) -> RegionFact:
    """Its colour, its part of the area and how thick its film is: the cross-section is drawn with these."""
    return replace(region, name="", mix_uid="", mix_label="", ml=0.0, stages={}, holds_up=False)


def _closing_of(closing: ClosingFact, link: OpenLink) -> ClosingFact:
    has_notes = "notes" in link.shows
    steps = tuple(replace(step, override_reason="", note=step.note if has_notes else "") for step in closing.steps)
    tests = tuple(test if has_notes else replace(test, note="", place_on_panel="") for test in closing.tests)
    return replace(closing, steps=steps, tests=tests)


def board_of(board: PanelBoard, link: OpenLink) -> PanelBoard:
    """One panel's page as the link may see it."""
    return replace(
        board,
        panel=panel_of(board.panel, link),
        layers=tuple(layer_of(layer, link) for layer in board.layers),
        notes=board.notes if "notes" in link.shows else "",
        place_uid="",
    )


def steps_done(closing: ClosingFact | None) -> tuple[StepFact, ...]:
    """What was done of the finish, the earliest first."""
    return tuple(reversed(closing.done)) if closing else ()
