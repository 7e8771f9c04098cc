"""Ways back and the finish under a thumb: what stands alone to be tapped is 44 px high, and nothing lies over it."""

import pytest
from playwright.sync_api import Page
from sqlmodel import select

from server.store.tables import Layer, Panel
from tests.browser.conftest import RunningServer

LEAST = 44
LINKS = """selector => [...document.querySelectorAll(selector)].map(link => {
  link.scrollIntoView({block: "center"})
  const box = link.getBoundingClientRect(), x = box.left + box.width / 2
  const hit = y => document.elementFromPoint(x, y) === link
  return [link.textContent, box.height, hit(box.top + 2), hit(box.bottom - 2)]
})"""


@pytest.mark.parametrize(
    "address", ["/plan/promise", "/calendar", "finish", "finish/steps?action=wrap", "finish/tests", "tests"]
)
def test_links_that_stand_alone_are_high_enough_for_a_thumb(
    demo_server: RunningServer, phone: Page, address: str
) -> None:
    with demo_server.db.read() as session:
        panel = session.exec(select(Panel).where(Panel.title == "Lemons, blue bowl")).one()
        layer = session.exec(select(Layer).where(Layer.panel_id == panel.id)).first()
    assert layer is not None
    of = {"tests": f"/layers/{layer.uid}/tests"}
    phone.goto(demo_server.url + of.get(address, address if address[0] == "/" else f"/panels/{panel.uid}/{address}"))
    phone.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    found = phone.evaluate(LINKS, ".page-head a, .how-to p > a:only-child")
    assert found
    assert [one for one in found if one[1] < LEAST or not (one[2] and one[3])] == []
