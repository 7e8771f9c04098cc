"""The frame in a real browser: quiet, ours alone, by keyboard, in both lights."""

import pytest
from playwright.sync_api import Browser, Page, expect

from server.web.language.catalogue import LANGUAGES
from tests.browser.conftest import PHONE, RunningServer, Watch

NOWHERE = "/nothing-here"


def test_a_page_is_quiet_and_asks_nobody_else(server: RunningServer, page: Page, watch: Watch):
    watch.expected_statuses.add(404)
    page.goto(server.url + NOWHERE)
    expect(page.get_by_role("heading", level=1)).to_have_text("There is nothing here")
    assert page.evaluate("typeof htmx") == "object"
    watch.assert_quiet()


def test_the_first_tab_skips_to_the_content(server: RunningServer, page: Page, watch: Watch):
    watch.expected_statuses.add(404)
    page.goto(server.url + NOWHERE)
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#main")).to_be_focused()


def test_the_choice_of_light_lasts(server: RunningServer, page: Page, watch: Watch):
    watch.expected_statuses.add(404)
    page.goto(server.url + NOWHERE)
    page.locator("[data-theme-next]").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "light")
    page.reload()
    expect(page.locator("html")).to_have_attribute("data-theme", "light")


@pytest.mark.parametrize("width", [320, PHONE["width"]])
def test_the_frame_fits_a_small_phone(server: RunningServer, phone: Page, watch: Watch, width: int):
    watch.expected_statuses.add(404)
    phone.set_viewport_size({"width": width, "height": 700})
    phone.goto(server.url + NOWHERE)
    assert phone.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_frame_fits_every_width_in_every_language(
    server: RunningServer, browser: Browser, watch: Watch, language: str
):
    """From the narrowest phone over tablets to a desk: the areas go to the foot before they run over the edge."""
    context = browser.new_context(locale=language, viewport={"width": 320, "height": 700})
    watch.follow(context)
    page = context.new_page()
    page.goto(server.url)
    for width in (*range(320, 1500, 60), 1087, 1088, 1089, 1090):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    watch.assert_quiet()
    context.close()


def test_without_script_the_frame_is_whole(server: RunningServer, plain_page: Page, watch: Watch):
    watch.expected_statuses.add(404)
    plain_page.goto(server.url + NOWHERE)
    expect(plain_page.get_by_role("navigation", name="Areas").get_by_role("link")).to_have_count(6)
    expect(plain_page.locator("[data-theme-next]")).to_be_hidden()


def test_enter_in_a_row_sends_the_form_and_takes_no_row_away(server: RunningServer, page: Page, watch: Watch):
    watch.expected_statuses.add(422)
    page.goto(server.url + "/shelf/mediums/new")
    rows = page.locator(".row")
    before = rows.count()
    assert before >= 1
    page.locator(".row input:not([type=hidden])").first.press("Enter")
    expect(page.locator(".faults")).to_be_visible()
    expect(rows).to_have_count(before)
