"""A layer of several mixes tells each stage's days for each of them without a sideways scroll on a phone."""

from playwright.sync_api import Page
from sqlalchemy import func, select
from sqlmodel import col

from server.store.tables import Layer, LayerMix, Panel
from tests.browser.conftest import RunningServer

OVER = """[...document.querySelectorAll(".by-region")].map(table => {
    const box = table.closest(".scroll-x");
    return box.scrollWidth - box.clientWidth; })"""


def test_the_days_of_every_region_stand_within_the_width_of_a_phone(demo_server: RunningServer, phone: Page):
    with demo_server.db.read() as session:
        of_many = select(col(LayerMix.layer_id)).group_by(col(LayerMix.layer_id)).having(func.count() > 1)
        painted = select(col(Layer.panel_id)).where(col(Layer.id).in_(of_many), col(Layer.painted_at).is_not(None))
        uids = list(session.scalars(select(col(Panel.uid)).where(col(Panel.id).in_(painted))))
    assert uids
    for uid in uids:
        phone.goto(f"{demo_server.url}/panels/{uid}")
        phone.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        tables = phone.locator(".by-region")
        assert tables.count() > 0
        assert phone.evaluate(OVER) == [0] * tables.count()
        region = tables.first.locator("td[data-of]").first
        assert (region.get_attribute("data-of") or "no name") in (phone.text_content("main") or "")
        assert region.is_visible()
