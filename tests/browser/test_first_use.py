"""The first minutes in an empty studio."""

from playwright.sync_api import Browser, expect

from server.services import studios
from tests.browser.conftest import PHONE, RunningServer


def test_a_bare_wall_offers_the_clock_of_the_device(server: RunningServer, browser: Browser):
    """A machine in a cupboard often runs on UTC while the painter's phone knows where they are."""
    context = browser.new_context(timezone_id="Asia/Tokyo", locale="en-GB", viewport=PHONE, service_workers="block")
    page = context.new_page()
    page.goto(server.url)
    page.get_by_role("button", name="Take this device's: Asia/Tokyo").click()
    expect(page.locator("#flash")).to_contain_text("Days are counted in Asia/Tokyo")
    expect(page.locator("[data-zone]")).to_be_hidden()
    with server.db.read() as session:
        assert studios.the_studio(session).time_zone == "Asia/Tokyo"
    page.locator("#flash").get_by_role("button", name="Undo").click()
    expect(page.locator("[data-zone]")).to_be_visible()
    context.close()
