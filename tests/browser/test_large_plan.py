"""A large plan in a browser: its parts open in place, or on pages of their own where no script runs."""

from collections.abc import Iterator
from importlib.resources import files

import pytest
from playwright.sync_api import Page, expect

from server.store.db import Database
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.conftest import RunningServer, Watch, run_server
from tests.browser.test_every_page import faults_of_look, faults_of_width
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.large_plan import content, fill, moved, propose

FOCUSED = "document.activeElement.id"


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


@pytest.fixture
def large(bare: Bench) -> Iterator[tuple[RunningServer, list[dict[str, str]]]]:
    """A large plan in use, and its sittings as they are stored."""
    sittings = fill(bare)
    propose(bare, content(sittings), taken=True)
    app = create_app(Settings(str(bare.db.url)), bare.db)
    app.state.clock = lambda: NOW
    for server in run_server(app, bare.db):
        yield server, sittings


def of_january(sittings: list[dict[str, str]]) -> str:
    return next(s["id"] for s in sittings if s["start_at"].startswith("2027-01"))


def test_a_month_opens_in_place_and_a_pin_leads_back_into_it(
    large: tuple[RunningServer, list[dict[str, str]]], phone: Page
) -> None:
    server, sittings = large
    phone.goto(server.url + "/plan")
    phone.locator("#month-2027-01").tap()
    there = phone.locator(f"#sitting-{of_january(sittings)}")
    expect(there).to_be_visible()
    assert phone.url == server.url + "/plan?month=2027-01" and phone.evaluate(FOCUSED) == "month-2027-01"
    expect(phone.locator("summary#month-2027-01")).to_contain_text("January 2027: ")
    expect(phone.locator("a#month-2027-02")).to_be_visible()
    there.locator("summary").tap()
    there.get_by_role("button", name="Pin it here").tap()
    expect(there.get_by_text("pinned", exact=True)).to_be_in_viewport()
    assert phone.url == f"{server.url}/plan?month=2027-01#sitting-{of_january(sittings)}"
    expect(phone.locator("#flash")).to_contain_text("Pinned the ")


def test_a_month_is_opened_and_closed_with_the_keyboard(
    large: tuple[RunningServer, list[dict[str, str]]], page: Page
) -> None:
    server, sittings = large
    page.goto(server.url + "/plan")
    page.locator("#month-2027-01").press("Enter")
    there = page.locator(f"#sitting-{of_january(sittings)}")
    expect(there).to_be_visible()
    page.keyboard.press("Enter")
    expect(there).to_be_hidden()
    assert page.evaluate(FOCUSED) == "month-2027-01"


def test_without_script_a_month_has_a_page_and_a_pin_leads_back(
    large: tuple[RunningServer, list[dict[str, str]]], plain_page: Page
) -> None:
    server, sittings = large
    plain_page.goto(server.url + "/plan")
    plain_page.locator("#month-2027-01").click()
    assert plain_page.url == server.url + "/plan/days/2027-01"
    there = plain_page.locator(f"#sitting-{of_january(sittings)}")
    there.locator("summary").click()
    there.get_by_role("button", name="Pin it here").click()
    assert plain_page.url == f"{server.url}/plan?month=2027-01#sitting-{of_january(sittings)}"
    expect(there.get_by_text("pinned", exact=True)).to_be_in_viewport()


def test_what_a_plan_that_waits_leaves_out_opens_in_place_one_within_the_other(
    bare: Bench, large: tuple[RunningServer, list[dict[str, str]]], page: Page
) -> None:
    server, sittings = large
    propose(bare, content(moved(sittings, 5)), taken=False)
    page.goto(server.url + "/plan")
    assert page.get_by_text(" becomes ").count() == 20
    page.locator("#all-changes").click()
    expect(page.get_by_text("All it changes: ")).to_be_focused()
    assert page.locator("li", has_text=" becomes ").count() > 20
    page.locator(f"#then-help-{sittings[0]['panel']}").click()
    expect(page.get_by_text("Agree on another day")).to_be_visible()
    page.locator("#then-more-panels").click()
    expect(page.locator("summary#then-more-panels")).to_be_focused()
    page.locator("#its-days").click()
    expect(page.locator("#dates")).to_be_visible()
    page.locator("a#month-2027-01").click()
    expect(page.locator(f"#sitting-{of_january(sittings)}")).to_be_visible()
    assert page.url == server.url + "/plan?open=days&month=2027-01"


def test_back_from_a_panel_the_month_is_open_as_it_was_left(
    large: tuple[RunningServer, list[dict[str, str]]], phone: Page
) -> None:
    server, sittings = large
    phone.goto(server.url + "/plan")
    phone.locator("#month-2027-01").tap()
    there = phone.locator(f"#sitting-{of_january(sittings)}")
    there.get_by_role("link").tap()
    expect(phone.locator("#next")).to_be_visible()
    phone.go_back()
    expect(there).to_be_in_viewport()
    phone.reload()
    expect(there).to_be_visible()


def test_a_line_of_a_plan_that_was_taken_meanwhile_says_so(
    bare: Bench, large: tuple[RunningServer, list[dict[str, str]]], page: Page, watch: Watch
) -> None:
    server, sittings = large
    propose(bare, content(moved(sittings, 5)), taken=False)
    page.goto(server.url + "/plan")
    propose(bare, content(moved(sittings, 7)), taken=False)
    watch.expected_statuses.add(404)
    page.locator("#then-more-panels").click()
    expect(page.locator("main")).to_contain_text("This plan was taken or put away, or none was made yet.")
    page.get_by_role("link", name="The plan as it is now").click()
    expect(page.get_by_role("heading", name="A plan to look at")).to_be_visible()


def test_on_paper_a_day_has_its_date_and_a_line_says_that_more_is_left_out(
    large: tuple[RunningServer, list[dict[str, str]]], page: Page
) -> None:
    server, _ = large
    page.goto(server.url + "/plan")
    word, on_paper = page.get_by_text("Today", exact=True).last, page.get_by_text("Wednesday 25 November 2026")
    left_out = page.locator(".opens", has_text="January 2027").get_by_text("(not printed here)")
    expect(word).to_be_visible()
    expect(on_paper).to_be_hidden()
    expect(left_out).to_be_hidden()
    page.emulate_media(media="print")
    expect(word).to_be_hidden()
    expect(on_paper).to_be_visible()
    expect(left_out).to_be_visible()


@pytest.mark.parametrize("screen", ["phone", "page"])
def test_a_large_plan_is_fit_to_be_seen(
    bare: Bench, large: tuple[RunningServer, list[dict[str, str]]], request: pytest.FixtureRequest, screen: str
) -> None:
    server, sittings = large
    propose(bare, content(moved(sittings, 5)), taken=False)
    shown: Page = request.getfixturevalue(screen)
    shown.emulate_media(color_scheme="light", reduced_motion="reduce")
    shown.goto(server.url + "/plan")
    shown.locator("#its-days").click()
    for name in ("#month-2027-01", "#then-2027-01", "#more-panels"):
        shown.locator(f"a{name}").click()
        expect(shown.locator(f"summary{name}")).to_be_visible()
    axe = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    assert faults_of_width(shown) + faults_of_look(shown, axe) == []
    heights = shown.evaluate("[...document.querySelectorAll('.opens > a')].map(a => a.getBoundingClientRect().height)")
    assert heights and min(heights) >= 44
