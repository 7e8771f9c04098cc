"""Every page of the demo studio at two sizes and in both lights: quiet, ours alone, within its width, and fit for all.

What is fit for all is asked of axe: WCAG 2.0, 2.1 and 2.2, levels A and AA. A page in one light is looked at in full;
in the other light only colours can differ.
"""

from datetime import datetime, timedelta, timezone
from functools import cache
from importlib.resources import files
from typing import Any

import pytest
from playwright.sync_api import Page, ViewportSize

from tests.browser import addresses, in_pieces
from tests.browser.conftest import PHONE, RunningServer

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]
WHOLE = {
    "runOnly": {"type": "tag", "values": TAGS},
    "rules": {"target-size": {"enabled": True}},
    "resultTypes": ["violations"],
}
COLOURS = {
    "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
    "resultTypes": ["violations"],
}
TELL_VIOLATIONS = """document.addEventListener("securitypolicyviolation", event =>
    console.error(`Content-Security-Policy: ${event.violatedDirective} stopped ${event.blockedURI}`))"""
# The weave of the wall behind everything changes its colour by less than the eye sees, but an image behind words makes
# axe give up on their contrast.
BARE_WALL = "document.body.style.backgroundImage = 'none'"
RUN_AXE = """options => axe.run(document, options).then(found => found.violations.map(fault =>
    `${fault.id}: ${fault.help}: ` + fault.nodes.map(node => node.html.slice(0, 160)).join(" | ")))"""
# What moved while the page came, in pieces, and was laid out, without anybody's doing: layout shifts of the Layout
# Instability API.
NOTE_SHIFTS = """window.shifts = [];
new PerformanceObserver(list => list.getEntries().forEach(shift => window.shifts.push([shift.value,
    Array.from(shift.sources || [], each => each.node && each.node.outerHTML || "").join(" | ").slice(0, 160)])))
    .observe({type: "layout-shift", buffered: true})"""
SETTLED = """new Promise(done => requestAnimationFrame(() => requestAnimationFrame(
    () => setTimeout(() => done(window.shifts), 50))))"""
UNSEEN = 0.01  # of what a reader would call a jump; a good page stays under 0.1 (common practice, no source)
NARROW: ViewportSize = {"width": 320, "height": 700}
WIDTH = "document.documentElement.scrollWidth"
SCREENS = {"phone": 390, "page": 1440}


@pytest.fixture(scope="session")
def axe() -> str:
    """The script that looks a page over."""
    return files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def addresses_of(demo_server: RunningServer):
    """The addresses of a path in the demo studio."""
    later = datetime.now(timezone.utc).date() + timedelta(days=20)
    return cache(lambda path: addresses.addresses(demo_server.url, demo_server.db, path, later))


@pytest.fixture(params=SCREENS)
def screen(request: pytest.FixtureRequest) -> Page:
    """A page on a phone, then one on a desk, in daylight; it must have been quiet when the test ends."""
    page: Page = request.getfixturevalue(request.param)
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    page.add_init_script(TELL_VIOLATIONS)
    page.add_init_script(NOTE_SHIFTS)
    return page


def bring_in_pieces(page: Page, url: str, pause_s: float = in_pieces.PAUSE_S) -> None:
    """From here on pages come in pieces, and the style is there already: else nothing is shown before all have come."""
    page.goto(url + "/waiting")
    page.set_extra_http_headers({in_pieces.ASKED: str(pause_s)})


def faults_of_laying_out(page: Page) -> list[str]:
    """What moved on the page while it came."""
    shifts: list[tuple[float, str]] = page.evaluate(SETTLED)
    return [f"moved by {value:.3f}: {what}" for value, what in shifts if value > UNSEEN]


def faults_of_look(page: Page, axe: str) -> list[str]:
    """What is wrong with the page as it stands, in daylight and in lamplight."""
    page.evaluate(axe)
    page.evaluate(BARE_WALL)
    faults: list[Any] = page.evaluate(RUN_AXE, WHOLE)
    page.emulate_media(color_scheme="dark")
    faults += [f"by lamplight: {fault}" for fault in page.evaluate(RUN_AXE, COLOURS)]
    page.emulate_media(color_scheme="light")
    return faults


def faults_of_width(page: Page) -> list[str]:
    """Whether it scrolls sideways, as it stands and at 320 px (WCAG 2.2, success criterion 1.4.10)."""
    size = page.viewport_size
    assert size is not None
    wide = [f"{found} px wide on {size['width']}" for found in [page.evaluate(WIDTH)] if found > size["width"]]
    page.set_viewport_size(NARROW)
    wide += [f"{found} px wide on 320" for found in [page.evaluate(WIDTH)] if found > NARROW["width"]]
    page.set_viewport_size(size)
    return wide


@pytest.mark.parametrize("path", addresses.paths())
def test_a_page_is_fit_to_be_seen(demo_server: RunningServer, screen: Page, addresses_of, axe: str, path: str):
    faults = {}
    bring_in_pieces(screen, demo_server.url)
    for address in addresses_of(path):
        answer = screen.goto(demo_server.url + address)
        assert answer is not None
        assert answer.status == 200, address
        faults[address] = faults_of_laying_out(screen) + faults_of_width(screen) + faults_of_look(screen, axe)
    assert {address: found for address, found in faults.items() if found} == {}


@pytest.mark.parametrize("path", ["/", "/s/{token}"])
def test_the_tiles_of_today_stand_in_one_row_on_a_desk(demo_server: RunningServer, page: Page, addresses_of, path: str):
    page.goto(demo_server.url + addresses_of(path)[0])
    tops = page.locator(".glance > li").evaluate_all("tiles => tiles.map(tile => tile.getBoundingClientRect().top)")
    assert len(tops) > 3
    assert len(set(tops)) == 1


def test_an_empty_studio_is_fit_to_be_seen(server: RunningServer, screen: Page, axe: str):
    faults = {}
    for path in addresses.paths():
        if "{" not in path and path not in {"/parts", "/how", "/rules", "/cautions"}:
            screen.goto(server.url + path)
            faults[path] = faults_of_width(screen) + faults_of_look(screen, axe)
    assert {path: found for path, found in faults.items() if found} == {}


def test_the_laying_out_is_seen(server: RunningServer, screen: Page):
    """Were a page that jumps not found, the above would mean nothing."""
    screen.goto(server.url + "/cautions")
    screen.evaluate("document.querySelector('h1').insertAdjacentHTML('beforebegin', '<p>Late</p>'.repeat(9))")
    assert faults_of_laying_out(screen)


BESIDE = """const old = new CSSStyleSheet();
old.replaceSync(".page-head > .row-of { flex-basis: auto !important }");
document.adoptedStyleSheets = [old]"""


def test_what_jumps_as_it_comes_is_seen(demo_server: RunningServer, screen: Page):
    """Were a head's buttons not put below the title from the start, on a phone they would jump there.

    On a busy machine the browser may draw nothing between two pieces that come soon after each other; then they come
    more slowly.
    """
    screen.set_viewport_size(PHONE)
    screen.add_init_script(BESIDE)
    for pause_s in (in_pieces.PAUSE_S, 0.1, 0.5):
        bring_in_pieces(screen, demo_server.url, pause_s)
        screen.goto(demo_server.url + "/mixes")
        if faults_of_laying_out(screen):
            return
    pytest.fail("nothing was seen to move")


def test_the_look_sees_what_is_wrong(page: Page, axe: str):
    """Words too pale, a field without a name: were they not found, none of the above would mean anything."""
    page.set_content(
        '<html lang="en"><title>x</title><p><input></p><p><font color="#bbbbbb">Pale words</font></p></html>'
    )
    told = " ".join(faults_of_look(page, axe))
    assert "label: " in told
    assert "color-contrast: " in told
