"""Mixing in a real browser: by thumb, by keyboard, and without script.

Sizes: WCAG 2.2, success criteria 1.4.10 (reflow at 320 px) and 2.5.8 (targets); 44 px are ours.
"""

import contextlib
from datetime import datetime, timedelta, timezone

import pytest
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import Page, Route, expect

from server.services import layers, mixes, paints, panels, places, shelf, studios
from server.services.access import Actor
from server.services.layer_commands import LayerCreate
from server.services.unit import unit
from tests.browser.conftest import RunningServer
from tests.browser.test_parts import CONTROLS, SMALL_TARGETS

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)
PAGES = ("/shelf", "/shelf/paints/new", "/mixes", "/mixing", "/room", "/room/new", "/studio", "/how", "/cautions")


@pytest.fixture
def studio(server: RunningServer) -> RunningServer:
    """A shelf, and a panel whose underpainting of plain white is two days old and tacky."""
    server.app.state.clock = lambda: NOW
    with server.db.read() as session:
        actor = Actor("painter", studios.the_studio(session).id or 0)
    with unit(server.db, actor, label="Set up", now=NOW) as work:
        session = work.session
        shelf.add_starter(session, actor)
        white = next(paint for paint in paints.all_open(session, actor) if paint.label == "Titanium white")
        parts = [{"item": f"paint:{white.uid}", "parts": 1}]
        mix = mixes.create(session, actor, mixes.MixCreate.model_validate({"label": "White", "parts": parts}))
        panel = panels.create(
            session,
            actor,
            panels.PanelCreate(
                title="Two pears",
                width_cm=40,
                height_cm=50,
                support="hardboard",
                ground_kind="acrylic",
                ground_surface="matte",
                place_uid=places.all_open(session, actor)[0].uid,
            ),
        )
        painted = {"kind": "underpainting", "mixes": [{"mix_uid": mix.uid}], "painted_at": NOW - timedelta(days=5)}
        command = LayerCreate.model_validate(painted | {"thickness_preset": "normal_brush"})
        layers.create(session, actor, panel.uid, command, NOW)
    return server


def choose(page: Page, row: int, label: str, parts: str) -> None:
    page.locator(f"[name='parts-{row}-item']").select_option(label=label)
    page.locator(f"[name='parts-{row}-parts']").fill(parts)


@pytest.mark.parametrize("size", ["page", "phone"])
def test_a_mix_is_answered_while_it_is_typed_and_kept(studio: RunningServer, request: pytest.FixtureRequest, size: str):
    page: Page = request.getfixturevalue(size)
    page.goto(studio.url + "/mixing")
    expect(page.get_by_text("Nothing on the palette")).to_be_visible()
    choose(page, 0, "Titanium white", "9")
    gist = page.locator("#gist")
    expect(gist).to_contain_text("Touch-dry likely")
    expect(page.locator("[name='parts-0-parts']")).to_be_focused()
    choose(page, 1, "Odourless mineral spirits", "3")
    expect(page.locator("#answer")).to_contain_text("25 %")
    page.get_by_label("Over which panel").select_option(label="Two pears")
    expect(gist).to_contain_text("Stop")
    expect(page.locator("#answer")).to_contain_text("Rule R03")
    expect(page.locator("#answer")).to_contain_text("Working lightly into it")
    page.locator(".choice", has_text="Glaze, wiped").click()
    expect(page.locator("#answer")).to_contain_text("10\u00a0µm wet".replace("\u00a0", " "))
    page.get_by_role("button", name="Another part").click()
    choose(page, 2, "Raw umber", "1")
    expect(page.locator("#answer")).to_contain_text("Manganese dust")
    page.get_by_role("button", name="Take away part 3").click()
    expect(page.locator("#answer")).not_to_contain_text("Manganese dust")
    page.get_by_label("Keep it as a mix named").fill("Thin white")
    page.get_by_role("button", name="Keep this mix").click()
    expect(page.get_by_role("heading", name="Thin white")).to_be_visible()
    expect(page.locator("#flash")).to_contain_text("Kept the mix “Thin white”")


def test_the_last_thing_typed_is_answered_however_slow_the_answer_before(studio: RunningServer, page: Page):
    """An answer on its way is given up for a newer question; it neither holds it back nor overwrites it."""
    page.goto(studio.url + "/mixing")
    choose(page, 0, "Titanium white", "9")
    expect(page.locator("#gist")).to_contain_text("Touch-dry likely")
    asked: list[str] = []

    def slowly(route: Route) -> None:
        asked.append(route.request.url)
        if len(asked) == 1:
            page.wait_for_timeout(1500)
        with contextlib.suppress(PlaywrightError):  # given up by the page meanwhile
            route.continue_()

    page.route("**/mixing?**", slowly)
    page.locator("[name='parts-1-item']").select_option(label="Odourless mineral spirits")
    page.wait_for_timeout(400)
    page.locator("[name='parts-1-parts']").fill("3")
    page.wait_for_timeout(500)
    page.get_by_label("Over which panel").select_option(label="Two pears")
    expect(page.locator("#gist")).to_contain_text("Stop")
    assert "parts-1-parts=3" in asked[-1]
    page.wait_for_timeout(1500)
    expect(page.locator("#gist")).to_contain_text("Stop")


def test_enter_works_it_out_and_takes_nothing_away(studio: RunningServer, plain_page: Page):
    plain_page.goto(studio.url + "/mixing")
    choose(plain_page, 0, "Titanium white", "9")
    plain_page.locator("[name='parts-0-parts']").press("Enter")
    expect(plain_page.locator("#answer")).to_contain_text("Touch-dry likely")
    expect(plain_page.locator("[name='parts-0-parts']")).to_have_value("9")


def test_everything_works_without_script(studio: RunningServer, plain_page: Page):
    page = plain_page
    page.goto(studio.url + "/mixing")
    choose(page, 0, "Titanium white", "9")
    choose(page, 1, "Ivory black", "1")
    page.get_by_role("button", name="Another part").click()
    choose(page, 2, "Linseed oil", "1")
    page.get_by_role("button", name="Take away part 2").click()
    page.get_by_label("Over which panel").select_option(label="Two pears")
    page.get_by_role("button", name="Work it out").last.click()
    expect(page.locator("#answer")).to_contain_text("1.11")  # 9 parts of paint with 1 of oil: D = 10/9
    page.get_by_label("Keep it as a mix named").fill("Rich white")
    page.get_by_role("button", name="Keep this mix").click()
    expect(page.get_by_role("heading", name="Rich white")).to_be_visible()


def test_a_mix_without_a_name_comes_back_whole(studio: RunningServer, plain_page: Page, watch):
    watch.expected_statuses.add(422)
    page = plain_page
    page.goto(studio.url + "/mixing")
    choose(page, 0, "Titanium white", "9")
    page.get_by_role("button", name="Keep this mix").click()
    expect(page.get_by_role("alert")).to_contain_text("Give the mix a name")
    expect(page.locator("[name='parts-0-parts']")).to_have_value("9")


@pytest.mark.parametrize("width", [320, 390, 1440])
def test_nothing_sticks_out_sideways(studio: RunningServer, page: Page, width: int):
    page.set_viewport_size({"width": width, "height": 800})
    for path in PAGES:
        page.goto(studio.url + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_targets_are_large_enough_for_a_thumb(studio: RunningServer, phone: Page):
    for path in PAGES:
        phone.goto(studio.url + path)
        assert phone.evaluate(SMALL_TARGETS, CONTROLS) == [], path


def test_focus_is_not_hidden_under_the_line_in_sight(studio: RunningServer, page: Page):
    page.goto(studio.url + "/mixing")
    choose(page, 0, "Titanium white", "9")
    expect(page.locator("#gist .slab")).to_be_visible()
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    for _ in range(30):
        page.keyboard.press("Shift+Tab")
        hidden = page.evaluate("""() => {
            const gist = document.querySelector('#gist .slab').getBoundingClientRect();
            const now = document.activeElement;
            if (!now || now === document.body || now.closest('.only-read')) return false;
            const box = now.getBoundingClientRect();
            return box.height > 0 && box.top >= gist.top && box.bottom <= gist.bottom && !now.closest('#gist');
        }""")
        assert not hidden
