"""A room that changes: the integral of dt / T_stage against the closed form and against SciPy's quadrature."""

from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from server.science import met
from server.science.changing import pace_of
from server.science.climate import clock, effective_days, room_days, rooms_of, steps_of
from server.science.drying import Climate, Film, climate, drying_speed, humidity_factor, inverse_kelvin, stage_times
from server.science.estimate import estimate
from server.science.films import gather
from server.science.met import MetClimate, blocks_of
from server.science.recipe import Ground, LayerRecipe, Room, RoomStep, RoomSteps
from server.science.reference import value
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.routes import RouteMeans, StageWeights, stage_weights
from tests.science import layers as make

STAGES = ("set_to_touch_d", "dry_to_touch_d", "dry_to_recoat_d", "dry_through_d", "varnish_d")
GREY = make.layer(
    60.0, make.mix(make.paint(8, "PW6"), make.paint(1, "PBk9"), make.paint(1, "PBr7/raw umber"), make.solvent(2))
)
UMBER = make.layer(40.0, make.mix(make.paint(1, "PBr7/burnt umber"), make.solvent(1)), ground=Ground.GLUE_CHALK)
IMPASTO = make.layer(400.0, make.mix(make.paint(1, "PW6", oil="safflower")), ground=Ground.PAINT)
DRIED = make.layer(35.0, make.mix(make.oil(1), make.drier("Pb", 0.3), make.alkyd(0.2)), ground=Ground.OIL)
LAYERS = {"grey": GREY, "umber": UMBER, "impasto": IMPASTO, "with driers": DRIED}


def figures(got: StageRange) -> list[float]:
    return [got.p05_d, got.p10_d, got.p50_d, got.p90_d, got.p95_d]


def assert_same(one: LayerEstimate, other: LayerEstimate, rel: float) -> None:
    for stage in Stage:
        assert figures(one.stages[stage]) == pytest.approx(figures(other.stages[stage]), rel=rel), stage


def film_of(layer: LayerRecipe) -> Film:
    return gather([(layer, make.room())]).film()


def three_years() -> Room:
    """Months of a cool studio, from a warm August on; invented."""
    temperatures = (24, 20, 15, 11, 8, 7, 8, 11, 14, 18, 21, 23)
    damp = (55, 62, 70, 78, 82, 80, 74, 66, 60, 55, 52, 50)
    return make.changing(*((30.0 * i, temperatures[i % 12], damp[i % 12]) for i in range(36)))


@pytest.mark.parametrize("name", LAYERS)
@pytest.mark.parametrize("step_d", [1.0, 1 / 24])
def test_constant_room_in_steps_equals_the_closed_form(name: str, step_d: float):
    steps = Room(tuple(RoomStep(i * step_d, 17.0, 66.0) for i in range(int(40 / step_d))), 0.6)
    whole = Room((RoomStep(0.0, 17.0, 66.0),), 0.6)
    assert_same(estimate(LAYERS[name], steps), estimate(LAYERS[name], whole), 1e-6)


@pytest.mark.parametrize("name", LAYERS)
def test_splitting_an_interval_changes_nothing(name: str):
    room = three_years()
    split = []
    for step, following in pairwise((*room.steps, RoomStep(1080.0, 0, 0))):
        for part in (0.0, 0.31, 0.5, 0.77):
            from_d = step.from_d + part * (following.from_d - step.from_d)
            split.append(RoomStep(from_d, step.temperature_c, step.relative_humidity_pct))
    finer = Room(tuple(split), room.light, room.light_is_number, room.measured)
    assert_same(estimate(LAYERS[name], finer), estimate(LAYERS[name], room), 1e-9)


def smooth(t_d: float) -> tuple[float, float]:
    """Temperature and humidity of an invented room: days and nights, and a cold spell after a week."""
    temperature = 18.0 + 4.0 * np.sin(2 * np.pi * t_d) - 8.0 / (1 + np.exp(-(t_d - 7.0)))
    return float(temperature), float(58.0 + 20.0 * np.sin(2 * np.pi * t_d / 9.0))


QUICK_ENOUGH = [
    (name, stage)
    for name in LAYERS
    for stage in Stage
    if name != "impasto" or stage not in {Stage.DRY_THROUGH, Stage.FINAL_VARNISH}
]


@pytest.mark.parametrize(("name", "stage"), QUICK_ENOUGH)
def test_hourly_steps_against_scipy_quadrature(name: str, stage: Stage):
    """SciPy's `quad` and `brentq` on the closed form in a smooth climate; hourly steps agree to 0.1 %."""
    film = film_of(LAYERS[name])
    column = STAGES[list(Stage).index(stage)]

    def speed(t_d: float) -> float:
        times = stage_times(film, climate(*smooth(t_d), 1.0))
        return 1 / float(np.asarray(getattr(times, column))[0])

    done, day = 0.0, 0
    while (more := quad(speed, day, day + 1, epsrel=1e-8)[0]) + done < 1:
        done, day = done + more, day + 1
    exact = brentq(lambda t_d: done + quad(speed, day, t_d, epsrel=1e-8)[0] - 1, day, day + 1, xtol=1e-7)
    hours = Room(tuple(RoomStep(i / 24, *smooth((i + 0.5) / 24)) for i in range(24 * (day + 2))))
    fixed = value("varnish_fixed_d") if stage is Stage.FINAL_VARNISH else 0.0
    assert estimate(LAYERS[name], hours).stages[stage].p50_d - fixed == pytest.approx(exact, rel=1e-3)


def test_two_climates_by_hand():
    """Titanium 50 um: 5.809 d at 21 C, 14.337 d at 12 C. Three days warm, then cold. Derived."""
    layer = make.layer(50.0, make.mix(make.paint(1, "PW6")))
    got = estimate(layer, make.changing((0, 21, 50), (3, 12, 50)))
    assert got.stages[Stage.DRY_TO_TOUCH].p50_d == pytest.approx(3 + (1 - 3 / 5.809) * 14.337, rel=1e-3)


def test_last_step_holds_on():
    room = make.changing((0, 25, 40), (1, 15, 50))
    longer = make.changing((0, 25, 40), (1, 15, 50), (900, 15, 50))
    assert_same(estimate(IMPASTO, room), estimate(IMPASTO, longer), 1e-9)


def test_a_cold_spell_after_a_stage_does_not_touch_it():
    layer = make.layer(50.0, make.mix(make.paint(1, "PW6")))
    warm = estimate(layer, make.room(21.0)).stages
    then_cold = estimate(layer, make.changing((0, 21, 50), (7, 2, 90))).stages
    assert then_cold[Stage.DRY_TO_TOUCH].p50_d == pytest.approx(warm[Stage.DRY_TO_TOUCH].p50_d, rel=1e-9)
    assert then_cold[Stage.DRY_THROUGH].p50_d > warm[Stage.DRY_THROUGH].p50_d


def test_varnish_waits_its_calendar_days_whatever_the_room():
    layer = make.layer(20.0, make.mix(make.paint(1, "PBr7/raw umber")))
    hot = estimate(layer, make.room(35.0, light=3.0)).stages[Stage.FINAL_VARNISH]
    assert 60 < hot.p05_d < hot.p50_d < 70


def test_clock_reaches_every_target():
    start = np.array([[0.0, 2.0, 5.0]])
    ticking = clock(start, np.array([[0.1, 0.5, 0.25]]))
    targets = np.array([[0.1, 0.2, 1.0, 1.7, 2.7]])
    assert ticking.reach(targets) == pytest.approx(np.array([[1.0, 2.0, 3.6, 5.0, 9.0]]))


def met_on_day_ten(name: str, kind: int) -> tuple[RouteMeans, np.ndarray]:
    """Constant climates that do the same to a layer's stage as four warm days and six cold ones."""
    rooms = rooms_of([steps_of(make.changing((0, 21, 50), (4, 11, 80), light=0.5))])
    regions, only = gather([(LAYERS[name], make.room())]), np.array([0])
    weights = StageWeights(
        *(np.array([[getattr(stage_weights(regions)[kind], f.name)[0]]]) for f in fields(StageWeights))
    )
    so_far = MetClimate(blocks_of(rooms, rooms.climate(), np.array([[4.0, 1e9]])), only, pace_of(regions), weights)
    means = so_far.means(only, only, np.array([10.0])).means
    return means, so_far.central_days(only, only, means)


def test_met_climate_is_the_mean_so_far():
    """Dry-to-touch goes with the plain means of its routes."""
    both = [climate(21.0, 50.0, 0.5), climate(11.0, 80.0, 0.5)]
    means, _ = met_on_day_ten("grey", 0)
    for name in ("auto", "cat"):
        expected = 0.4 * getattr(both[0], name) + 0.6 * getattr(both[1], name)
        assert getattr(means, name)[0] == pytest.approx(expected)
    cold = 0.6 * both[1].cat * inverse_kelvin(11.0)
    assert means.slope_cat[0] == pytest.approx(cold / means.cat[0])


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_the_climate_met_does_what_the_room_did(kind: int):
    """A film dries in it, constant, as far as in the room that changed: the stage's own integral, by hand."""
    both = [climate(21.0, 50.0, 0.5), climate(11.0, 80.0, 0.5)]
    warm, cold = (float(np.asarray(getattr(stage_times(film_of(GREY), c), STAGES[kind + 1]))[0]) for c in both)
    _, days = met_on_day_ten("grey", kind)
    assert 10.0 / days[0] == pytest.approx(4 / warm + 6 / cold)


def test_blocks_of_an_hourly_year_hardly_differ_from_its_steps(monkeypatch: pytest.MonkeyPatch):
    hours = Room(RoomSteps.of(*hourly(200)), 0.6)
    in_blocks = estimate(UMBER, hours)
    monkeypatch.setattr(met, "EXACT_STEPS", 10_000)
    assert_same(in_blocks, estimate(UMBER, hours), 2e-3)


def hourly(days: int) -> tuple[list[float], list[float], list[float]]:
    times = [i / 24 for i in range(24 * days)]
    return (times, *zip(*(smooth(t_d + 1 / 48) for t_d in times), strict=True))  # type: ignore[return-value]


def test_columns_of_steps_are_steps():
    times, warmth, damp = hourly(20)
    columns = RoomSteps.of(times, warmth, damp)
    objects = tuple(RoomStep(*step) for step in zip(times, warmth, damp, strict=True))
    assert tuple(columns) == objects
    assert columns[3:5] == RoomSteps.of(times[3:5], warmth[3:5], damp[3:5])
    assert (hash(columns), columns) == (hash(RoomSteps.of(times, warmth, damp)), RoomSteps.of(times, warmth, damp))
    assert_same(estimate(GREY, Room(columns, 0.6)), estimate(GREY, Room(objects, 0.6)), 1e-12)
    lit = RoomSteps.of(times, warmth, damp, light=[0.25] * len(times))
    assert lit[0].light == 0.25
    assert_same(estimate(GREY, Room(lit, 3.0)), estimate(GREY, Room(objects, 0.25)), 1e-12)


def test_reference_climate_is_neutral():
    neutral = climate(21.0, 50.0, 1.0)
    assert (neutral.auto, neutral.cat, neutral.front) == pytest.approx((1.0, 1.0, 1.0))
    assert Climate() == Climate(1.0, 1.0, 1.0)


def test_drying_speed_of_a_room():
    """Titanium 50 um is dry-to-recoat in 10.277 d at 21 C; at 12 C in 1.5 x 14.337 + 1.5625 exp(0.4517). Derived."""
    assert drying_speed(climate(21.0, 50.0, 1.0)) == pytest.approx(1.0)
    assert drying_speed(climate(12.0, 50.0, 1.0)) == pytest.approx(10.277 / 23.96, rel=0.005)


@pytest.mark.parametrize(("humidity_pct", "factor"), [(0, 1.0), (60, 1.0), (80, 0.8), (100, 0.5)])
def test_humidity_factor_by_hand(humidity_pct: float, factor: float):
    assert humidity_factor(humidity_pct) == pytest.approx(factor)


def test_a_day_in_the_reference_room_is_an_effective_day():
    assert effective_days(make.room(21.0, 50.0), 2.0, 5.5) == pytest.approx(3.5)


def test_effective_days_add_up_and_lead_back():
    """In a cool studio through three years: parts of a span add up, and the day is found again."""
    room = three_years()
    days = np.linspace(0.0, 1200.0, 41)
    passed = effective_days(room, 0.0, days)
    assert np.diff(passed) == pytest.approx(effective_days(room, days[:-1], days[1:]))
    assert passed[-1] == pytest.approx(np.diff(passed).sum())
    assert room_days(room, passed[1:]) == pytest.approx(days[1:])
    assert effective_days(room, 400.0, 300.0) == pytest.approx(-effective_days(room, 300.0, 400.0))


def test_effective_days_are_the_speed_integrated():
    """Three days at the reference and ten at 12 C, whose speed is 10.277 / 23.96. Derived by hand; SciPy's `quad`."""
    room = make.changing((0, 21, 50), (3, 12, 50))
    assert effective_days(room, 0.0, 13.0) == pytest.approx(3 + 10 * 10.277 / 23.96, rel=0.005)
    smoothly = quad(lambda t_d: float(drying_speed(climate(*smooth(t_d), 1.0))), 0.0, 10.0, limit=200)[0]
    hours = Room(tuple(RoomStep(i / 24, *smooth((i + 0.5) / 24)) for i in range(240)))
    assert effective_days(hours, 0.0, 10.0) == pytest.approx(smoothly, rel=1e-3)


def test_a_panel_that_is_moved_into_the_light_dries_on_there():
    """Titanium 50 um: 23.238 d in the dark, 5.809 d in the room. Six days dark, then the room. Derived."""
    layer = make.layer(50.0, make.mix(make.paint(1, "PW6")))
    moved = Room((RoomStep(0.0, 21.0, 50.0, light=0.25), RoomStep(6.0, 21.0, 50.0)), light=1.0)
    got = estimate(layer, moved).stages[Stage.DRY_TO_TOUCH].p50_d
    assert got == pytest.approx(6 + (1 - 6 / 23.238) * 5.809, rel=1e-3)
