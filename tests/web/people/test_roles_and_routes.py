"""Every address asked as everybody: owner, painter, assistant, viewer, a stranger of another studio, nobody.

What each may expect is read off the table that the guard holds requests to; the services have tests of their own
(``tests/services/test_roles.py``). The questions: does it work, 403, 404, a bad id, a wrong method.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.services import sitting_ends
from server.services.roles import MAY, Permission
from server.services.sitting_ends import SittingEndCreate
from server.store.db import Database
from server.store.tables import Record, Role, StudioRecord
from server.web.app import create_app
from server.web.security.guard import ROLE_LACKS
from server.web.security.who_may import TABLE, is_permission, needed
from server.web.settings import Settings
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.people.conftest import ROLES, add_person, browser, sign_in

WORDS = {
    "kind": "paints",
    "name": "fat_gap_pass",
    "token": "t" * 43,
    "layer_uid": "no-such-layer-00",
    "ref": "r1",
    "month": "2027-01",
}
NO_SUCH = "no-such-record-0"
WITH_A_STUDIO = [(method, path) for (method, path), need in TABLE.items() if is_permission(need)]
OF_RECORDS = [(method, path) for method, path in WITH_A_STUDIO if "{uid}" in path]
# Rules are the same in every studio: one is there for a stranger too.
OF_ALL_STUDIOS = ("/rules/{uid}", "/rules/{uid}/reset/{name}")


@dataclass
class Everybody:
    """The app with a browser for each; ``uids``: the records of the studio that all but the stranger are in."""

    app: FastAPI
    browsers: Mapping[str, TestClient]
    uids: list[str]


def filled(path: str, uid: str = NO_SUCH) -> str:
    given = {**WORDS, "uid": uid, "panel_uid": uid}
    return re.sub(r"\{(\w+)\}", lambda found: given[found[1]], path)


@pytest.fixture(scope="module")
def everybody(tmp_path_factory: pytest.TempPathFactory, migrated_file) -> Iterator[Everybody]:
    path = tmp_path_factory.mktemp("everybody") / "studio.db"
    path.write_bytes(migrated_file.read_bytes())
    db = Database(f"sqlite:///{path}")
    bench, elsewhere = make_bench(db), make_bench(db)
    fill(bench)
    for role in ROLES:
        add_person(db, role, (bench.actor.studio_id, role))
    add_person(db, "stranger", (elsewhere.actor.studio_id, "owner"))
    app = create_app(Settings(f"sqlite:///{path}", shared=True), db)
    app.state.clock = lambda: NOW
    browsers = {name: browser(app) for name in (*ROLES, "stranger", "nobody")}
    for name, client in browsers.items():
        if name != "nobody":
            assert sign_in(client, name).status_code == 303
    yield Everybody(app, browsers, uids_of(db, bench.actor.studio_id))
    db.close()


def fill(bench: Bench) -> None:
    """A record of most kinds."""
    panel = bench.panel()
    bench.painted(panel, 20)
    bench.layer(panel)
    with bench.unit("Ended") as work:
        sitting_ends.create(work.session, bench.actor, SittingEndCreate(rags="spread"), NOW)


def uids_of(db: Database, studio_id: int) -> list[str]:
    tables = [mapper.class_ for mapper in Record._sa_registry.mappers if issubclass(mapper.class_, StudioRecord)]
    with db.read() as session:
        return [
            uid
            for table in tables
            for uid in session.scalars(select(col(table.uid)).where(col(table.studio_id) == studio_id))
        ]


def ask(client: TestClient, method: str, path: str):
    headers = {"Content-Type": "application/json"} if path.startswith("/api/") else {}
    content = b"{}" if path.startswith("/api/") and method != "GET" else None
    return client.request(method, path, headers=headers, content=content)


@pytest.mark.parametrize(("method", "path"), sorted(WITH_A_STUDIO))
def test_each_role_gets_what_the_table_says(everybody: Everybody, method: str, path: str):
    need: Permission = TABLE[method, path]  # type: ignore[assignment]
    for role in ROLES:
        answer = ask(everybody.browsers[role], method, filled(path))
        if need in MAY[role]:
            assert answer.status_code != 403, (role, answer.text[:300])
            assert answer.status_code < 500
            assert answer.status_code not in {401, 405}
        else:
            assert answer.status_code == 403, role
            assert ROLE_LACKS in answer.text
    signed_out = ask(everybody.browsers["nobody"], method, filled(path))
    leads_to_sign_in = method == "GET" and not path.startswith("/api/")
    assert signed_out.status_code == (303 if leads_to_sign_in else 401)
    if leads_to_sign_in:
        assert signed_out.headers["Location"].startswith("/sign-in")


@pytest.mark.parametrize(("method", "path"), sorted(OF_RECORDS))
def test_what_belongs_to_another_studio_is_not_there(everybody: Everybody, method: str, path: str):
    """The stranger owns a studio of their own and tries every record of this one; a bad id looks just the same."""
    stranger = everybody.browsers["stranger"]
    bad = ask(stranger, method, filled(path))
    if path in OF_ALL_STUDIOS:
        assert bad.status_code == 404
        return
    answers = {ask(stranger, method, filled(path, uid)).status_code for uid in everybody.uids}
    # A form or a version that is missing is told before the record is looked for, the same for every id.
    assert answers == {bad.status_code}
    assert bad.status_code in {404, 415, 422, 428}
    if method == "GET":
        assert answers == {404}


@pytest.mark.parametrize(("method", "path"), sorted(set(TABLE)))
def test_a_wrong_method_is_nobodys(everybody: Everybody, method: str, path: str):
    known = {other for other, same in TABLE if same == path}
    for wrong in {"GET", "POST", "PUT", "DELETE", "PATCH"} - known:
        for name in ("owner", "nobody"):
            answer = ask(everybody.browsers[name], wrong, filled(path))
            # Another address may take this method: /panels/{uid} reads what /panels/new would.
            taken = {415, 422, 428} if needed(wrong, filled(path)) is not None else set()
            assert answer.status_code in {303, 401, 404, 405} | taken, (name, wrong)


@pytest.mark.parametrize("role", ROLES)
def test_an_api_call_is_held_to_the_same_table(everybody: Everybody, role: Role):
    answer = everybody.browsers[role].post("/api/v1/mixes", json={"label": "x", "parts": []})
    assert (answer.status_code == 403) == ("mix" not in MAY[role])
    assert answer.headers["Content-Type"].startswith("application/")


def test_a_route_that_the_table_forgot_is_refused_to_everybody(everybody: Everybody):
    def forgotten() -> str:
        return "what nobody locked"

    everybody.app.get("/forgotten/page", include_in_schema=False)(forgotten)
    everybody.app.add_route("/forgotten/plain", lambda request: None)  # type: ignore[arg-type, return-value]
    for path in ("/forgotten/page", "/forgotten/plain"):
        for client in everybody.browsers.values():
            answer = client.get(path)
            assert answer.status_code == 403
            assert "what nobody locked" not in answer.text


@pytest.mark.parametrize("mark", ["%3F", "%23", "%3Fx=1", "%3B", "%20", "%00"])
def test_no_mark_in_a_path_leads_past_the_guard(everybody: Everybody, mark: str):
    """An escaped "?" or "#" ends no path: the guard and the router must read the same."""
    viewer, nobody = everybody.browsers["viewer"], everybody.browsers["nobody"]
    assert viewer.get(f"/panels/x{mark}/edit").status_code in {403, 404}
    assert viewer.post(f"/panels/x{mark}/archive").status_code in {403, 404}
    assert viewer.get(f"/panels/x{mark}/edit").status_code == 403 or mark == "%00"
    assert nobody.get(f"/panels/x{mark}").status_code in {303, 404}
    assert nobody.post(f"/sign-in{mark}/archive").status_code in {401, 404, 405}


def test_a_record_made_by_somebody_has_their_name(everybody: Everybody):
    assistant = everybody.browsers["assistant"]
    layer = re.search(r"/layers/([\w-]+)/tests", assistant.get("/").text)
    assert layer is not None
    logged = assistant.post(f"/layers/{layer[1]}/tests", data={"stage": "tacky"})
    assert logged.status_code == 303
    assert "Assistant" in everybody.browsers["viewer"].get("/history").text


def links_and_forms(text: str) -> set[tuple[str, str]]:
    """Where a page's links and forms lead, each with its method."""
    found = {("GET", href) for href in re.findall(r'<a\b[^>]*\shref="(/[^"#?]*)', text)}
    for form in re.findall(r"<form\b[^>]*>", text):
        action = re.search(r'action="([^"#?]*)', form)
        method = re.search(r'method="(\w+)"', form)
        if action:
            found.add((method[1].upper() if method else "GET", action[1]))
    return found | {("POST", action) for action in re.findall(r'formaction="([^"#?]*)', text)}


@pytest.mark.parametrize("role", ROLES)
def test_no_page_offers_what_its_reader_may_not_do(everybody: Everybody, role: Role):
    """Every page of the studio that the role can open: its links and buttons lead to no refusal."""
    client = everybody.browsers[role]
    seen: set[str] = set()
    offered: dict[tuple[str, str], str] = {}
    open_paths = ["/"]
    while open_paths:
        path = open_paths.pop()
        if path in seen or len(seen) > 150:
            continue
        seen.add(path)
        answer = client.get(path)
        if answer.status_code != 200 or not answer.headers["Content-Type"].startswith("text/html"):
            continue
        for method, target in links_and_forms(answer.text):
            offered.setdefault((method, target), path)
            if method == "GET" and not target.startswith("/static"):
                open_paths.append(target)
    lacking = {
        f"{method} {target} on {page}"
        for (method, target), page in offered.items()
        if (need := needed(method, target)) is not None and is_permission(need) and need not in MAY[role]
    }
    assert not lacking, "\n".join(sorted(lacking))
    assert len(seen) > 20
