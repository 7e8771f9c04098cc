"""Without a network: pages as they stood, what is logged waits and arrives exactly once, what is not taken is told.

The network is cut by stopping the server, and comes back with it at the same address.
"""

import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from sqlmodel import select

from server.services import layers, mixes, paints, panels, places, shelf, studios
from server.services.access import Actor
from server.services.layer_commands import LayerCreate
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Layer, Panel, TouchTest
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.conftest import PHONE, RunningServer, run_server

PATIENCE_S = 30.0
KEPT_PAGES = "caches.open('pages-1').then(kept => kept.keys()).then(found => found.map(page => page.url))"
TITLE = "Winter quay, invented"


@dataclass
class Network:
    """The studio's server, on and off."""

    db: Database
    port: int = 0
    running: Iterator[RunningServer] | None = field(default=None)

    def on(self) -> str:
        self.running = run_server(create_app(Settings(str(self.db.url)), self.db), self.db, self.port)
        url = next(self.running).url
        self.port = int(url.rsplit(":", 1)[1])
        return url

    def off(self) -> None:
        if self.running is not None:
            next(self.running, None)
            self.running = None


@pytest.fixture
def network(db: Database) -> Iterator[Network]:
    """A studio with one panel: a layer painted two months ago, and one planned."""
    create_app(Settings(str(db.url)), db)
    with db.read() as session:
        actor = Actor("painter", studios.the_studio(session).id or 0)
    now = datetime.now(timezone.utc)
    with unit(db, actor, label="Set up", now=now) as work:
        session = work.session
        shelf.add_starter(session, actor)
        white = next(paint for paint in paints.all_open(session, actor) if paint.label == "Titanium white")
        parts = [{"item": f"paint:{white.uid}", "parts": 1}]
        mix = mixes.create(session, actor, mixes.MixCreate.model_validate({"label": "White", "parts": parts}))
        panel = panels.create(
            session,
            actor,
            panels.PanelCreate(
                title=TITLE,
                width_cm=30,
                height_cm=40,
                support="hardboard",
                ground_kind="acrylic",
                ground_surface="matte",
                place_uid=places.all_open(session, actor)[0].uid,
            ),
        )
        layer = {"kind": "underpainting", "mixes": [{"mix_uid": mix.uid}], "thickness_preset": "normal_brush"}
        painted = LayerCreate.model_validate(layer | {"painted_at": now - timedelta(days=60)})
        layers.create(session, actor, panel.uid, painted, now)
        layers.create(session, actor, panel.uid, LayerCreate.model_validate(layer | {"kind": "block-in"}), now)
    found = Network(db)
    yield found
    found.off()


@pytest.fixture
def visitor(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(locale="en-GB", timezone_id="UTC", viewport=PHONE, has_touch=True)
    context.set_default_timeout(20_000)
    yield context
    context.close()


def seen_once(context: BrowserContext, url: str) -> Page:
    """Today, visited until the worker keeps it and has looked ahead at the panel's pages."""
    page = context.new_page()
    page.goto(url + "/")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.reload()
    ends = ("/paint", "/tests")
    until(
        lambda: all(any(url.endswith(end) for url in page.evaluate(KEPT_PAGES)) for end in ends),
        "the worker did not look ahead",
    )
    return page


def until(holds: Callable[[], bool], complaint: str) -> None:
    limit = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < limit, complaint
        time.sleep(0.05)


def waiting_on(db: Database) -> list[Layer]:
    """The layers that are not painted yet."""
    with db.read() as session:
        return [layer for layer in session.scalars(select(Layer)) if layer.painted_at is None]


def pressed(db: Database) -> list[TouchTest]:
    with db.read() as session:
        return list(session.scalars(select(TouchTest)))


@contextmanager
def without(network: Network) -> Iterator[None]:
    network.off()
    yield
    network.on()


def test_a_press_without_network_arrives_once_with_its_moment(network: Network, visitor: BrowserContext):
    page = seen_once(visitor, network.on())
    with without(network):
        page.goto(page.url)
        expect(page.locator(".offline")).to_contain_text("No network. This page is as it stood on")
        page.get_by_role("button", name="Tacky").click()
        expect(page.locator("#waiting")).to_contain_text("One waits to be sent")
        page.get_by_role("button", name="Tacky").click()  # a finger that pressed twice
        page.goto(page.url.rstrip("/") + "/waiting")
        expect(page.get_by_role("heading", name=re.compile("tacky"))).to_have_count(1)
        assert pressed(network.db) == []
        before = datetime.now(timezone.utc)
    page.get_by_role("button", name="Send now").click()
    expect(page.locator("#waiting")).to_contain_text("One that waited is sent")
    expect(page.get_by_text("Nothing waits on this device")).to_be_visible()
    (test,) = pressed(network.db)
    assert test.stage == "tacky"
    assert timedelta(0) <= before - test.pressed_at < timedelta(minutes=2)
    page.reload()
    expect(page.get_by_text("Nothing waits on this device")).to_be_visible()
    assert len(pressed(network.db)) == 1


def test_a_painted_layer_waits_too_and_panels_can_be_read(network: Network, visitor: BrowserContext):
    page = seen_once(visitor, network.on())
    with without(network):
        page.goto(page.url)
        page.get_by_role("link", name=TITLE).first.click()
        expect(page.get_by_role("heading", level=1)).to_contain_text(TITLE)
        expect(page.locator(".offline")).to_be_visible()
        page.go_back()
        page.get_by_role("link", name=re.compile("Painted")).click()
        page.get_by_role("button", name="Painted as planned").click()
        expect(page).to_have_url(re.compile("/waiting$"))
        expect(page.get_by_role("heading", name=re.compile("block-in"))).to_be_visible()
    page.reload()
    until(lambda: not waiting_on(network.db), "the painted layer did not arrive")
    expect(page.get_by_text("Nothing waits on this device")).to_be_visible()


@pytest.mark.parametrize("why", ["This layer is not painted yet", "This panel is archived"])
def test_what_the_studio_does_not_take_is_told_and_kept(network: Network, visitor: BrowserContext, why: str):
    """Meanwhile somebody else put the layer back to planned, or its panel away: a press of it cannot be."""
    page = seen_once(visitor, network.on())
    with without(network):
        page.goto(page.url)
        page.get_by_role("button", name="Tacky").click()
        expect(page.locator("#waiting")).to_contain_text("One waits to be sent")
        with network.db.read() as session:
            actor = Actor("painter", studios.the_studio(session).id or 0)
            layer = next(each for each in session.scalars(select(Layer)) if each.painted_at)
            panel = session.get_one(Panel, layer.panel_id)
        with unit(network.db, actor, label="Put back") as work:
            if "archived" in why:
                panels.archive(work.session, actor, panel.uid)
            else:
                layers.unpaint(work.session, actor, layer.uid)
    page.goto(page.url.rstrip("/") + "/waiting")
    expect(page.locator("#waiting")).to_contain_text("One was not taken")
    row = page.locator("[data-waiting] > li")
    expect(row).to_contain_text(f"Not taken: {why}")
    page.once("dialog", lambda dialog: dialog.accept())
    row.get_by_role("button", name="Take it off this list").click()
    expect(page.get_by_text("Nothing waits on this device")).to_be_visible()
    assert pressed(network.db) == []


def test_a_page_never_seen_says_so(network: Network, visitor: BrowserContext):
    page = seen_once(visitor, network.on())
    with without(network):
        page.goto(page.url.rstrip("/") + "/rules")
        expect(page.locator(".offline")).to_contain_text("was not seen before on this device")


def test_it_can_be_installed(network: Network, visitor: BrowserContext):
    """What browsers ask of an app to install: W3C Web Application Manifest, name, start and icons of 192 and 512 px."""
    url = network.on()
    page = visitor.new_page()
    page.goto(url)
    told = page.evaluate(
        """async () => {
            const manifest = await (await fetch(document.querySelector("link[rel=manifest]").href)).json();
            const sizes = await Promise.all(manifest.icons.map(async icon => {
                const image = new Image();
                image.src = icon.src;
                await image.decode();
                return image.naturalWidth;
            }));
            return {...manifest, sizes};
        }"""
    )
    assert (told["name"], told["start_url"], told["display"]) == ("Umberday", "/", "standalone")
    assert told["sizes"] == [192, 512]
