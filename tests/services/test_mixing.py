"""A mix on the palette: its figures, its times, and the same verdict as on every other page."""

from collections.abc import Callable
from datetime import datetime, timedelta
from math import prod
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pydantic import ValidationError

from server.science.results import Stage
from server.services import layers, mediums, mixes, mixing, on_panel, paints, places, what_if
from server.services.board import moment_of, panel_page
from server.services.errors import Invalid
from server.services.mediums import MediumCreate
from server.services.mixing import MixingAnswer, MixingQuestion
from server.services.paints import PaintCreate
from tests.services.conftest import NOW, Bench
from tests.services.test_learning import slow_layers

ZONE = ZoneInfo("Europe/Prague")


@pytest.fixture
def shelf(bench: Bench) -> dict[str, str]:
    """Items by a short name: a white, a black, linseed oil, and the bench's spirits."""
    with bench.unit() as work:
        found = {}
        for name, ci_name in (("white", "PW6"), ("black", "PBk9"), ("umber", "PBr7 raw umber"), ("lead", "PW1")):
            made = PaintCreate.model_validate({"label": name, "pigments": [{"pigment": ci_name}]})
            found[name] = f"paint:{paints.create(work.session, bench.actor, made).uid}"
        oil = MediumCreate.model_validate({"label": "oil", "parts": [{"material": "oil:linseed", "parts": 1}]})
        found["oil"] = f"medium:{mediums.create(work.session, bench.actor, oil).uid}"
    return found | {"spirits": f"thinner:{bench.thinner.uid}"}


def question(*parts: tuple[str, float], **values: Any) -> MixingQuestion:
    rows = [{"item": item, "parts": amount} for item, amount in parts]
    return MixingQuestion.model_validate({"parts": rows} | values)


def ask(bench: Bench, asked: MixingQuestion, now: datetime = NOW) -> MixingAnswer:
    with bench.db.read() as session:
        return mixing.work_out(session, bench.actor, asked, moment_of(now, ZONE))


def test_two_parts_of_oil_in_ten_of_paint(bench: Bench, shelf: dict[str, str]) -> None:
    # Arithmetic of the definitions: D = (P + B)/P = 1.20, M = B/(P + B) = 1/6.
    found = ask(bench, question((shelf["white"], 10), (shelf["oil"], 2)))
    assert found.composition.richness == pytest.approx(1.20)
    assert found.composition.added_binder_share == pytest.approx(1 / 6)
    assert found.composition.solvent_share == 0
    assert [(part.label, round(part.ml, 3)) for part in found.ingredients] == [("white", 8.333), ("oil", 1.667)]
    assert found.quantity.wet_ml == mixing.AMOUNT_WITHOUT_PANEL_ML
    assert found.over is None


def test_lead_white_weighs_what_was_published(bench: Bench, shelf: dict[str, str]) -> None:
    # Church 1901 with Gettens & Stout: 3.61 to 3.70 g/ml with 15 to 16 g of oil; ours holds 11.2 g and is heavier.
    found = ask(bench, question((shelf["lead"], 1)))
    assert 3.61 < found.composition.density_g_cm3 < 4.4
    assert found.amounts.binder_g + found.amounts.pigment_g == pytest.approx(10 * found.composition.density_g_cm3)


def test_millilitres_for_a_panel(bench: Bench, shelf: dict[str, str]) -> None:
    # 40 x 50 cm at 60 um: 12 ml net (worked in the reference for painters' quantities), times texture and loss.
    panel = bench.panel(width_cm=40, height_cm=50)
    net = question((shelf["white"], 1), panel_uid=panel.uid, wet_thickness_um=60, loss=1)
    assert ask(bench, net).quantity.wet_ml == pytest.approx(12)
    canvas = net.model_copy(update={"texture": "fine_canvas", "loss": 1.3, "coverage_pct": 50.0})
    assert ask(bench, canvas).quantity.wet_ml == pytest.approx(12 * 1.2 * 1.3 / 2)


def test_the_times_are_those_of_the_worked_layer(bench: Bench, shelf: dict[str, str]) -> None:
    # Worked value of the model: titanium in linseed, 50 um, reference room, sealed ground: touch 5.809 d. The oil
    # share of the worked value is forced and does not act on a sealed ground.
    with bench.unit() as work:
        reference = {"name": "Reference", "temperature_c": 21, "relative_humidity_pct": 50, "measured": True}
        place = places.create(work.session, bench.actor, places.PlaceCreate.model_validate(reference))
    found = ask(bench, question((shelf["white"], 1), wet_thickness_um=50, place_uid=place.uid))
    assert found.times.touch is not None
    assert found.times.touch.p50_d == pytest.approx(5.809, rel=0.01)
    assert found.times.ratio == pytest.approx(1.0)
    assert found.times.drying == "about like titanium white in linseed"
    assert found.place == "Reference"


@pytest.mark.parametrize(("name", "word"), [("umber", "very fast"), ("black", "very slow"), ("lead", "very fast")])
def test_fast_and_slow_colours_are_told_so(bench: Bench, shelf: dict[str, str], name: str, word: str) -> None:
    # Umber and lead dry, bone black retards: named by Kay 1983, Wehlte 1975 and others; the bounds are ours.
    assert ask(bench, question((shelf[name], 1))).times.drying == word


def test_rich_below_lean_above_is_stopped_with_the_oil_to_add(bench: Bench, shelf: dict[str, str]) -> None:
    # Lower 10 ml + 2 ml linseed (D 1.20), still moving; upper plain tube: add P (D_l - D_u) ml of oil.
    with bench.unit() as work:
        rich = [{"item": shelf["white"], "parts": 10}, {"item": shelf["oil"], "parts": 2}]
        mix = mixes.create(work.session, bench.actor, mixes.MixCreate.model_validate({"label": "Rich", "parts": rich}))
    panel = bench.panel()
    bench.painted(panel, 2, mixes=[{"mix_uid": mix.uid}])
    found = ask(bench, question((shelf["white"], 1), panel_uid=panel.uid))
    assert found.over is not None
    assert found.over.verdict is not None
    lean = next(finding for finding in found.over.verdict.findings if finding.rule == "R01")
    assert (found.over.verdict.verdict.value, lean.severity.value) == ("stop", "stop")
    assert lean.remedy is not None
    assert lean.remedy.add_oil_ml == pytest.approx(found.quantity.paint_ml * 0.20, rel=0.02)
    assert lean.remedy.add_oil_g == pytest.approx(0.93 * found.quantity.paint_ml * 0.20, rel=0.03)
    # The middle of the forecast is no day that stands out: pages call that one the most likely.
    assert "It is as likely as not dry through by an age of" in lean.reason and "ost likely" not in lean.reason
    helped = question((shelf["white"], 10), (shelf["oil"], 2), panel_uid=panel.uid)
    again = ask(bench, helped).over
    assert again is not None
    assert again.verdict is not None
    assert "R01" not in {finding.rule for finding in again.verdict.findings}


def test_the_palette_says_what_the_panel_says(bench: Bench, shelf: dict[str, str]) -> None:
    with bench.unit() as work:
        parts = [{"item": shelf["umber"], "parts": 3}, {"item": shelf["spirits"], "parts": 2}]
        mix = mixes.create(work.session, bench.actor, mixes.MixCreate.model_validate({"label": "Wash", "parts": parts}))
    panel = bench.panel()
    bench.painted(panel, 3)
    with bench.unit() as work:
        planned = bench.layer_command(mixes=[{"mix_uid": mix.uid}], thickness_preset="normal_brush")
        layers.create(work.session, bench.actor, panel.uid, planned)
    asked = question((shelf["umber"], 3), (shelf["spirits"], 2), panel_uid=panel.uid)
    found = ask(bench, asked)
    with bench.db.read() as session:
        board = panel_page(session, bench.actor, panel.uid, NOW, ZONE)
    assert found.over is not None
    assert found.over.verdict is not None
    assert board.panel.verdict is not None
    on_palette = [(finding.rule, finding.severity) for finding in found.over.verdict.findings]
    on_panel = [(finding.rule, finding.severity) for finding in board.panel.verdict.findings]
    assert on_palette == on_panel
    assert found.over.state is board.panel.verdict.state


def test_a_tacky_layer_is_also_asked_about_working_lightly(bench: Bench, shelf: dict[str, str]) -> None:
    panel = bench.panel()
    bench.painted(panel, 4)
    found = ask(bench, question((shelf["white"], 1), panel_uid=panel.uid))
    assert found.over is not None
    assert found.over.state.value == "tacky"
    assert found.over.lightly is not None
    assert "R05" in {finding.rule for finding in found.over.lightly.findings}


def test_bare_ground_is_asked_about_as_well(bench: Bench, shelf: dict[str, str]) -> None:
    panel = bench.panel()
    found = ask(bench, question((shelf["white"], 1), panel_uid=panel.uid))
    assert found.over is not None
    assert (found.over.top, found.over.state.value) == ("", "none")
    assert found.over.verdict is not None


def test_a_mix_of_thinner_alone_is_no_paint(bench: Bench, shelf: dict[str, str]) -> None:
    with pytest.raises(Invalid) as caught:
        ask(bench, question((shelf["spirits"], 1)))
    assert caught.value.errors[0].field == "parts"
    assert "something that dries" in caught.value.errors[0].message


@pytest.mark.parametrize(
    ("values", "field"),
    [({"panel_uid": "nowhere"}, "panel_uid"), ({"place_uid": "nowhere"}, "place_uid")],
)
def test_what_is_not_in_the_studio_is_said_at_its_field(
    bench: Bench, shelf: dict[str, str], values: dict[str, str], field: str
) -> None:
    with pytest.raises(Invalid) as caught:
        ask(bench, question((shelf["white"], 1), **values))
    assert caught.value.errors[0].field == field


def test_a_panel_of_another_studio_is_not_asked_about(bench: Bench, stranger: Bench, shelf: dict[str, str]) -> None:
    panel = stranger.panel()
    with pytest.raises(Invalid):
        ask(bench, question((shelf["white"], 1), panel_uid=panel.uid))


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"wet_thickness_um": 5_000_000}, "less than or equal"),  # a film of 5 m
        ({"wet_thickness_um": 0}, "greater than or equal"),
        ({"wet_thickness_um": -20}, "greater than or equal"),
        ({"preset": "trowel"}, "one of the list"),
        ({"coverage_pct": 0}, "greater than 0"),
        ({"coverage_pct": 120}, "less than or equal"),
        ({"loss": 0.5}, "greater than or equal"),
        ({"texture": "velvet"}, "Input should be"),
        ({"parts": []}, "at least 1 item"),
    ],
)
def test_a_question_that_makes_no_sense_is_refused(values: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        MixingQuestion.model_validate({"parts": [{"item": "paint:abc", "parts": 1}]} | values)


def test_clove_oil_is_counted_in_drops(bench: Bench, shelf: dict[str, str]) -> None:
    with_clove = ask(bench, question((shelf["white"], 1), clove_drops_per_10_ml=2))
    plain = ask(bench, question((shelf["white"], 1)))
    assert with_clove.ingredients[-1].drops == pytest.approx(2)
    assert with_clove.times.touch is not None
    assert plain.times.touch is not None
    assert with_clove.times.touch.p50_d > plain.times.touch.p50_d


def test_every_stage_follows_the_one_before(bench: Bench, shelf: dict[str, str]) -> None:
    found = ask(bench, question((shelf["white"], 9), (shelf["black"], 1)))
    assert found.times.estimate is not None
    days = [found.times.estimate.stages[stage].p50_d for stage in Stage]
    assert days == sorted(days)
    assert found.hazards == ("dust", "rags")


def test_the_parts_of_the_time_make_it(bench: Bench, shelf: dict[str, str]) -> None:
    found = ask(bench, question((shelf["white"], 8), (shelf["black"], 2), (shelf["oil"], 1)))
    [parts] = found.times.parts
    assert {factor.name for factor in parts.factors} >= {"oil", "pigment", "thickness", "ground", "room"}
    assert found.times.touch is not None  # nothing was taught here, so the model's time is the one that is told
    assert parts.base_d * prod(factor.factor for factor in parts.factors) == pytest.approx(found.times.touch.p50_d)


def test_what_touch_tests_taught_moves_the_palettes_dates_as_it_moves_a_panels(bench: Bench) -> None:
    white = next(iter(bench_items(bench)))
    panel = bench.panel(title="To come")
    planned = bench.layer(panel, thickness_preset="thin_opaque")
    asked = question((white, 1), panel_uid=panel.uid, wet_thickness_um=30)
    before = ask(bench, asked).times.touch
    slow_layers(bench)
    after = ask(bench, asked).times.touch
    assert before is not None and after is not None
    assert after.p50_d > 1.1 * before.p50_d
    moment = moment_of(NOW, ZONE)
    with bench.db.read() as session:
        layer = what_if.layer_now(session, bench.actor, on_panel.of_layer(session, bench.actor, planned.uid), moment)
        assert layer is not None
        told = what_if.work_out(*layer, what_if.WhatIfQuestion(), ZONE).now.ranges[Stage.DRY_TO_TOUCH]
    assert after.p50_d == pytest.approx(told.p50_d, rel=0.02)  # that one is laid at noon


def test_a_way_out_and_a_mix_that_is_found_dry_as_the_palette_says_once_they_are_on_it(
    bench: Bench, shelf: dict[str, str]
) -> None:
    # Every layer of the bench's own white was pressed late: what helps must not fall back on the model's dates.
    slow_layers(bench)
    white = next(iter(bench_items(bench)))
    with bench.unit() as work:
        rich = [{"item": white, "parts": 10}, {"item": shelf["oil"], "parts": 2}]
        mix = mixes.create(work.session, bench.actor, mixes.MixCreate.model_validate({"label": "Rich", "parts": rich}))
    panel = bench.panel()
    bench.painted(panel, 40, mixes=[{"mix_uid": mix.uid}])
    lean = {"panel_uid": panel.uid, "find": "yes", "find_by": NOW.date() + timedelta(days=60)}
    over = (found := ask(bench, question((white, 10), **lean))).over
    assert over is not None and over.ways and over.ways[0] and found.found is not None and found.found.listed
    now = [each for each in found.found.listed if each.on == NOW.date()]
    assert now
    for each in (over.ways[0][0], now[0]):
        tried = [(item.key, parts) for item, parts in each.palette.parts]
        again = ask(bench, question(*tried, panel_uid=panel.uid, wet_thickness_um=each.wet_um))
        assert again.times.touch_on == each.touch_on
        assert again.over is not None and again.over.verdict is not None
        assert again.over.verdict.verdict is each.verdict.verdict


def bench_items(bench: Bench) -> list[str]:
    """The tubes of the bench as parts of a mix."""
    with bench.db.read() as session:
        return [f"paint:{row.uid}" for row in paints.all_open(session, bench.actor)]


def test_the_palette_takes_as_many_queries_however_many_parts_it_has(
    bench: Bench, shelf: dict[str, str], count_queries: Callable[[], int]
) -> None:
    def taken(*names: str) -> int:
        asked = question(*((shelf[name], 1) for name in names))
        count_queries()
        ask(bench, asked)
        return count_queries()

    taken("white")  # the studio is read once
    # One query finds each part on the shelf; the rest does not grow.
    assert taken("white", "black", "umber") - taken("white") == 2
