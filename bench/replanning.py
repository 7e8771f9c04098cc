"""A plan set right in the app at a large studio: all that stands before the answer, against the planner alone.

The planner searches for as long as ever; what is beside it (reading, the rules, the proof, reasons, odds, what would
help) is the app's. Then what a painter waits for: from the press of the button until the page lists what changes.
"""

import tempfile
from collections.abc import Mapping
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import col, select

from bench.pages import Pages
from bench.plan import quickest
from bench.pressed import waited
from bench.timing import cpu_s, row, verdict
from server.planning.schedule import compiled, planner
from server.planning.schedule.repair import SEARCH_S
from server.planning.schedule.solve import Budget
from server.services import planning, planning_make, planning_plans
from server.services.access import Actor
from server.services.board.plan_problem import Extra, problem
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_first import LARGE
from server.services.unit import Unit, unit
from server.store.tables import Layer, Panel
from server.web.settings import data_dir

PANELS, LAYERS_EACH = 200, 7
REPEATS = 5
UTC = ZoneInfo("UTC")
STUDIOS = {"none late": (240, ("Ada", "Ben", "Cy", "Di")), "half late": (60, ("Ada", "Ben"))}


class Studio:
    """Panels with one layer on and the others to come, dates, hours, and a plan in use. ``first_d``: days to the
    first date."""

    def __init__(self, folder: str, first_d: int, painters: tuple[str, ...]) -> None:
        self.pages = Pages(folder, PANELS, LAYERS_EACH)
        self.actor = Actor("bench", 1)
        self._work_to_come(first_d, painters)
        content = planning_make.work_out(self.asked(), Effort(seconds=SEARCH_S))
        with self._unit() as work:
            uid = planning_plans.propose(work.session, self.actor, content).uid
            planning_plans.accept(work.session, self.actor, uid)
        self.waiting(content)

    def _unit(self) -> AbstractContextManager[Unit]:
        return unit(self.pages.db, self.actor, label="Filled the bench's studio", now=self.now)

    @property
    def now(self) -> datetime:
        return self.pages.now

    def _work_to_come(self, first_d: int, painters: tuple[str, ...]) -> None:
        with self._unit() as work:
            for painter in painters:
                for start, end in (("09:00", "12:30"), ("13:30", "17:30")):
                    hours = planning.WorkTimeCreate(painter=painter, weekdays="12345", start=start, end=end)
                    planning.create(work.session, self.actor, hours)
            for n, layer in enumerate(work.session.exec(select(Layer).order_by(col(Layer.id)))):
                if n % LAYERS_EACH:
                    layer.painted_at = None
            for n, panel in enumerate(work.session.exec(select(Panel).order_by(col(Panel.id)))):
                panel.due_on = (self.now + timedelta(days=first_d + n * 37 % 300)).date()

    def asked(self) -> Asked:
        with self.pages.db.read() as session:
            return planning_make.read(session, self.actor, PlanMake(), self.now, UTC)

    def set_right(self) -> None:
        planning_make.work_out(self.asked(), Effort(seconds=SEARCH_S))

    def plan_alone(self) -> None:
        asked = self.asked()
        question = problem(asked.found, asked.board, asked.moment, asked.room, Extra())
        planner.plan(question, compiled.current(), Budget(seconds=SEARCH_S))

    def waiting(self, content: Mapping[str, Any]) -> None:
        """Another plan beside the one in use."""
        with self._unit() as work:
            planning_plans.propose(work.session, self.actor, dict(content))


def run() -> None:
    search = quickest()
    how = "compiled" if search.is_compiled else "plain Python"
    print(f"A plan set right in the app: {PANELS} panels, {PANELS * (LAYERS_EACH - 1)} sittings, {how} search (CPU)")
    for name, (first_d, painters) in STUDIOS.items():
        with tempfile.TemporaryDirectory() as folder:
            studio = Studio(folder, first_d, painters)
            alone, whole = cpu_s(studio.plan_alone, REPEATS), cpu_s(studio.set_right, REPEATS)
            row(f"{name}: read and searched for {SEARCH_S:g} s", f"{alone:.2f} s")
            row(f"{name}: with rules, proof, reasons, odds, options", f"{whole:.2f} s", f"{whole / alone:.1f} times")
            _pressed(studio, name)
            _page(studio, name)
            studio.pages.db.close()


def _pressed(studio: Studio, name: str) -> None:
    """What a painter waits for."""
    searched = data_dir() if compiled.current().is_compiled else None
    found = waited(studio.pages, searched, REPEATS, LARGE)
    row(f"{name}: pressed until the list of changes is seen", f"{found.seen_cpu:.2f} s", verdict(found.seen_cpu, 0.5))
    row(f"{name}: the same by the clock", f"{found.seen:.2f} s", "with whatever else ran")
    row(f"{name}: by the clock until all of it is told", f"{found.told:.2f} s")


def _page(studio: Studio, name: str) -> None:
    """`/plan` with the plan in use and one that waits."""
    body = studio.pages.get("/plan")
    studio.pages.empty_bytes = len(body)
    warm, empty = cpu_s(lambda: studio.pages.get("/plan"), REPEATS), cpu_s(lambda: studio.pages.get("/empty"), REPEATS)
    note = f"{len(body) / 1000:,.0f} kB, {warm / empty:.1f} times an empty page of that size"
    row(f"{name}: the page with both plans, again", f"{warm * 1000:.0f} ms", note)
