"""A studio with a large plan, put together without a search: so many panels in turn, a sitting on every working day."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from server.services import layers, panels, planning_plans
from server.services.planning import WorkTimeCreate, create
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("Europe/Prague")
A_DAY = 2  # sittings
LATE, RISKY = 0, 1  # the panels that are late, and at risk
FIRST = NOW.date()
SETTINGS = {"easels": None, "rack_places": None, "mix_setup_min": 0}


def day_of(number: int) -> date:
    """The working day of the sitting of that number, counted from today."""
    on = FIRST
    for _ in range(number // A_DAY):
        on += timedelta(days=3 if on.weekday() == 4 else 1)
    return on


def fill(bench: Bench, hung: int = 40, each: int = 3) -> list[dict[str, Any]]:
    """Panels with layers to come and hours to paint; the sittings of a plan of them, as plans are stored. Each is
    called “coat” and its number."""
    sittings = []
    with bench.unit("Hung panels") as work:
        painter = WorkTimeCreate(painter="Mornings", weekdays="12345", start="09:00", end="12:30")
        create(work.session, bench.actor, painter)
        due = {LATE: FIRST + timedelta(days=9), RISKY: FIRST + timedelta(days=300)}
        made = [
            panels.create(
                work.session, bench.actor, bench.panel_command(title=f"Panel {number}", due_on=due.get(number))
            )
            for number in range(hung)
        ]
        for number in range(hung * each):
            panel = made[number % hung]
            command = bench.layer_command(kind=f"coat {number}", sitting_min=60)
            layer = layers.create(work.session, bench.actor, panel.uid, command)
            sittings.append(_sitting(layer.uid, panel.uid, panel.title, number))
    return sittings


def content(sittings: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A plan as it is stored. The panel of number 0 is late, with something that would help it, that of 1 at risk."""
    titles = {sitting["panel"]: sitting["title"] for sitting in sittings}
    last = {sitting["panel"]: sitting["start_at"][:10] for sitting in sittings}
    told = [
        {"id": uid, "title": title, "finish_on": last[uid], "late_d": 0, "odds": None, "risk": None, "options": []}
        for uid, title in titles.items()
    ]
    option = {"text": "Agree on another day", "finish_on": last[told[LATE]["id"]], "saves_d": 0, "key": ""}
    told[LATE] |= {"late_d": 30, "odds": 0.0, "options": [{**option, "key": f"due:{option['finish_on']}"}]}
    told[RISKY] |= {"odds": 0.5}
    when = {"format": 2, "made_on": FIRST.isoformat()}
    return {**when, "sittings": sittings, "panels": told, "settings": SETTINGS, **more}


def propose(bench: Bench, made: Mapping[str, Any], *, taken: bool) -> str:
    """The plan of that content, in use or to look at; its uid."""
    with bench.unit("Made a plan") as work:
        uid = planning_plans.propose(work.session, bench.actor, dict(made)).uid
    if taken:
        with bench.unit("Took the plan") as work:
            planning_plans.accept(work.session, bench.actor, uid)
    return uid


def moved(sittings: list[dict[str, Any]], by: int) -> list[dict[str, Any]]:
    """The same in another order: each where the one so many places further on was."""
    times = ("start_at", "end_at", "may_slip_to")
    return [one | {name: sittings[(n + by) % len(sittings)][name] for name in times} for n, one in enumerate(sittings)]


def _sitting(uid: str, panel: str, title: str, number: int) -> dict[str, Any]:
    start = datetime.combine(day_of(number), time(9 + number % A_DAY), ZONE)
    end = start + timedelta(hours=1)
    told = {"id": uid, "panel": panel, "title": title, "kind": f"coat {number}", "painter": "Mornings"}
    why = {"why": "the first working time there is", "may_slip_to": end.isoformat(), "palette": None, "set_up_min": 0}
    caution = {"cautions": [{"title": "Old or glossy film", "rule": "R14"}]}
    return told | why | caution | {"start_at": start.isoformat(), "end_at": end.isoformat(), "pinned": False}
