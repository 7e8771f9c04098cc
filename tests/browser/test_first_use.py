"""The first minutes in an empty studio."""

from dataclasses import dataclass
from math import ceil

from playwright.sync_api import Browser, Locator, Page, expect

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


@dataclass
class Thumb:
    """One thumb on a phone, and what it had to do: ``taps`` on a control, ``typed`` characters, ``swipes`` to bring a
    control into sight, ``words`` read on the way."""

    page: Page
    taps: int = 0
    typed: int = 0
    swipes: int = 0
    words: int = 0

    def tap(self, control: Locator) -> None:
        self._reach(control)
        control.tap()
        self.taps += 1

    def type(self, field: Locator, text: str) -> None:
        self.tap(field)
        field.press_sequentially(text)
        self.typed += len(text)

    def choose(self, field: Locator, label: str) -> None:
        self._reach(field)
        field.select_option(label=label)
        self.taps += 2  # the list opened, the line in it

    def read_to(self, control: Locator) -> None:
        """Tap the control that ends the page, having read every word down to it."""
        expect(control).to_be_visible()
        self.words += control.evaluate(WORDS_DOWN_TO)
        self.tap(control)

    def _reach(self, control: Locator) -> None:
        box = control.bounding_box()
        assert box is not None
        beyond = max(box["y"] + box["height"] - SIGHT_PX, -box["y"], 0)
        self.swipes += ceil(beyond / SWIPE_PX)


# The words from the page's head down to a control, without what is folded up or stands further down in a list.
WORDS_DOWN_TO = """control => {
    const end = control.getBoundingClientRect().bottom, words = text => text.split(/\\s+/).filter(Boolean).length;
    const walk = document.createTreeWalker(document.getElementById("main"), NodeFilter.SHOW_TEXT), range = new Range();
    let found = 0;
    while (walk.nextNode()) {
        range.selectNode(walk.currentNode);
        const box = range.getBoundingClientRect();
        const around = walk.currentNode.parentElement;
        const isSeen = around.checkVisibility() && !around.closest('option') && box.height > 2;
        if (isSeen && box.top < end) found += words(walk.currentNode.data);
    }
    return found;
}"""
SIGHT_PX = PHONE["height"] - 60  # the areas at the screen's foot lie over the rest
SWIPE_PX = PHONE["height"] * 0.7
# Keystroke-level model: Card, Moran and Newell, "The keystroke-level model for user performance time with interactive
# systems", 1980; seconds from memory: a keystroke of somebody who types now and then, to point, to make up one's mind.
# It was measured with a mouse and a keyboard: for a thumb it is a yardstick, no more.
K_S, P_S, M_S = 0.28, 1.1, 1.35
READ_WORDS_S = 240 / 60  # silent reading of plain English, about 240 words a minute, from memory
MOST_TAPS, MOST_TYPED, MOST_S = 10, 13, 180


def test_the_first_painted_layer_is_there_within_ten_taps_and_three_minutes(server: RunningServer, browser: Browser):
    """From the first visit to a panel with its first painted layer and the days that it dries: 10 taps, 13 characters.

    The three minutes, 176 s at the last count: each tap points (P), is thought about (M) and pressed (K); each swipe
    points; each character is a keystroke; every word down to the control that leaves a page is read once.
    """
    context = browser.new_context(
        viewport=PHONE, has_touch=True, is_mobile=True, locale="en-GB", timezone_id="UTC", service_workers="block"
    )
    page = context.new_page()
    thumb = Thumb(page)
    page.goto(server.url)
    thumb.read_to(page.get_by_role("link", name="Hang the first panel"))
    thumb.type(page.get_by_label("Title"), "Two pears")
    thumb.type(page.get_by_label("Width"), "30")
    thumb.type(page.get_by_label("Height"), "24")
    thumb.read_to(page.get_by_role("button", name="Add the panel"))
    thumb.read_to(page.get_by_role("link", name="Record one painted earlier").first)
    thumb.read_to(page.get_by_role("button", name="Put up the starter shelf"))
    expect(page.get_by_role("button", name="Put up the starter shelf")).to_be_hidden()
    thumb.choose(page.get_by_label("Mix, or a tube as it is"), "Burnt umber")
    thumb.read_to(page.get_by_role("button", name="Record it"))
    expect(page.locator("#now ~ p").first).to_contain_text("touch-dry likely")
    context.close()
    seconds = (P_S + M_S + K_S) * thumb.taps + P_S * thumb.swipes + K_S * thumb.typed + thumb.words / READ_WORDS_S
    assert (thumb.taps, thumb.typed) == (MOST_TAPS, MOST_TYPED)
    assert seconds < MOST_S, (seconds, thumb)
