"""Every page of the app as addresses that a browser can visit.

The paths are read off the routes and their ids taken from the records of a studio, so that a new page is visited
without a word here.
"""

import inspect
import itertools
import typing
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from datetime import date, datetime, timezone
from typing import Any
from zoneinfo import ZoneInfo

from fastapi.routing import APIRoute
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import (
    panel_moves,
    panels,
    places,
    planning_plans,
    planning_promise,
    quote_records,
    share_access,
    share_links,
    stack_plans,
    studios,
    thinners,
)
from server.services.access import Actor
from server.services.panel_moves import MoveCreate
from server.services.panels import PanelCreate
from server.services.planning_promise import PromiseAsk
from server.services.share_links import DETAILS, ShareLinkCreate
from server.services.thinners import ThinnerCreate
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Panel, Record, StackPlan
from server.web.pages import ROUTERS

# Pages that look different by a question in their address. A panel's page differs with every panel.
VARIANTS: Mapping[str, tuple[str, ...]] = {
    "/": ("on={later}",),
    "/calendar": ("view=year", "view=month", "view=week", "view=agenda"),
    "/panels": ("state=test", "q=nothing-is-called-so"),
    "/panels/{uid}": ("scale=log",),
    "/panels/{uid}/layers/new": ("painted=1",),
    "/panels/{uid}/finish/steps": ("action=wrap&done=1",),
    "/panels/{uid}/finish/tests": ("method=swab",),
    "/mixes": ("archived=true",),
    "/mixing": ("mix={Mix}&panel={Panel}",),
    "/plan/hours": ("add=week", "add=day", "add=away", "add=repeat", "add=holidays", "add=rule"),
    "/room": ("archived=true",),
    "/stacks": ("archived=true",),
    "/stacks/{uid}": ("panel_uid={Panel}",),
    "/shelf": ("archived=true",),
}
# Pages of what is no record: a rule with limits, one without, and one number that stands for two rules.
NO_RECORDS: Mapping[str, tuple[str, ...]] = {"/rules/{uid}": ("R01", "R20", "R23", "R35")}
FEEDS = ("/f/{token}/calendar.ics", "/f/{token}/tasks.ics")
FILES = ("/panels/{uid}/record/{kind}", "/data/archive", "/data/lists/{name}.csv", "/calendar.ics", *FEEDS)
# Machines, files, what only a shared install has: an invitation, somebody who left (tests/browser/test_people.py), and
# what would help a late panel of the plan in use, which looks as that of one that waits.
MACHINES = ("/healthz", "/worker.js", "/manifest.webmanifest")
NO_PAGES = (*FILES, *MACHINES, "/join/{token}", "/people/{uid}/purge", "/plan/panels/{panel_uid}")
EVERY_RECORD = ("/panels/{uid}",)
ENDS = 3  # of a table's records: so many of the first and of the last are asked for a page
ROUTES = {
    route.path: route
    for router in ROUTERS
    for route in router.routes
    if isinstance(route, APIRoute) and "GET" in (route.methods or ()) and route.path not in NO_PAGES
}


def paths() -> list[str]:
    """The paths of all pages, with their parameters in braces."""
    return list(ROUTES)


def addresses(base: str, db: Database, path: str, later: date, every: bool = False) -> list[str]:
    """Where the server at ``base`` shows the page at ``path``.

    One address for each word that a parameter takes, and for two records that the page is of, then its variants.
    ``later`` is another day for Today; ``every``: each panel's page, not only two.
    """
    uids = _uids(db)
    found = []
    if "{token}" in path:
        return _by_links(db, path)
    if path in MADE:
        made = path.replace("{kind}", "thinners").replace("{uid}", MADE[path](db))
        return [_of_plan(db, made) if "/plan/" in path else made]
    for words in _words(path):
        if path in NO_RECORDS:
            found += [words.replace("{uid}", uid) for uid in NO_RECORDS[path]]
            continue
        found += _of_records(base, uids, words, every and path in EVERY_RECORD) if "{uid}" in words else [words]
        assert found, f"no record of the studio has a page at {words}"
    one_each = {table: some[0] for table, some in uids.items() if some}
    return found + [f"{found[0]}?{question.format(later=later, **one_each)}" for question in VARIANTS.get(path, ())]


def _by_links(db: Database, path: str) -> list[str]:
    """The path by a link to the whole studio and by one to a single panel, made for the visit, that show everything."""
    found = []
    now = datetime.now(timezone.utc)
    with db.read() as session:
        studio_id = studios.the_studio(session).id or 0
        panel_uids = list(session.scalars(select(col(Panel.uid)).where(col(Panel.archived_at).is_(None))))
    actor = Actor("painter", studio_id)
    for scope, uids in (("studio", []), ("panel", panel_uids[:1])):
        command = ShareLinkCreate(label="Looked at", scope=scope, panel_uids=uids, shows=list(DETAILS), lasts="always")
        with unit(db, actor, label="Made a link") as work:
            _, token = share_links.create(work.session, actor, command, now, ZoneInfo("UTC"))
        with db.read() as session:
            ref = share_access.opened(session, token, "page", now).ref(panel_uids[0])
        found.append(path.replace("{token}", token).replace("{ref}", ref))
    return found


def _quoted(db: Database) -> str:
    """A quote that is asked for and kept for the visit: the commission with the first stack that has its mixes."""
    now, actor = datetime.now(timezone.utc), _painter(db)
    with db.read() as session:
        zone = ZoneInfo(studios.the_studio(session).time_zone)
        stacks = [stack.uid for stack in stack_plans.all_open(session, actor) if _has_mixes(session, stack)]
    command = PromiseAsk.model_validate(_a_panel(db) | {"stack_uid": stacks[0]})
    content = planning_promise.ask(db, actor, command, now, zone)
    with unit(db, actor, label="Worked out a date") as work:
        return quote_records.keep(work.session, actor, command, content).uid


def _painter(db: Database) -> Actor:
    with db.read() as session:
        return Actor("painter", studios.the_studio(session).id or 0)


def _a_panel(db: Database) -> dict[str, Any]:
    with db.read() as session:
        place = places.all_open(session, _painter(db))[0]
    return {"title": "Hill road", "width_cm": 40, "height_cm": 30, "place_uid": place.uid}


def _hung(db: Database) -> str:
    values = _a_panel(db) | {"support": "hardboard", "ground_kind": "acrylic", "ground_surface": "matte"}
    actor = _painter(db)
    with unit(db, actor, label="Hung a panel") as work:
        return panels.create(work.session, actor, PanelCreate.model_validate(values)).uid


def _put_away(db: Database) -> str:
    """A panel that may be purged."""
    uid, actor = _hung(db), _painter(db)
    with unit(db, actor, label="Archived a panel") as work:
        return panels.archive(work.session, actor, uid).uid


def _jar_put_away(db: Database) -> str:
    """Something of the shelf that may be purged."""
    actor = _painter(db)
    with unit(db, actor, label="Archived a jar") as work:
        jar = thinners.create(work.session, actor, ThinnerCreate(label="A jar", solvent="gum_turpentine"))
        return thinners.archive(work.session, actor, jar.uid).uid


def _moved(db: Database) -> str:
    """A panel's move to another place."""
    uid, actor = _hung(db), _painter(db)
    with db.read() as session:
        other = places.all_open(session, actor)[-1].uid
    with unit(db, actor, label="Moved a panel") as work:
        return panel_moves.create(work.session, actor, uid, MoveCreate(place_uid=other)).uid


def _has_mixes(session: Session, stack: StackPlan) -> bool:
    """Whether every layer of the stack has its mix."""
    return all(layer.mix_id is not None for layer in stack_plans.layers_of(session, stack))


def _linked(db: Database) -> str:
    """A link that may be changed; its uid."""
    actor, now = _painter(db), datetime.now(timezone.utc)
    with unit(db, actor, label="Made a link to look at") as work:
        link, _ = share_links.create(work.session, actor, ShareLinkCreate(label="To change"), now, ZoneInfo("UTC"))
        return link.uid


def _plan_in_use(db: Database) -> dict[str, Any]:
    """As it is stored."""
    with db.read() as session:
        in_use = planning_plans.in_use(session, _painter(db))
        assert in_use is not None and in_use.content_json is not None
        return in_use.content_json


def _waiting(db: Database) -> str:
    """A plan to look at, the one in use once more with something that would help its first panel; its uid."""
    with db.read() as session:
        waiting = planning_plans.waiting(session, _painter(db))
        if waiting is not None:
            return waiting.uid
    content = _plan_in_use(db)
    first, *rest = content["panels"]
    helped = {"text": "Paint on Saturday", "finish_on": first["finish_on"], "saves_d": 2, "key": ""}
    with unit(db, _painter(db), label="Made a plan to look at") as work:
        changed = {**content, "panels": [{**first, "options": [helped]}, *rest]}
        return planning_plans.propose(work.session, _painter(db), changed).uid


def _of_plan(db: Database, path: str) -> str:
    """The path with the last month of the plan in use and its first panel."""
    content = _plan_in_use(db)
    month = max(sitting["start_at"] for sitting in content["sittings"])[:7]
    return path.replace("{month}", month).replace("{panel_uid}", content["panels"][0]["id"])


# Pages of records that the demo has none of: made for the visit.
MADE: Mapping[str, Callable[[Database], str]] = {
    "/plan/promise/{uid}": _quoted,
    "/plan/promise/{uid}/others": _quoted,
    "/plan/days/{month}": _waiting,
    "/plan/{uid}/changes": _waiting,
    "/plan/{uid}/days/{month}": _waiting,
    "/plan/{uid}/panels": _waiting,
    "/plan/{uid}/panels/{panel_uid}": _waiting,
    "/panels/{uid}/purge": _put_away,
    "/purge/{kind}/{uid}": _jar_put_away,
    "/moves/{uid}/edit": _moved,
    "/share/{uid}/edit": _linked,
}


def _words(path: str) -> Iterator[str]:
    """The path with every parameter that is a choice of words filled in."""
    signature = inspect.signature(ROUTES[path].endpoint)
    choices = {
        name: typing.get_args(parameter.annotation)
        for name, parameter in signature.parameters.items()
        if f"{{{name}}}" in path and typing.get_origin(parameter.annotation) is typing.Literal
    }
    for chosen in itertools.product(*choices.values()):
        filled = path
        for name, word in zip(choices, chosen, strict=True):
            filled = filled.replace(f"{{{name}}}", word)
        yield filled


def _uids(db: Database) -> dict[str, list[str]]:
    """The ids of each table of records, in the order they were made."""
    tables = [mapper.class_ for mapper in Record._sa_registry.mappers if issubclass(mapper.class_, Record)]
    with db.read() as session:
        return {
            table.__name__: list(session.scalars(select(col(table.uid)).order_by(col(table.id)))) for table in tables
        }


def _of_records(base: str, uids: Mapping[str, list[str]], path: str, every: bool) -> list[str]:
    """The pages of records. Which table they are in, the path itself answers."""
    for some in uids.values():
        asked = some if every else some[:ENDS] + some[-ENDS:]
        found = [address for uid in dict.fromkeys(asked) if _is_page(base, address := path.replace("{uid}", uid))]
        if found:
            return found if every else list(dict.fromkeys((found[0], found[-1])))
    return []


def _is_page(base: str, address: str) -> bool:
    """Whether the address answers with a page of its own, neither missing nor leading elsewhere."""
    try:
        with urllib.request.urlopen(base + address) as answer:
            return bool(answer.url == base + address)
    except urllib.error.HTTPError:
        return False
