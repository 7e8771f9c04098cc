"""``./umberday pictures [FOLDER]``: every page of the demo studio as a picture, at two sizes and in both lights.

``./umberday pictures --readme`` takes the README's three instead. The demo is always that of the same moment, so that
two pictures differ by what was changed in the program.
"""

import re
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timezone
from pathlib import Path
from typing import Literal

from playwright.sync_api import Browser, FloatRect, Page, ViewportSize

from tests.browser import addresses
from tests.browser.conftest import DESK, PHONE, RunningServer, open_browser, run_demo

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 11, 24, 9, 30, tzinfo=timezone.utc)
LATER = date(2026, 12, 14)
LIGHTS: tuple[Literal["light", "dark"], ...] = ("light", "dark")
SIZES = {"phone": PHONE, "desk": DESK}
HEIGHT = "document.documentElement.scrollHeight"


@dataclass(frozen=True)
class Shown:
    """A picture of the README: ``height`` pixels of a page ``width`` wide, from ``top`` down. ``title`` is a link to
    follow first."""

    name: str
    path: str
    width: int
    height: int
    title: str = ""
    top: int = 0


README = (
    Shown("today", "/", 390, 1360),
    Shown("calendar", "/calendar", 1120, 900),
    Shown("panel", "/panels", 1120, 800, "Sleeping child, study", top=104),
)


def opened(browser: Browser, size: ViewportSize, light: Literal["light", "dark"]) -> Page:
    is_phone = size["width"] < 600
    context = browser.new_context(
        locale="en-GB", timezone_id="UTC", viewport=size, color_scheme=light, is_mobile=is_phone, has_touch=is_phone
    )
    return context.new_page()


def name_of(address: str, seen: list[str]) -> str:
    """``/panels/3nFq/edit?x=1`` as ``panels-1-edit-x-1``: ids become the number of the record among those seen."""
    words = []
    for word in filter(None, re.split(r"[/?&=]", "/today" + address if address[:2] in {"/", "/?"} else address)):
        if re.fullmatch(r"[\w-]{16}", word):
            if word not in seen:
                seen.append(word)
            words.append(str(seen.index(word) + 1))
        else:
            words.append(word)
    return "-".join(words)


def take_all(server: RunningServer, browser: Browser, folder: Path) -> int:
    """Every page at both sizes in both lights, whole. Returns how many pictures were taken."""
    names: dict[str, str] = {}
    for path in addresses.paths():
        seen: list[str] = []
        for address in addresses.addresses(server.url, server.db, path, LATER, every=True):
            names[address] = name_of(address, seen)
    for size_name, size in SIZES.items():
        for light in LIGHTS:
            for address, name in names.items():
                page = opened(browser, size, light)
                page.goto(server.url + address)
                if size == PHONE:
                    # As tall as the page, so that the areas at the screen's foot do not lie across its middle.
                    page.set_viewport_size({"width": size["width"], "height": page.evaluate(HEIGHT)})
                page.screenshot(path=folder / f"{size_name}-{light}" / f"{name}.png", full_page=True)
                page.context.close()
    return len(names) * len(SIZES) * len(LIGHTS)


def take_readme(server: RunningServer, browser: Browser, folder: Path) -> int:
    """The README's pictures, in daylight."""
    for shown in README:
        page = opened(browser, {"width": shown.width, "height": shown.top + shown.height}, "light")
        page.goto(server.url + shown.path)
        if shown.title:
            page.get_by_role("link", name=shown.title).first.click()
            page.get_by_role("heading", level=1, name=shown.title).wait_for()
            page.wait_for_load_state("networkidle")
        clip: FloatRect = {"x": 0, "y": shown.top, "width": shown.width, "height": shown.height}
        page.screenshot(path=folder / f"{shown.name}.png", clip=clip)
        page.context.close()
    return len(README)


def main(arguments: Sequence[str]) -> int:
    is_readme = "--readme" in arguments
    folders = [argument for argument in arguments if not argument.startswith("-")]
    unknown = [argument for argument in arguments if argument.startswith("-") and argument != "--readme"]
    if unknown or len(folders) > 1:
        print("./umberday pictures [FOLDER] [--readme]", file=sys.stderr)
        return 2
    home = ROOT / ("docs/pictures" if is_readme else "out/pictures")
    folder = Path(folders[0]) if folders else home
    folder.mkdir(parents=True, exist_ok=True)
    take = take_readme if is_readme else take_all
    with tempfile.TemporaryDirectory(prefix="umberday-pictures-") as studio, open_browser() as browser:
        for server in run_demo(Path(studio), NOW):
            server.app.state.clock = lambda: NOW
            print(f"{take(server, browser, folder)} pictures in {folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
