"""The parts of the design in a real browser, all of them on one page: size of targets, reflow, keyboard, drawings.

Sizes: WCAG 2.2, success criteria 1.4.10 (reflow at 320 px) and 2.5.8 (targets of at least 24 px); 44 and 60 px are
ours.
"""

from collections import Counter

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import RunningServer

CONTROLS = (
    "button, a.button, select, input:not([type=hidden]):not([type=radio]):not([type=checkbox]), summary, .choice, .tick"
)
SMALL_TARGETS = """selector => [...document.querySelectorAll(selector)].filter(node => {
    const box = node.getBoundingClientRect();
    return box.width > 1 && !node.closest('.only-read') && (box.height < 43.5 || box.width < 43.5);
}).map(node => node.outerHTML.slice(0, 120))"""


@pytest.mark.parametrize("width", [320, 390, 1440])
def test_nothing_sticks_out_sideways(demo_server: RunningServer, page: Page, width: int):
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(demo_server.url + "/parts")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_targets_are_large_enough_for_a_thumb(demo_server: RunningServer, phone: Page):
    phone.goto(demo_server.url + "/parts")
    assert phone.evaluate(SMALL_TARGETS, CONTROLS) == []
    heights = phone.evaluate(
        "[...document.querySelectorAll('.tall, .press-row > button')].map(n => n.getBoundingClientRect().height)"
    )
    assert heights
    assert min(heights) >= 60


def test_areas_are_within_a_thumbs_reach(demo_server: RunningServer, phone: Page):
    phone.goto(demo_server.url + "/parts")
    box = phone.get_by_role("navigation", name="Areas").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] == pytest.approx(844, abs=1)
    links = phone.get_by_role("navigation", name="Areas").get_by_role("link")
    assert all((link.bounding_box() or {"height": 0})["height"] >= 60 for link in links.all())


def test_every_drawing_is_drawn_and_named(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    page.wait_for_load_state("networkidle")
    drawings = page.locator("svg[role=img]")
    for part in ("title", "desc"):
        texts = drawings.locator(f"> {part}").all_text_contents()
        assert len(texts) == drawings.count()
        assert all(texts)
    blank = "[...document.querySelectorAll('svg.shape use')].filter(use => use.getBoundingClientRect().width < 1)"
    assert page.evaluate(f"{blank}.map(use => use.getAttribute('href'))") == []
    used = set(page.evaluate("[...document.querySelectorAll('use')].map(use => use.getAttribute('href'))"))
    own = set(page.evaluate("[...document.querySelectorAll('svg [id]')].map(part => '#' + part.id)"))
    wanted = {href.split("#")[1] for href in used - own}
    sprite = page.request.get(demo_server.url + "/static/shapes.svg").text()
    missing = {name for name in wanted if f'id="{name}"' not in sprite}
    assert not missing


def test_both_lights_stand_side_by_side(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    colours = page.evaluate(
        "[...document.querySelectorAll('.theme-side')].map(s => getComputedStyle(s).backgroundColor)"
    )
    assert colours == ["rgb(220, 221, 210)", "rgb(20, 19, 15)"]


def test_no_id_is_given_twice_and_every_label_has_its_field(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(node => node.id)")
    assert [name for name, count in Counter(ids).items() if count > 1] == []
    loose = page.evaluate("[...document.querySelectorAll('label[for]')].filter(l => !l.control).map(l => l.htmlFor)")
    assert loose == []
    told = "[...document.querySelectorAll('[aria-describedby]')].map(node => node.getAttribute('aria-describedby'))"
    assert {name for names in page.evaluate(told) for name in names.split()} <= set(ids)


def test_faults_take_the_keyboards_place(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    expect(page.locator(".faults").first).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#f-light_f_width")).to_be_focused()
    assert page.locator("#f-light_f_width").get_attribute("aria-invalid") == "true"


def test_rows_come_and_go_in_place(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    rows = page.locator("#f-light_parts .row")
    expect(rows).to_have_count(2)
    page.locator("#f-light_parts").get_by_role("button", name="Another part").click()
    expect(rows).to_have_count(3)
    expect(page.locator("[name='light_parts-2-paint']")).to_be_focused()
    assert page.locator("[name='light_parts-2-parts']").input_value() == ""
    page.locator("#f-light_parts button[value='light_parts-0']").click()
    expect(rows).to_have_count(2)
    expect(page.locator("[name='light_parts-0-parts']")).to_have_count(0)
    assert page.locator("[name='light_parts-1-parts']").input_value() == "1"


def test_enter_in_a_field_saves_and_takes_no_row_away(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    page.locator("#f-light_title").press("Enter")
    page.wait_for_url("**/parts?**")
    assert "_remove" not in page.url
    assert "light_title=Two+pears" in page.url


def test_a_colours_dab_follows_its_field(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    page.locator("#f-light_swatch").fill("#123456")
    assert page.locator(".with-dab:has(#f-light_swatch) [data-dab]").get_attribute("fill") == "#123456"


def test_focus_is_seen(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    page.locator("#f-light_title").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)") >= 3
    page.locator("input[name=light_thick]").first.focus()
    page.keyboard.press("ArrowRight")
    face = "getComputedStyle(document.activeElement.nextElementSibling).outlineWidth"
    assert page.evaluate(f"parseFloat({face})") >= 3


def test_print_leaves_out_what_cannot_be_pressed_on_paper(demo_server: RunningServer, page: Page):
    page.goto(demo_server.url + "/parts")
    page.emulate_media(media="print")
    expect(page.locator(".areas")).to_be_hidden()
    expect(page.locator(".press-row").first).to_be_hidden()
    expect(page.locator("svg.section").first).to_be_visible()
