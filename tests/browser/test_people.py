"""A shared install in a real browser: in by the console's code, by an invitation, and out again.

The pages are looked over by axe as every other is; what a device keeps is asked of the browser's own stores.
"""

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timezone

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from sqlmodel import select
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.services.people import console
from server.store.db import Database
from server.store.tables import Membership, Person
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.conftest import CHROMIUM_ARGUMENTS, PHONE, RunningServer, run_server
from tests.browser.test_every_page import axe, faults_of_look, faults_of_width

__all__ = ["axe"]
PASSWORD = "two pears on a ledge"
KEPT = """caches.open('pages-1').then(kept => kept.keys())
    .then(found => found.map(page => new URL(page.url).pathname))"""
WAITING = """new Promise(done => {
    const opening = indexedDB.open('umberday', 1);
    opening.onsuccess = () => {
        const asked = opening.result.transaction('waiting').objectStore('waiting').getAll();
        asked.onsuccess = () => { opening.result.close(); done(asked.result.length); };
    };
})"""


PLAIN = "studio.test"  # a name that is not this machine's own, so that browsers take http to it for what it is


class Held:
    """Keeps back the answer to one address until it is let go."""

    let_go = threading.Event()
    path = ""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        from anyio.to_thread import run_sync

        async def later(message: Message) -> None:
            if message["type"] == "http.response.start" and scope["path"] == self.path:
                await run_sync(self.let_go.wait, 20)
            await send(message)

        await self.app(scope, receive, later)


@pytest.fixture
def shared(db: Database) -> Iterator[RunningServer]:
    settings = Settings(str(db.url), shared=True)
    app = create_app(replace(settings, host_names=(*settings.host_names, PLAIN)), db)
    app.add_middleware(Held)
    yield from run_server(app, db)
    Held.path = ""


@pytest.fixture
def device(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(locale="en-GB", timezone_id="UTC", viewport=PHONE)
    context.set_default_timeout(20_000)
    yield context
    context.close()


def until(holds: Callable[[], bool], complaint: str) -> None:
    limit = time.monotonic() + 30
    while not holds():
        assert time.monotonic() < limit, complaint
        time.sleep(0.05)


def owner_whose_pages_are_kept(shared: RunningServer, device: BrowserContext) -> Page:
    """The first owner at Today, once the device keeps pages for a time without a network."""
    page = device.new_page()
    become_owner(page, shared)
    page.goto(shared.url + "/")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.reload()
    return page


def become_owner(page: Page, server: RunningServer) -> None:
    code = console.first_owner_code(server.db, datetime.now(timezone.utc))
    assert code is not None
    page.goto(server.url + "/")
    page.fill("#f-code", code)
    page.fill("#f-name", "Ana Invented")
    page.fill("#f-email", "ana@studio.example")
    page.fill("#f-password", PASSWORD)
    page.get_by_role("button", name="Own this studio").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")


def sign_in(page: Page, server: RunningServer, name: str) -> None:
    page.goto(server.url + "/sign-in")
    page.fill("#f-email", f"{name}@studio.example")
    page.fill("#f-password", PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")


def invite(page: Page, server: RunningServer) -> str:
    page.goto(server.url + "/people")
    page.get_by_role("button", name="Make a link").click()
    return page.locator("#link").input_value()


def sign_out(page: Page, server: RunningServer) -> None:
    page.goto(server.url + "/account")
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_text("You are signed out")).to_be_visible()


def test_the_pages_of_people_are_fit_to_be_seen(shared: RunningServer, page: Page, axe: str):
    become_owner(page, shared)
    link = invite(page, shared)
    faults = {"/people/invite": faults_of_width(page) + faults_of_look(page, axe)}
    for address in ("/people", "/account", "/account/codes", "/studios", link):
        page.goto(address if address.startswith("http") else shared.url + address)
        faults[address] = faults_of_width(page) + faults_of_look(page, axe)
    with shared.db.write() as session:  # somebody who came and left
        left = Person(name="Berit Invented", email="berit@studio.example", password_hash="-")
        session.add(left)
        session.flush()
        now, studio = datetime.now(timezone.utc), session.scalars(select(Membership)).one().studio_id
        session.add(Membership(person_id=left.id or 0, studio_id=studio, role="painter", ended_at=now))
    page.goto(shared.url + "/people")
    faults["with somebody who left"] = faults_of_width(page) + faults_of_look(page, axe)
    page.get_by_role("link", name="Purge Berit Invented").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Purge Berit Invented?")
    faults["to be purged"] = faults_of_width(page) + faults_of_look(page, axe)
    page.goto(shared.url + "/account/codes")
    page.fill("#f-password", PASSWORD)
    page.get_by_role("button", name="Set them up").click()
    expect(page.get_by_label("A code to scan")).to_be_visible()
    faults["codes to scan"] = faults_of_width(page) + faults_of_look(page, axe)
    sign_out(page, shared)
    for address in ("/sign-in", "/new-password", link):
        page.goto(address if address.startswith("http") else shared.url + address)
        faults[f"signed out: {address}"] = faults_of_width(page) + faults_of_look(page, axe)
    assert {address: found for address, found in faults.items() if found} == {}


def test_signing_out_leaves_no_page_and_the_next_person_finds_none(shared: RunningServer, device: BrowserContext):
    page = device.new_page()
    become_owner(page, shared)
    link = invite(page, shared)
    page.goto(shared.url + "/")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.reload()
    until(lambda: "/" in page.evaluate(KEPT), "Today was not kept")
    sign_out(page, shared)
    until(lambda: set(page.evaluate(KEPT)) <= {"/who"}, "a page was left behind")

    page.goto(link)
    page.fill("#f-name", "Bo Invented")
    page.fill("#f-email", "bo@studio.example")
    page.fill("#f-password", PASSWORD)
    page.get_by_role("button", name="Come in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")
    page.goto(shared.url + "/panels")
    until(lambda: "/panels" in page.evaluate(KEPT), "the page was not kept")
    # Somebody else signs in over the running session, without signing out.
    device.clear_cookies()
    sign_in(page, shared, "ana")
    until(lambda: "/panels" not in page.evaluate(KEPT), "the page of the one before is kept")


def test_what_was_asked_for_before_signing_out_is_not_kept_after(shared: RunningServer, device: BrowserContext):
    """A slow page that comes in when its reader has left the device."""
    page = owner_whose_pages_are_kept(shared, device)
    until(lambda: "/" in page.evaluate(KEPT), "Today was not kept")
    slow = device.new_page()
    slow.goto(shared.url + "/glossary")
    Held.let_go.clear()
    Held.path = "/panels"
    slow.evaluate("location.assign('/panels')")
    sign_out(page, shared)
    until(lambda: set(page.evaluate(KEPT)) <= {"/who"}, "a page was left behind")
    Held.let_go.set()
    expect(slow.get_by_role("heading", level=1)).to_contain_text("Panels")
    time.sleep(0.5)  # longer than it takes to keep a page
    assert set(page.evaluate(KEPT)) <= {"/who"}


@pytest.fixture
def keeps_pages_alive(browser: Browser, shared: RunningServer) -> Iterator[Page]:
    """A browser as people have it: a page that was left is kept alive for the way back (Playwright's own is not)."""
    kind = browser.browser_type
    launched = kind.launch(
        executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
        args=[*CHROMIUM_ARGUMENTS, f"--host-resolver-rules=MAP {PLAIN} 127.0.0.1"],
        ignore_default_args=["--disable-back-forward-cache"],
    )
    context = launched.new_context(locale="en-GB")
    context.set_default_timeout(20_000)
    yield context.new_page()
    launched.close()


def test_the_way_back_shows_nothing_once_somebody_signed_out_by_plain_http(
    shared: RunningServer, keeps_pages_alive: Page
):
    """There browsers pass over Clear-Site-Data (W3C Clear Site Data, 5: only from secure origins)."""
    page = keeps_pages_alive
    plain = replace(shared, url=shared.url.replace("127.0.0.1", PLAIN))
    become_owner(page, plain)
    page.goto(plain.url + "/panels")
    page.evaluate("window.isKeptAlive = true")
    page.goto(plain.url + "/shelf")
    page.evaluate("history.back()")
    page.wait_for_url(plain.url + "/panels", wait_until="commit")
    assert page.evaluate("window.isKeptAlive") is True  # while signed in it is there as it was left
    page.goto(plain.url + "/shelf")
    sign_out(page, plain)
    page.evaluate("history.go(-2)")
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    assert page.url.startswith(plain.url + "/sign-in?next=")
    assert "Shelf" not in page.title()


def test_the_way_back_shows_nothing_of_the_person_before(shared: RunningServer, keeps_pages_alive: Page):
    """Somebody signs in over a running session, which clears nothing that the browser keeps."""
    page = keeps_pages_alive
    become_owner(page, shared)
    link = invite(page, shared)
    page.goto(shared.url + "/panels")
    page.evaluate("window.isKeptAlive = true")
    other = page.context.request
    given: dict[str, str | float | bool] = {"name": "Bo Invented", "email": "bo@studio.example", "password": PASSWORD}
    session = [each for each in page.context.cookies() if each["name"] == "umberday_session"]
    page.context.clear_cookies(name="umberday_session")
    assert session
    assert other.post(link, form=given, headers={"Origin": shared.url}, max_redirects=0).status == 303
    page.goto(shared.url + "/account")
    expect(page.get_by_text("bo@studio.example").first).to_be_visible()
    page.evaluate("history.back()")
    page.wait_for_url(shared.url + "/panels")
    page.wait_for_function("window.isKeptAlive === undefined")
    expect(page.get_by_text("Bo Invented").first).to_be_attached()


def test_what_waits_is_sent_for_its_own_person_only(shared: RunningServer, device: BrowserContext):
    page = owner_whose_pages_are_kept(shared, device)
    entry = "{path: '/layers/x/tests', body: 'stage=wet', type: 'application/x-www-form-urlencoded', "
    entry += "at: new Date().toISOString(), what: 'Somebody else’s panel', refused: '', who: 'somebody-else'}"
    put = f"""new Promise(done => {{
        const opening = indexedDB.open('umberday', 1);
        opening.onupgradeneeded = () =>
            opening.result.createObjectStore('waiting', {{ keyPath: 'id', autoIncrement: true }});
        opening.onsuccess = () => {{
            const change = opening.result.transaction('waiting', 'readwrite');
            change.objectStore('waiting').add({entry});
            change.oncomplete = () => {{ opening.result.close(); done(true); }};
        }};
    }})"""
    page.evaluate(put)
    sent: list[str] = []
    device.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    page.goto(shared.url + "/waiting")
    expect(page.get_by_text("Nothing waits on this device.")).to_be_visible()
    assert page.evaluate(WAITING) == 1  # it is still there, for whom it belongs to
    assert not sent
