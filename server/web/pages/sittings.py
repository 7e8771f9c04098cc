"""The end of a sitting: what was painted, mixes left, brushes, lids, and the rags."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import board, mixes, sitting_ends
from server.services.board.facts import LayerFact, PanelFact, Standing, TodayBoard
from server.services.board.tubes import running_low, tubes
from server.services.sitting_ends import SittingEndCreate
from server.web import standing_words
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.record_forms import Reads, save

router = APIRouter(prefix="/sittings")

RAGS_WORDS = {"spread": "spread outdoors", "water": "under water in a lidded can", "none": "none used"}
KEPT_WORDS = {"tray": "on a covered tray", "sealed": "sealed", "fridge": "in a fridge", "freezer": "in a freezer"}


@dataclass(frozen=True, slots=True)
class Row:
    """One layer that may be logged: its number in the form, and its panel; None when it is no longer planned."""

    number: int
    layer_uid: str
    version: str
    panel: PanelFact | None


class EndForm(FormPage):
    """A form whose layers are those it was filled in with, whatever was painted meanwhile."""

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        context = self.context()
        planned = {panel.coming.uid: panel for panel in context["to_log"] if panel.coming}
        rows = []
        for number in form.rows("layers"):
            name = f"layers-{number}"
            uid = form.value(f"{name}-layer_uid")
            rows.append(Row(number, uid, form.value(f"{name}-version"), planned.get(uid)))
        return page.render(self.template, {**context, "form": form, "rows": rows}, status)


@router.get("")
def index(page: Page) -> Response:
    """The last ends of sittings."""
    with page.db.read() as session:
        ended = sitting_ends.recent(session, page.actor)
        sitting = sitting_ends.open_sitting(session, page.actor, board.moment_of(page.now, page.zone))
    context = {"ended": ended, "sitting": sitting, "RAGS_WORDS": RAGS_WORDS, "KEPT_WORDS": KEPT_WORDS}
    return page.render("sittings/list.html", context)


@router.get("/end")
def form_of_end(page: Page) -> Response:
    """What was painted stands there already: what is logged, and what the plan has had today by now."""
    values: dict[str, str] = {}
    for number, panel in enumerate(_context(page)["to_log"]):
        values |= {
            f"layers-{number}-layer_uid": panel.coming.uid,
            f"layers-{number}-version": str(panel.coming.version),
            f"layers-{number}-is_painted": "true" if _was_due(panel.coming, page) else "",
        }
    return EndForm("sittings/end.html", lambda: _context(page)).show(page, FormState(values=values))


@router.post("/end")
def end(page: Page, posted: Posted) -> Response:
    def act(session: Session, command: SittingEndCreate) -> Done:
        sitting_ends.create(session, page.actor, command, page.now)
        return Done("Ended the sitting", "/")

    return save(page, posted, Reads(SittingEndCreate), EndForm("sittings/end.html", lambda: _context(page)), act)


@router.post("/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        sitting_ends.archive(session, page.actor, uid)
        return Done("Took back the end of a sitting", "/sittings")

    return change_by_button(page, posted, act, "/sittings")


@router.post("/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        sitting_ends.restore(session, page.actor, uid)
        return Done("The end of the sitting counts again", "/sittings")

    return change_by_button(page, posted, act, "/sittings")


def _was_due(coming: LayerFact, page: PageRequest) -> bool:
    """Whether a layer is planned for today and its hour, where the plan names one, has come."""
    return coming.planned_on == page.today and (coming.sitting is None or coming.sitting.start_at <= page.now)


def _context(page: PageRequest) -> Mapping[str, Any]:
    with page.db.read() as session:
        wall = board.today(session, page.actor, page.now, page.zone)
        named = [(mix.uid, mix.label) for mix in mixes.all_open(session, page.actor)]
        levels = tubes(session, page.actor, wall.moment)
    return {
        "sitting": wall.sitting,
        "to_log": _to_log(wall),
        "mixes": named,
        "tubes": sorted(((tube.uid, tube.label) for tube in levels.values()), key=lambda item: item[1].casefold()),
        "low": running_low(levels),
        "verdict_words": standing_words.VERDICT_WORDS,
        "titles": standing_words.verdict_title,
    }


def _to_log(wall: TodayBoard) -> list[PanelFact]:
    """Panels whose next layer may have gone on today: those that are ready, and those that are planned for today."""
    found = [
        panel
        for group in (Standing.READY, Standing.TEST_FIRST, Standing.STOPPED, Standing.RESTS)
        for panel in wall.groups[group]
        if panel.coming is not None and (group is Standing.READY or panel.coming.planned_on == wall.moment.today)
    ]
    return sorted(
        found, key=lambda panel: (panel.coming.planned_on != wall.moment.today if panel.coming else True, panel.title)
    )
