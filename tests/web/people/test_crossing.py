"""Somebody who owns a studio, and knows every uid of another one, reaches for it with records of their own in hand.

Uids in addresses have tests of their own (``test_roles_and_routes.py``). Here they stand in fields: of every form that
the pages show, and of every body in the document of the interfaces. Nothing of the other studio may be told or changed,
and no row may come to point across.
"""

import re
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import pytest
from sqlalchemy import Connection, select, text
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import StudioRecord, Table
from server.web.api import record_examples as examples
from server.web.app import create_app
from server.web.settings import Settings
from tests.services.conftest import NOW, make_bench
from tests.web.pages_of_records import Form, forms_of
from tests.web.people.conftest import add_person, browser, sign_in
from tests.web.test_api_plans import Program, make_studio

API = "/api/v1"
SECRET = "Vermilion secret"
NAMES = {
    **{examples.PLACE_UID: "place", examples.PAINT_UID: "paint", examples.MIX_UID: "mix"},
    **{examples.PANEL_UID: "panel", examples.STACK_UID: "stack_plan", examples.LAYER_UID: "layer"},
    "UID-OF-AN-UPLOAD": "reading_upload",
}
# What a record is called in addresses, where that is not its table's name with an s.
KINDS = {
    **{"working-hours": "work_time", "plans": "studio_plan", "quotes": "quote", "share-links": "share_link"},
    **{"mixes": "mix", "finish-steps": "finish_step", "finish-tests": "finish_test", "touch-tests": "touch_test"},
    **{
        "moves": "panel_move",
        "sittings": "sitting_end",
        "stacks": "stack_plan",
        "own-feeds": "own_feed",
        "reading-batches": "reading_batch",
    },
}
Uids = Mapping[str, str]


@dataclass
class Two:
    """``mine`` is the attacker's own studio, ``theirs`` the other; uids by table."""

    client: TestClient
    db: Database
    document: Mapping[str, Any]
    mine: Uids
    theirs: Uids
    their_id: int


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory, migrated_file) -> Iterator[Two]:
    path = tmp_path_factory.mktemp("two") / "studio.db"
    path.write_bytes(migrated_file.read_bytes())
    db = Database(f"sqlite:///{path}")
    theirs, mine = make_bench(db), make_bench(db)
    add_person(db, "victim", (theirs.actor.studio_id, "owner"))
    add_person(db, "attacker", (mine.actor.studio_id, "owner"))
    app = create_app(Settings(f"sqlite:///{path}", shared=True), db)
    app.state.clock = lambda: NOW
    clients = {name: browser(app) for name in ("victim", "attacker")}
    for name, client in clients.items():
        assert sign_in(client, name).status_code == 303
        furnish(Program(client))
    name_it(db, theirs.actor.studio_id)
    ids = theirs.actor.studio_id, mine.actor.studio_id
    their_uids, my_uids = (uids_of(db, studio_id) for studio_id in ids)
    assert set(my_uids) == set(their_uids)
    yield Two(clients["attacker"], db, app.openapi(), my_uids, their_uids, theirs.actor.studio_id)
    db.close()


def furnish(ask: Program) -> None:
    """A record of every kind that names others."""
    studio = make_studio(ask)
    uids = {examples.PLACE_UID: studio.place, examples.MIX_UID: studio.mix, examples.PANEL_UID: studio.panel}
    uids |= {examples.STACK_UID: studio.stack, examples.LAYER_UID: studio.layers[0]}
    ask.done("/working-hours", ask.example("WorkingHoursCreate"))
    ask.done(f"/plans/{ask.done('/plans', ask.example('PlanMake'))['uid']}/accept")
    first = ask.get(f"/layers/{studio.layers[0]}")
    ask.done(f"/layers/{studio.layers[0]}/paint", ask.example("LayerPaint"), version=first["version"])
    ask.done(f"/layers/{studio.layers[0]}/touch-tests", {"stage": "tacky"})
    other = ask.done("/places", ask.example("PlaceCreate"))["uid"]
    ask.done(f"/panels/{studio.panel}/moves", ask.example("MoveCreate", **{examples.PLACE_UID: other}))
    for address, name in (
        *((f"/panels/{studio.panel}/finish-steps", "FinishStepCreate"), ("/quotes", "PromiseAsk")),
        *((f"/panels/{studio.panel}/finish-tests", "FinishTestCreate"), ("/sittings", "SittingEndCreate")),
        ("/mediums", "MediumCreate"),
        *(("/thinners", "ThinnerCreate"), ("/share-links", "ShareLinkCreate"), ("/own-feeds", "OwnFeedCreate")),
        (f"/places/{studio.place}/typed-readings", "ReadingCreate"),
        *(
            (f"/places/{studio.place}/reading-files", "ReadingsFile"),
            (f"/places/{studio.place}/sensors", "SensorCreate"),
        ),
    ):
        ask.done(address, ask.example(name, **uids))


def name_it(db: Database, studio_id: int) -> None:
    """Put the secret into what every record of a studio is called."""
    with db.write() as session:
        for kind in _kinds():
            for row in session.scalars(select(kind).where(kind.studio_id == studio_id)):  # type: ignore[arg-type]
                for name in {"title", "label", "name", "painter"} & set(kind.model_fields):
                    setattr(row, name, SECRET)


def uids_of(db: Database, studio_id: int) -> dict[str, str]:
    """Of every table one uid of a studio."""
    with db.read() as session:
        return {
            table.name: found[0]
            for table in Table.metadata.sorted_tables
            if {"uid", "studio_id"} <= set(table.c.keys())
            and (found := session.execute(select(table.c.uid).where(table.c.studio_id == studio_id)).first())
        }


def _kinds() -> list[type[StudioRecord]]:
    found = [mapper.class_ for mapper in Table._sa_registry.mappers]
    return [kind for kind in found if issubclass(kind, StudioRecord)]


# ---- what must hold after every try ----
def studio_of_each_row(connection: Connection) -> dict[tuple[str, int], set[int]]:
    """Of every row the studios that it belongs to by its own column and by every row it names."""
    found: dict[tuple[str, int], set[int]] = {}
    for table in Table.metadata.sorted_tables:
        if "id" not in table.c or table.name in {"person", "sign_in", "console_code", "recovery_code", "sign_in_try"}:
            continue
        for row in connection.execute(select(table)).mappings():
            own = {row["studio_id"]} if row.get("studio_id") is not None else set()
            own |= {row["id"]} if table.name == "studio" else set()
            for key in table.foreign_keys:
                named = (key.column.table.name, row[key.parent.name])
                own |= found.get(named, set())
            found[table.name, row["id"]] = own
    return found


def crossings(db: Database) -> list[tuple[str, int]]:
    with db.read() as session:
        return [row for row, of in studio_of_each_row(session.connection()).items() if len(of) > 1]


def content_of(db: Database, studio_id: int) -> list[tuple[Any, ...]]:
    """Everything that a studio holds, but for the stamps of looking."""
    with db.read() as session:
        connection = session.connection()
        belongs = studio_of_each_row(connection)
        return [
            (table.name, *row)
            for table in Table.metadata.sorted_tables
            if "id" in table.c
            for row in connection.execute(select(table).order_by(table.c.id))
            if belongs.get((table.name, row.id)) == {studio_id}
        ]


def test_a_row_that_points_across_would_be_found(two: Two):
    assert crossings(two.db) == []
    with two.db.read() as session:
        connection = session.connection()
        theirs = connection.execute(
            text("SELECT id FROM place WHERE uid = :uid"), {"uid": two.theirs["place"]}
        ).scalar()
        mine = connection.execute(text("SELECT id FROM panel WHERE uid = :uid"), {"uid": two.mine["panel"]}).scalar()
        connection.execute(text("UPDATE panel SET place_id = :p WHERE id = :id"), {"p": theirs, "id": mine})
        assert ("panel", mine) in [row for row, of in studio_of_each_row(connection).items() if len(of) > 1]
        connection.rollback()
    assert crossings(two.db) == []


# ---- bodies of the interfaces ----
def bodies(document: Mapping[str, Any]) -> list[tuple[str, str, Any, Mapping[str, Any]]]:
    """Method, path, example and schema of every operation that takes a body."""
    return [
        (method.upper(), path, content["example"], document["components"]["schemas"].get(_named(content), {}))
        for path, methods in document["paths"].items()
        for method, told in methods.items()
        if "example" in (content := told.get("requestBody", {}).get("content", {}).get("application/json", {}))
    ]


def _named(content: Mapping[str, Any]) -> str:
    return str(content.get("schema", {}).get("$ref", "")).rpartition("/")[2]


def put_in(value: Any, uids: Uids) -> Any:
    if isinstance(value, dict):
        return {name: put_in(each, uids) for name, each in value.items()}
    if isinstance(value, list):
        return [put_in(each, uids) for each in value]
    if isinstance(value, str):
        for name, kind in NAMES.items():
            value = value.replace(name, uids.get(kind, "no-such"))
    return value


def names_one(value: Any) -> bool:
    return any(name in str(value) for name in NAMES)


def own_address(path: str, uids: Uids) -> str:
    segment = path.removeprefix(API).split("/")[1]
    kind = KINDS.get(segment, segment.removesuffix("s"))
    return re.sub(r"\{\w+\}", uids.get(kind, "no-such"), path)


def test_no_body_of_the_interfaces_reaches_across(two: Two):
    before, tried = content_of(two.db, two.their_id), 0
    for method, path, example, schema in bodies(two.document):
        body = deepcopy(example)
        for name in set(schema.get("properties", {})) - set(body):
            kind = name.removesuffix("s").removesuffix("_uid")
            if name.endswith(("_uid", "_uids")) and kind in two.theirs:
                body[name] = [two.theirs[kind]] if name.endswith("s") else two.theirs[kind]
        if body == example and not names_one(body):
            continue
        body |= {"event": "earlier"} if "event" in body else {}  # another event asks for no layer
        address = own_address(path, two.mine)
        for version in ("1", "2", "3"):
            answer = two.client.request(
                method, address, json=put_in(body, two.theirs), headers={"If-Match": f'"{version}"'}
            )
            tried += 1
            assert answer.status_code in {404, 409, 412, 422}, (method, path, answer.status_code, answer.text[:300])
            assert SECRET not in answer.text, (method, path)
    assert tried > 30
    assert crossings(two.db) == []
    assert content_of(two.db, two.their_id) == before


# ---- forms of the pages ----
def pages(client: TestClient) -> Iterator[tuple[str, str]]:
    """Address and text of the pages that links lead to, each kind once or twice."""
    seen: dict[str, int] = {}
    waiting = ["/", "/share", "/people", "/data/import", "/sittings/end", "/plan", "/learning"]
    done: set[str] = set()
    while waiting:
        path = waiting.pop()
        shape = re.sub(r"/[\w-]{16}(?=/|$)", "/*", path)
        if path in done or seen.get(shape, 0) >= 2 or "sign-out" in path or path.startswith(("/static", "/api", "/s/")):
            continue
        done.add(path)
        seen[shape] = seen.get(shape, 0) + 1
        answer = client.get(path)
        if answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html"):
            yield path, answer.text
            waiting += re.findall(r'href="(/[^"#?]*)', answer.text)


def swapped(form: Form, two: Two) -> Iterator[dict[str, str]]:
    """The form with each field that names a record naming one of theirs, one field at a time."""
    theirs = {mine: two.theirs[kind] for kind, mine in two.mine.items()}
    with two.db.read() as session:
        for table in Table.metadata.sorted_tables:
            if table.name in two.theirs:
                theirs |= dict.fromkeys(session.connection().scalars(select(table.c.uid)), two.theirs[table.name])
    for name, choices in {**{n: [v] for n, v in form.fields}, **form.options}.items():
        for choice in [*choices, form.values.get(name, "")]:
            kind, colon, uid = choice.rpartition(":")
            if uid in theirs:
                yield form.values | {name: f"{kind}{colon}{theirs[uid]}"}
                break


def test_no_form_reaches_across(two: Two):
    before, tried = content_of(two.db, two.their_id), 0
    shapes: set[str] = set()
    for address, page in pages(two.client):
        for form in forms_of(_Text(page)):  # type: ignore[arg-type]
            action = form.action or address
            shape = re.sub(r"/[\w-]{16}(?=/|$)", "/*", action) + str(sorted(form.values))
            if shape in shapes or action.startswith(("/sign-out", "/account")):
                continue
            shapes.add(shape)
            for values in swapped(form, two):
                answer = two.client.post(action, data=values)
                tried += 1
                assert answer.status_code in {303, 404, 405, 409, 422}, (action, answer.status_code)
                assert SECRET not in answer.text, action
                assert crossings(two.db) == [], (action, values)
    assert tried > 20
    assert content_of(two.db, two.their_id) == before


# ---- questions of addresses ----
@pytest.mark.parametrize(
    "address",
    [
        *("/mixing?mix={mix}", "/mixing?panel={panel}", "/stacks?panel={panel}", "/stacks/{my_stack}?panel={panel}"),
        *("/?card={panel}", "/plan?look={studio_plan}", "/sittings/end?layer={layer}", "/panels/new?place={place}"),
        *(f"{API}/panels?after={{panel}}", f"{API}/plans?after={{studio_plan}}", f"{API}/quotes?after={{quote}}"),
        *(
            f"{API}/layers?after={{layer}}",
            f"{API}/learning/promises?after={{layer}}",
            f"{API}/history?after={{layer}}",
        ),
        *(f"{API}/history/of/panels/{{panel}}", f"{API}/plan-week?painter={SECRET}", "/panels?q=Vermilion"),
    ],
)
def test_no_question_in_an_address_tells_of_the_other_studio(two: Two, address: str):
    answer = two.client.get(address.format(**two.theirs, my_stack=two.mine["stack_plan"]))
    assert answer.status_code in {200, 303, 404, 422}
    assert SECRET not in answer.text
    assert two.theirs["layer"] not in answer.text.replace(f"after={two.theirs['layer']}", "")


class _Text:
    def __init__(self, text: str) -> None:
        self.text = text
