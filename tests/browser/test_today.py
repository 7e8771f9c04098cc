"""Today and the calendar in a real browser: one press, its undo, two taps, by thumb, without script, reflow."""

import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise

import pytest
from playwright.sync_api import Page, expect

from server.store.db import Database
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.conftest import RunningServer, run_server
from tests.services.board_studio import trade_fact
from tests.services.conftest import NOW, Bench, make_bench


@pytest.fixture
def bench(db: Database) -> Bench:
    made = make_bench(db)
    trade_fact(made)
    ready = made.panel(title="Bare board")
    made.layer(ready)
    return made


@pytest.fixture
def wall(bench: Bench, db: Database) -> Iterator[RunningServer]:
    app = create_app(Settings(str(db.url)), db)
    app.state.clock = lambda: NOW
    yield from run_server(app, db)


def card(page: Page, title: str):
    return page.locator("li.card", has=page.get_by_role("heading", name=title))


def test_one_press_changes_the_card_in_place_and_can_be_undone(wall: RunningServer, phone: Page):
    phone.goto(wall.url + "/")
    beach = card(phone, "Winter beach")
    expect(beach).to_contain_text("Test first")
    phone.evaluate("window.stays = true")
    beach.get_by_role("button", name="Touch-dry").tap()
    expect(beach).to_contain_text("Ready")
    expect(beach.get_by_role("status")).to_contain_text("Winter beach")
    assert phone.evaluate("window.stays") is True  # the page was not loaded again
    beach.get_by_role("button", name="Undo").tap()
    expect(beach).to_contain_text("Test first")
    assert phone.evaluate("window.stays") is True
    # Once more, with a key of its own.
    beach.get_by_role("button", name="Tacky").tap()
    expect(beach).to_contain_text("tacky")
    expect(beach.get_by_role("button", name="Undo")).to_be_visible()


def test_a_press_moves_nothing_and_keeps_the_keyboard_where_it_was(wall: RunningServer, page: Page):
    """What is exchanged stands where it stood, and so does all above it; the focus stays in it."""
    page.set_viewport_size({"width": 1440, "height": 2400})  # all in sight: what has the focus need not be scrolled to
    page.goto(wall.url + "/")
    beach = card(page, "Winter beach")
    button = beach.get_by_role("button", name="Touch-dry")
    button.focus()
    before = beach.bounding_box()
    page.keyboard.press("Enter")
    expect(beach).to_contain_text("Ready")
    after = beach.bounding_box()
    assert before is not None
    assert after is not None
    assert (after["x"], after["width"]) == (before["x"], before["width"])
    assert abs(after["y"] - before["y"]) <= 1
    assert beach.locator(":focus").count() == 1


def test_the_buttons_are_made_for_thumbs(wall: RunningServer, phone: Page):
    phone.goto(wall.url + "/")
    for button in card(phone, "Winter beach").locator(".press-row button").all():
        box = button.bounding_box()
        assert box is not None
        assert box["width"] >= 60
        assert box["height"] >= 60


def test_two_taps_log_a_painted_layer(wall: RunningServer, phone: Page):
    phone.goto(wall.url + "/")
    card(phone, "Bare board").get_by_role("link", name="Painted").tap()
    phone.locator("main form button.button-main").first.tap()
    expect(phone.get_by_text(re.compile("Painted .*Bare board")).first).to_be_visible()
    phone.goto(wall.url + "/")
    expect(card(phone, "Bare board")).to_contain_text("wet")


def test_without_script_the_press_leads_back_to_the_wall(wall: RunningServer, plain_page: Page):
    plain_page.goto(wall.url + "/")
    card(plain_page, "Winter beach").get_by_role("button", name="Touch-dry").click()
    expect(plain_page).to_have_url(re.compile(r"/\?card="))
    expect(card(plain_page, "Winter beach")).to_contain_text("Ready")
    expect(card(plain_page, "Bare board")).to_be_visible()
    plain_page.get_by_role("button", name="Undo").click()
    expect(card(plain_page, "Winter beach")).to_contain_text("Test first")


def test_a_press_that_cannot_be_kept_says_why(wall: RunningServer, bench: Bench, page: Page, watch):
    """The layer was put back to planned on another screen in the meantime."""
    watch.expected_statuses.update({404, 409, 422})
    page.goto(wall.url + "/")
    from server.services import layers, panels

    with bench.unit("Elsewhere") as work:
        panel = next(p for p in panels.all_open(work.session, bench.actor) if p.title == "Winter beach")
        layer = next(x for x in layers.all_open(work.session, bench.actor, panel.uid) if x.painted_at)
        layers.unpaint(work.session, bench.actor, layer.uid)
    card(page, "Winter beach").get_by_role("button", name="Wet").click()
    expect(page.locator("#main")).to_contain_text("is not painted yet")
    assert page.locator("main").count() == 1


def test_another_day_is_chosen_by_the_field(wall: RunningServer, page: Page):
    page.goto(wall.url + "/")
    page.get_by_label("Day", exact=True).fill("2026-12-10")
    expect(page).to_have_url(re.compile("on=2026-12-10"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("Thursday 10 December 2026")
    page.get_by_role("link", name="Today", exact=True).last.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Today")


@pytest.mark.parametrize("path", ["/", "/?on=2026-12-10", "/calendar", "/calendar?view=month", "/calendar?view=agenda"])
def test_nothing_runs_over_the_edge(wall: RunningServer, phone: Page, path: str):
    phone.set_viewport_size({"width": 320, "height": 700})
    phone.goto(wall.url + path)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 320


def test_the_glance_leads_to_its_group(wall: RunningServer, page: Page):
    page.goto(wall.url + "/")
    glance = page.locator(".glance")
    expect(glance.get_by_role("link", name=re.compile("1 ready"))).to_be_visible()
    glance.get_by_role("link", name=re.compile("1 to press first")).click()
    expect(page).to_have_url(re.compile("#test$"))


def test_the_views_of_the_calendar(wall: RunningServer, page: Page):
    page.goto(wall.url + "/calendar")
    for view in ("Month", "Agenda", "Season"):
        page.get_by_role("link", name=view, exact=True).click()
        expect(page.get_by_role("link", name=view, exact=True)).to_have_attribute("aria-current", "page")
    page.get_by_role("link", name="Later").click()
    page.get_by_role("link", name="Around today").click()
    expect(page.get_by_role("link", name="Around today")).to_have_count(0)


NAMES_IN_SIGHT = """[...document.querySelectorAll(".cal-month-name:not([visibility=hidden])")]
    .map(name => name.getBoundingClientRect()).map(box => [box.left, box.right])"""


def test_the_month_at_the_edge_keeps_its_name_in_sight(wall: RunningServer, phone: Page):
    """Where the calendar was moved into a month, its name would else be left of what is seen, or cut through."""
    phone.goto(wall.url + "/calendar")
    corner = phone.locator(".cal-corner").bounding_box()
    assert corner is not None
    edge = corner["x"] + corner["width"]
    held = 0
    for to in (40, 80, 150, 300, 420):
        phone.locator("#cal").evaluate("(calendar, to) => { calendar.scrollLeft = to }", to)
        phone.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        names = phone.evaluate(NAMES_IN_SIGHT)
        assert len(names) > 1
        assert names[0][0] >= edge - 1, to
        assert all(right < next_left for (_, right), (next_left, _) in pairwise(names)), to
        held += names[0][0] < edge + 10
    assert held > 2
    phone.emulate_media(media="print")  # paper shows all of it
    shown = phone.locator(".cal-month-name").evaluate_all("names => names.map(n => getComputedStyle(n).visibility)")
    assert set(shown) == {"visible"}


def test_the_keyboard_moves_the_calendar(wall: RunningServer, page: Page):
    """Keys count only within the calendar (WCAG 2.2, success criterion 2.1.4)."""
    page.goto(wall.url + "/calendar?view=year")
    page.keyboard.press("+")
    expect(page).to_have_url(re.compile("view=year"))
    for view in ("season", "month", "week"):
        page.locator("#cal").focus()
        page.keyboard.press("+")
        expect(page).to_have_url(re.compile(f"view={view}"))
    page.get_by_role("link", name="Later").click()
    expect(page.get_by_role("link", name="Around today")).to_be_visible()
    page.locator("#cal").focus()
    page.keyboard.press("t")
    expect(page.get_by_role("link", name="Around today")).to_have_count(0)
    page.locator("#cal").focus()
    page.keyboard.press("-")
    expect(page).to_have_url(re.compile("view=month"))


def test_an_old_wall_still_logs_the_press(wall: RunningServer, page: Page):
    """A page left open over the turn of the ten minutes still has a key that works."""
    page.goto(wall.url + "/")
    wall.app.state.clock = lambda: NOW + timedelta(minutes=25)
    card(page, "Winter beach").get_by_role("button", name="Firm").click()
    expect(card(page, "Winter beach")).to_contain_text("firm")


def test_the_wall_comes_anew_by_itself_and_twice(bench: Bench, wall: RunningServer, page: Page):
    page.clock.install()
    page.goto(wall.url + "/wall")
    hung = page.locator(".wall-large > li, .wall-resting > li")
    before = hung.count()
    for more in (1, 2):
        bench.panel(title=f"Hung meanwhile {more}")
        page.clock.fast_forward(301_000)
        expect(hung).to_have_count(before + more)
