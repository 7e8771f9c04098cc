"""A panel from its hanging to an undone touch test, in a real browser, with and without script."""

import re

import pytest
from playwright.sync_api import Page, expect

from server.services import mixes, paints, studios
from server.services.access import Actor
from server.services.unit import unit
from tests.browser.conftest import PHONE, RunningServer, Watch


@pytest.fixture
def stocked(server: RunningServer) -> RunningServer:
    """The server with two mixes on its shelf."""
    with server.db.read() as session:
        studio = studios.the_studio(session)
    actor = Actor("painter", studio.id or 0)
    with unit(server.db, actor, label="Filled the shelf") as work:
        for label, pigment in (("Pale grey", "PW6"), ("Black", "PBk9")):
            tube = {"label": label, "pigments": [{"pigment": pigment}]}
            uid = paints.create(work.session, actor, paints.PaintCreate.model_validate(tube)).uid
            mix = {"label": label, "parts": [{"item": f"paint:{uid}", "parts": 1}]}
            mixes.create(work.session, actor, mixes.MixCreate.model_validate(mix))
    return server


def hang_a_panel(server: RunningServer, page: Page) -> None:
    page.goto(server.url + "/panels")
    page.get_by_role("link", name="Hang the first panel").click()
    page.get_by_label("Width").fill("40,5")
    page.get_by_label("Height").fill("50")
    page.get_by_role("button", name="Add the panel").click()
    expect(page.locator(".faults")).to_contain_text("Fill this in.")
    expect(page.get_by_label("Width")).to_have_value("40,5")
    page.get_by_label("Title").fill("Two pears")
    page.get_by_role("button", name="Add the panel").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Two pears")
    expect(page.locator("#flash")).to_contain_text("Added the panel “Two pears”")


def plan_a_layer(page: Page) -> None:
    page.get_by_role("link", name="Plan a layer").first.click()
    page.get_by_role("radio", name="Block-in").check()
    page.get_by_role("button", name="Another mix").click()
    page.get_by_label("Mix, or a tube as it is", exact=True).nth(1).select_option("Black")
    page.get_by_label("Mix, or a tube as it is", exact=True).nth(0).select_option("Pale grey")
    page.get_by_label("Share of the area").nth(0).fill("70")
    page.get_by_label("Share of the area").nth(1).fill("30")
    page.get_by_label("Where").nth(1).fill("shadows")
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_role("heading", name="Next: block-in")).to_be_visible()
    # The address names the layer, with and without script: it can be kept, and the layer is in sight.
    expect(page).to_have_url(re.compile(r"/panels/[\w-]+#layer-[\w-]+$"))
    expect(page.locator(".layer").first).to_be_in_viewport()


def paint_it(page: Page) -> None:
    """Two taps."""
    page.get_by_role("link", name="Painted").first.click()
    page.get_by_role("button", name="Painted as planned").click()
    expect(page.locator(".layer").first).to_contain_text("painted today")


def press_it_and_take_that_back(page: Page) -> None:
    page.get_by_role("button", name="Tacky").first.click()
    # So soon after it went on that is asked about, and the answer kept.
    expect(page.get_by_text("That is unusual. Sure?")).to_be_visible()
    page.get_by_role("button", name="Yes, that is right").click()
    expect(page.locator("#flash")).to_contain_text("pressed: tacky")
    expect(page.get_by_text("Touch tests (1)")).to_be_visible()
    page.locator("#flash").get_by_role("button", name="Undo").click()
    expect(page.locator("#flash")).to_contain_text("Undid:")
    expect(page.get_by_text("Touch tests (0)")).to_be_visible()


def walk(server: RunningServer, page: Page) -> None:
    hang_a_panel(server, page)
    plan_a_layer(page)
    paint_it(page)
    press_it_and_take_that_back(page)
    assert re.fullmatch(r"/panels/[\w-]+", page.evaluate("location.pathname"))


def test_the_walk(stocked: RunningServer, page: Page, watch: Watch):
    watch.expected_statuses.add(422)
    walk(stocked, page)


def test_the_walk_on_a_phone(stocked: RunningServer, phone: Page, watch: Watch):
    watch.expected_statuses.add(422)
    walk(stocked, phone)


def test_the_walk_without_script(stocked: RunningServer, plain_page: Page, watch: Watch):
    watch.expected_statuses.add(422)
    hang_a_panel(stocked, plain_page)
    plan_a_layer(plain_page)
    paint_it(plain_page)
    press_it_and_take_that_back(plain_page)


def test_the_form_is_exchanged_in_place(stocked: RunningServer, page: Page, watch: Watch):
    """With script a fault does not load the page anew, and the keyboard lands on what is wrong."""
    watch.expected_statuses.add(422)
    page.goto(stocked.url + "/panels/new")
    page.evaluate("window.marked = true")
    page.get_by_role("button", name="Add the panel").click()
    expect(page.locator(".faults")).to_be_focused()
    assert page.evaluate("window.marked") is True
    page.get_by_label("Title").fill("Two pears")
    page.get_by_label("Width").fill("40")
    page.get_by_label("Height").fill("50")
    page.get_by_label("Height").press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Two pears")
    assert page.evaluate("window.marked") is True
    assert page.title().startswith("Two pears")
    expect(page.locator("#main")).to_be_focused()
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_have_text("A new panel")


@pytest.mark.parametrize("width", [320, PHONE["width"]])
def test_no_page_of_a_panel_scrolls_sideways(demo_server: RunningServer, phone: Page, width: int):
    phone.set_viewport_size({"width": width, "height": 700})
    phone.goto(demo_server.url + "/panels")
    panels = phone.eval_on_selector_all(".hang .title a", "links => links.map(link => link.href)")
    phone.goto(panels[0])
    inner = phone.eval_on_selector_all("main a[href^='/layers/']", "links => links.map(link => link.href)")
    for address in [f"{demo_server.url}/panels", *panels, *dict.fromkeys(inner), f"{panels[0]}/layers/new"]:
        phone.goto(address)
        assert phone.evaluate("document.documentElement.scrollWidth") <= width, address


def test_tall_targets_for_painty_hands(demo_server: RunningServer, phone: Page):
    """60 px for what is pressed while painting."""
    phone.goto(demo_server.url + "/panels?state=test")
    phone.locator(".hang .title a").first.click()
    for button in phone.locator(".press-row button").all():
        box = button.bounding_box()
        assert box and box["height"] >= 60 and box["width"] >= 60


def test_a_title_without_a_space_stays_on_the_page(stocked: RunningServer, phone: Page):
    phone.set_viewport_size({"width": 320, "height": 700})
    phone.goto(stocked.url + "/panels/new")
    phone.get_by_label("Title").fill("W" * 200)
    phone.get_by_label("Width").fill("1000")
    phone.get_by_label("Height").fill("0,1")
    phone.get_by_role("button", name="Add the panel").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("W" * 200)
    panel = phone.url
    phone.goto(panel + "/layers/new")
    phone.get_by_label("Or in your own word").fill("Q" * 32)
    phone.get_by_label("Where").first.fill("R" * 120)
    phone.get_by_label("Mix, or a tube as it is", exact=True).first.select_option("Black")
    phone.get_by_role("button", name="Plan it").click()
    expect(phone.get_by_role("heading", name="Next: " + "Q" * 32)).to_be_visible()
    for address in (panel, panel + "/edit", stocked.url + "/panels", stocked.url + "/history"):
        phone.goto(address)
        assert phone.evaluate("document.documentElement.scrollWidth") <= 320, address
