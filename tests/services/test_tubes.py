"""Tubes go down by what is painted, come back when it is taken back, and are told in time when they will not do."""

from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.services import board, history, layers, paints, panels, purging, shelf, sitting_ends
from server.services.board.tubes import TubeFact, running_low, tubes
from server.services.board.worksheet import Asked, worksheet
from server.services.errors import Invalid
from server.services.layer_commands import LayerPaint
from server.services.mixes import MixCreate, create
from server.services.paints import PaintCreate
from server.services.sitting_ends import SittingEndCreate
from server.services.tube_use import rough, told_alike
from server.store.tables import Mix, Paint, Panel
from tests.services.conftest import NOW, Bench

PRAGUE = ZoneInfo("Europe/Prague")
DAY = timedelta(days=1)
# drying.md, section 6: 40 x 50 cm at 60 um take 12 ml net; 1.3 is lost on brush and palette.
NET_ML, LOSS = 12.0, 1.3


def tube(bench: Bench, label: str, left_ml: float | None, at: Any = NOW - 10 * DAY, **values: Any) -> Paint:
    command = PaintCreate.model_validate(
        {"label": label, "pigments": [{"pigment": "PW6"}], "tube_ml": 40, "left_ml": left_ml} | values
    )
    with bench.unit(now=at) as work:
        return paints.create(work.session, bench.actor, command)


def mix(bench: Bench, parts: list[tuple[str, float]]) -> Mix:
    command = MixCreate.model_validate({"label": "Of tubes", "parts": [{"item": i, "parts": p} for i, p in parts]})
    with bench.unit(now=NOW - 10 * DAY) as work:
        return create(work.session, bench.actor, command)


def of(bench: Bench, made: Mix, **values: Any) -> dict[str, Any]:
    return {"thickness_preset": None, "wet_thickness_um": 60, "mixes": [{"mix_uid": made.uid}]} | values


def facts(bench: Bench, later: timedelta = timedelta()) -> dict[str, TubeFact]:
    with bench.db.read() as session:
        return {
            fact.label: fact
            for fact in tubes(session, bench.actor, board.moment_of(NOW + later, PRAGUE)).values()
            if fact.label not in ("White", "Black")
        }


def left(bench: Bench, label: str = "Titanium") -> float | None:
    on_shelf = {}
    with bench.db.read() as session:
        on_shelf = {paint.label: paint.left_ml for paint in shelf.read(session, bench.actor).paints}
    assert on_shelf[label] == facts(bench)[label].left_ml  # every screen tells the same
    return on_shelf[label]


@pytest.fixture
def titanium(bench: Bench) -> Mix:
    """Four parts of a tube with 30 ml left, one of another with 10 ml."""
    white, blue = tube(bench, "Titanium", 30), tube(bench, "Ultramarine", 10, pigments=[{"pigment": "PB29"}])
    return mix(bench, [(f"paint:{white.uid}", 4), (f"paint:{blue.uid}", 1)])


def test_what_was_painted_is_taken_off_by_the_parts_of_its_mix(bench: Bench, titanium: Mix) -> None:
    bench.painted(bench.panel(), 2, **of(bench, titanium))
    assert left(bench) == pytest.approx(30 - NET_ML * LOSS * 0.8)
    assert left(bench, "Ultramarine") == pytest.approx(10 - NET_ML * LOSS * 0.2)


def test_solvent_takes_the_place_of_paint_and_texture_takes_more(bench: Bench, titanium: Mix) -> None:
    thinned = of(bench, titanium, solvent_pct=50, thinner_uid=bench.thinner.uid, texture="fine_canvas")
    bench.painted(bench.panel(), 2, **thinned)
    assert left(bench) == pytest.approx(30 - NET_ML * LOSS * 1.2 * 0.8 * 0.5)


def test_what_was_painted_before_it_was_said_is_in_it_already(bench: Bench, titanium: Mix) -> None:
    bench.painted(bench.panel(), 11, **of(bench, titanium))
    assert left(bench) == 30


def test_taken_back_corrected_and_archived_in_any_order(bench: Bench, titanium: Mix) -> None:
    first, second = bench.panel(), bench.panel(title="Second")
    uses = NET_ML * LOSS * 0.8
    with bench.unit("Painted one") as work:
        command = bench.layer_command(**of(bench, titanium, painted_at=NOW - 2 * DAY))
        layers.create(work.session, bench.actor, first.uid, command)
        one = work.change_uid
    other = bench.painted(second, 1, **of(bench, titanium))
    assert left(bench) == pytest.approx(30 - 2 * uses)
    with bench.unit() as work:
        history.undo(work.session, bench.actor, one)  # the earlier one first
    assert left(bench) == pytest.approx(30 - uses)
    with bench.unit() as work:
        stored = layers.public(work.session, layers.get(work.session, bench.actor, other.uid))
        layers.update(work.session, bench.actor, other.uid, stored.model_copy(update={"wet_thickness_um": 30.0}))
    assert left(bench) == pytest.approx(30 - uses / 2)
    with bench.unit() as work:
        layers.unpaint(work.session, bench.actor, other.uid)
    assert left(bench) == 30
    with bench.unit() as work:
        planned = layers.get(work.session, bench.actor, other.uid)
        layers.paint(work.session, bench.actor, other.uid, LayerPaint(version=planned.version), NOW)
    assert left(bench) == pytest.approx(30 - uses / 2)
    with bench.unit() as work:
        layers.archive(work.session, bench.actor, other.uid)
    assert left(bench) == 30


def test_a_panel_that_is_put_away_has_used_its_paint(bench: Bench, titanium: Mix) -> None:
    panel = bench.panel()
    bench.painted(panel, 2, **of(bench, titanium))
    with bench.unit() as work:
        panels.archive(work.session, bench.actor, panel.uid)
    assert left(bench) == pytest.approx(30 - NET_ML * LOSS * 0.8)


def test_a_panel_that_is_purged_has_used_its_paint_too(bench: Bench, titanium: Mix) -> None:
    panel, other = bench.panel(title="To be purged"), bench.panel(title="Other")
    bench.painted(panel, 2, **of(bench, titanium))
    bench.painted(other, 1, **of(bench, titanium))
    with bench.unit() as work:
        panels.archive(work.session, bench.actor, panel.uid)
    before = left(bench)
    with bench.unit() as work:
        purging.purge(work.session, bench.actor, panel.uid, "To be purged")
    assert left(bench) == pytest.approx(before)
    assert left(bench, "Ultramarine") == pytest.approx(10 - 2 * NET_ML * LOSS * 0.2)


def test_it_is_never_less_than_empty(bench: Bench, titanium: Mix) -> None:
    for number in range(3):
        bench.painted(bench.panel(title=f"Panel {number}"), 2, **of(bench, titanium))
    assert left(bench) == 0


def test_the_painter_corrects_it_and_what_was_painted_before_counts_no_more(bench: Bench, titanium: Mix) -> None:
    bench.painted(bench.panel(), 2, **of(bench, titanium))
    uid = next(fact.uid for fact in facts(bench).values() if fact.label == "Titanium")
    end = SittingEndCreate.model_validate({"rags": "spread", "tubes": [{"paint_uid": uid, "left_ml": 25}]})
    with bench.unit("Ended") as work:
        sitting_ends.create(work.session, bench.actor, end, NOW)
        done = work.change_uid
    assert left(bench) == 25
    with bench.unit() as work:
        history.undo(work.session, bench.actor, done)
    assert left(bench) == pytest.approx(30 - NET_ML * LOSS * 0.8)


def test_a_correction_beyond_the_tube_is_refused_at_its_field(bench: Bench, titanium: Mix) -> None:
    uid = facts(bench)["Titanium"].uid
    end = SittingEndCreate.model_validate({"rags": "spread", "tubes": [{"paint_uid": uid, "left_ml": 41}]})
    with pytest.raises(Invalid) as fault, bench.unit() as work:
        sitting_ends.create(work.session, bench.actor, end, NOW)
    assert [error.field for error in fault.value.errors] == ["tubes.0.left_ml"]
    assert left(bench) == 30


def test_another_label_says_nothing_of_what_is_left(bench: Bench, titanium: Mix) -> None:
    bench.painted(bench.panel(), 2, **of(bench, titanium))
    now_ml = 30 - NET_ML * LOSS * 0.8
    uid = facts(bench)["Titanium"].uid
    for shown in (now_ml, round(now_ml)):  # as a form tells it
        with bench.unit() as work:
            stored = paints.public(work.session, paints.get(work.session, bench.actor, uid))
            changed = stored.model_copy(update={"label": "Titanium", "left_ml": shown, "left_at": None})
            paints.update(work.session, bench.actor, uid, changed)
        assert left(bench) == pytest.approx(now_ml)
    with bench.unit() as work:  # a program that sends back what it read
        stored = paints.public(work.session, paints.get(work.session, bench.actor, uid))
        paints.update(work.session, bench.actor, uid, stored)
    assert left(bench) == pytest.approx(now_ml)
    with bench.unit() as work:
        paints.update(work.session, bench.actor, uid, stored.model_copy(update={"left_ml": 30.0, "left_at": None}))
    assert left(bench) == 30


def test_an_amount_of_a_moment_to_come_is_refused(bench: Bench) -> None:
    with pytest.raises(Invalid, match="still to come"):
        tube(bench, "Titanium", 30, at=NOW, left_at=NOW + DAY)


def plan(bench: Bench, made: Mix, on: date | None, title: str) -> Panel:
    panel = bench.panel(title=title)
    bench.layer(panel, **of(bench, made, planned_on=on))
    return panel


def test_the_day_it_runs_out_is_that_of_the_first_layer_it_is_not_enough_for(bench: Bench, titanium: Mix) -> None:
    today = NOW.astimezone(PRAGUE).date()
    uses = NET_ML * LOSS * 0.8
    plan(bench, titanium, today + 9 * DAY, "Later")
    plan(bench, titanium, today - DAY, "Overdue")  # still to be painted: today at the earliest
    plan(bench, titanium, today + 4 * DAY, "Between")
    found = facts(bench)
    assert found["Titanium"].planned_ml == pytest.approx(3 * uses)
    need = found["Titanium"].runs_out  # 30 ml are enough for two of 12.5
    assert need is not None and (need.on, need.title) == (today + 9 * DAY, "Later")
    assert found["Ultramarine"].runs_out is None  # 10 ml are enough for three of 3.1
    assert [fact.label for fact in running_low(found)] == ["Titanium"]
    with bench.db.read() as session:
        sheets = {
            days: worksheet(session, bench.actor, Asked(today + days * DAY), NOW, PRAGUE).low for days in (-14, 0, 3)
        }
    assert {days: [fact.label for fact in low] for days, low in sheets.items()} == {-14: [], 0: [], 3: ["Titanium"]}


def test_layers_without_a_day_are_told_without_one(bench: Bench, titanium: Mix) -> None:
    for number in range(3):
        plan(bench, titanium, None, f"Panel {number}")
    found = facts(bench)["Titanium"]
    assert found.runs_out is None and found.is_short
    assert found.undated_ml == pytest.approx(3 * NET_ML * LOSS * 0.8)


def test_a_tube_nobody_knows_the_content_of_never_nags(bench: Bench) -> None:
    unknown = tube(bench, "Unknown", None)
    made = mix(bench, [(f"paint:{unknown.uid}", 1)])
    bench.painted(bench.panel(title="Painted"), 2, **of(bench, made))
    for number in range(9):
        plan(bench, made, NOW.date(), f"Panel {number}")
    found = facts(bench)["Unknown"]
    assert (found.left_ml, found.runs_low) == (None, False)
    assert found.planned_ml == pytest.approx(9 * NET_ML * LOSS)


def test_a_finished_panel_and_another_studio_need_nothing(bench: Bench, titanium: Mix, stranger: Bench) -> None:
    panel = plan(bench, titanium, None, "Done")
    with bench.unit() as work:
        panels.archive(work.session, bench.actor, panel.uid)
    assert facts(bench)["Titanium"].undated_ml == 0
    assert facts(stranger) == {}


@pytest.mark.parametrize(
    ("ml", "told"), [(0.0, 0.0), (0.043, 0.045), (0.121, 0.12), (2.94, 2.9), (3.1, 3.0), (17.2, 17), (78, 80), (73, 75)]
)
def test_told_to_about_a_tenth(ml: float, told: float) -> None:
    assert rough(ml) == pytest.approx(told)


def test_amounts_are_alike_within_the_last_digit_that_is_told() -> None:
    assert told_alike(8.6, 8.5) and told_alike(17.4, 17) and told_alike(0, 0)
    assert not told_alike(8.6, 8) and not told_alike(17.4, 18.5) and not told_alike(0, 1)
