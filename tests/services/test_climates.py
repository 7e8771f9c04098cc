"""The air a layer meets, by the functions the studio uses: readings, gaps, moves, nights, heating that is off.

Estimates are held to SciPy's quadrature, which knows nothing of our steps, and to the closed form of a constant room.
Saturation pressures: printed steam tables, from memory.
"""

from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from server.science.drying import climate as factors
from server.science.estimate import estimate_many
from server.science.recipe import Ground, LayerRecipe, MixRecipe, Paint, PigmentShare, Room, RoomStep
from server.science.results import Stage
from server.science.room_profile import HeatingOff, Profile, timeline
from server.science.room_record import Record, difference, filled
from server.science.vapour import humidity_at, saturation_hpa
from server.services.climates import Climate, room_in
from server.services.forecasts import question_of

PRAGUE, UTC = ZoneInfo("Europe/Prague"), ZoneInfo("UTC")
AT = datetime(2026, 10, 20, 13, 17, tzinfo=timezone.utc)  # before the clocks go back
HOUR = int(AT.timestamp() // 3600)
WHITE = MixRecipe("white", 1.0, (Paint(1.0, "linseed", (PigmentShare("PW6"),)),))
LAYER = LayerRecipe(50.0, Ground.SEALED, (WHITE,))
PLACE = Climate(1.0, False, True, 20.0, 50.0)
checked = settings(max_examples=25, deadline=None)
warmths = st.floats(5, 35)
damps = st.floats(20, 95)


def days(room: Room, layer: LayerRecipe = LAYER) -> dict[Stage, float]:
    [found] = estimate_many([(layer, room)])
    return {stage: span.p50_d for stage, span in found.stages.items()}


def same(one: dict[Stage, float], other: dict[Stage, float], rel: float = 1e-9) -> None:
    for stage, value in one.items():
        assert other[stage] == pytest.approx(value, rel=rel), stage


def record(warmth: list[float], damp: list[float] | float = 50.0, first: int = HOUR) -> Record:
    hours = np.arange(first, first + len(warmth))
    return Record.of(hours, np.array(warmth, dtype=float), np.broadcast_to(np.asarray(damp, float), hours.shape))


@st.composite
def climates(draw: st.DrawFn) -> Climate:
    months = tuple((n, draw(warmths), draw(damps)) for n in (10, 11, 12))
    nights = tuple((n, draw(warmths), draw(damps)) for n in (10, 11)) if draw(st.booleans()) else ()
    off = (HeatingOff(draw(st.floats(5, 15)), "67", 1200, 420),) if draw(st.booleans()) else ()
    wave = draw(st.lists(warmths, min_size=30, max_size=200))
    read = record(wave, draw(damps), HOUR - draw(st.integers(0, 90))) if draw(st.booleans()) else None
    return replace(PLACE, by_month=months, nights=nights, off=off, record=read)


@checked
@given(climates(), st.floats(0.5, 6))
def test_warmer_is_never_slower(climate: Climate, by_c: float):
    cool, warm = days(room_in(climate, AT, PRAGUE)), days(room_in(climate.warmer(by_c), AT, PRAGUE))
    for stage, value in cool.items():
        assert warm[stage] <= value * (1 + 1e-9)


@checked
@given(climates(), st.floats(0.01, 200))
def test_a_move_between_places_alike_changes_nothing(climate: Climate, after_d: float):
    moved = climate.with_moves((((AT + timedelta(days=after_d)).timestamp(), climate),))
    same(days(room_in(climate, AT, PRAGUE)), days(room_in(moved, AT, PRAGUE)))


@checked
@given(warmths, damps, st.integers(30, 3000))
def test_readings_that_never_change_are_a_constant_room(warmth: float, damp: float, hours: int):
    read = replace(PLACE, temperature_c=warmth, relative_humidity_pct=damp, record=record([warmth] * hours, damp))
    constant = Room((RoomStep(0.0, warmth, damp),), 1.0, False, True)
    same(days(constant), days(room_in(read, AT, PRAGUE)), rel=1e-6)


@checked
@given(climates())
def test_readings_that_say_what_the_profile_says_change_nothing(climate: Climate):
    plain = replace(climate, record=None)
    steps = timeline(plain.profile, PRAGUE, 2025, 6)
    hours = np.arange(HOUR - 80, HOUR + 400)
    at = hours * 3600.0 + 1800
    read = replace(plain, record=Record.of(hours, *steps.at(at)))
    # Night begins on the hour, so hourly means are the profile itself.
    same(days(room_in(plain, AT, PRAGUE)), days(room_in(read, AT, PRAGUE)), rel=1e-6)


def test_without_readings_nothing_is_read_into_the_room():
    assert PLACE.ahead is PLACE
    assert PLACE.seen_from(AT) is PLACE
    assert room_in(PLACE, AT, PRAGUE) == Room((RoomStep(0.0, 20.0, 50.0),), 1.0, False, True)


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "America/New_York", "Australia/Lord_Howe", "UTC"])
def test_the_studios_zone_and_the_clocks_change_nothing_that_was_read(zone: str):
    """Readings and constant places are instants; the days here cross the end of summer time in Prague."""
    wave = [18 + 4 * np.sin(n / 24 * 2 * np.pi) for n in range(24 * 40)]
    read = replace(PLACE, record=record(wave))
    same(days(room_in(read, AT, PRAGUE)), days(room_in(read, AT, ZoneInfo(zone))))
    same(days(room_in(PLACE, AT, PRAGUE)), days(room_in(PLACE, AT, ZoneInfo(zone))))


def test_an_independent_quadrature_finds_the_same_day():
    """Touch-dry is where the integral of 1/T over the room is 1. Without driers 1/T goes with the light-driven rate
    alone; SciPy integrates a smooth day and night, of which the readings are the hourly means."""

    def warmth(day: float) -> float:
        return 17 + 6 * float(np.sin(2 * np.pi * day))

    start_d = AT.timestamp() / 86_400
    hourly = [quad(warmth, hour / 24, (hour + 1) / 24)[0] * 24 for hour in range(HOUR, HOUR + 24 * 30)]
    reference = days(Room((RoomStep(0.0, 21.0, 50.0),), 1.0, False, True))[Stage.DRY_TO_TOUCH]

    def reached(day: float) -> float:
        def rate(at: float) -> float:
            return float(factors(warmth(start_d + at), 70.0, 1.0).auto) / reference

        return float(quad(rate, 0, day, limit=400)[0]) - 1

    read = replace(PLACE, record=record(hourly, 70.0))
    found = days(room_in(read, AT, PRAGUE))[Stage.DRY_TO_TOUCH]
    assert found == pytest.approx(brentq(reached, found * 0.8, found * 1.2, xtol=1e-6), rel=1e-3)


def test_a_gap_is_the_profiles_and_a_short_one_is_bridged():
    hours = np.array([HOUR, HOUR + 10, HOUR + 60])
    read = Record.of(hours, np.array([24.0, 24.0, 16.0]), np.array([50.0, 50.0, 60.0]))
    steps = timeline(Profile((20.0, 50.0)), UTC, 2026, 2)
    found = filled(read, steps, HOUR - 5, HOUR + 100)
    assert found.hours[[0, -1]].tolist() == [HOUR - 5, HOUR + 60]
    assert found.source.tolist() == [2] * 5 + [0] + [1] * 9 + [0] + [2] * 49 + [0]
    assert found.temperature_c[6] == pytest.approx(24.0)
    assert found.temperature_c[30] == 20.0
    assert found.relative_humidity_pct[-1] == 60.0


def test_the_last_days_fade_into_the_profile():
    """After a week a difference of 4 degrees is 4/e, after four weeks it is gone (``recent_fades_d``)."""
    read = replace(PLACE, record=record([16.0] * 100))
    steps = room_in(read, AT, UTC).steps
    ends = (HOUR + 100) * 3600
    warmth = {step.from_d - (ends - AT.timestamp()) / 86_400: step.temperature_c for step in steps}
    week = next(value for day, value in warmth.items() if 6.5 <= day < 7.5)
    assert week == pytest.approx(20 - 4 / np.e, abs=0.25)
    assert steps[-1].temperature_c == 20.0
    assert all(value <= 20.0 for value in warmth.values())


def test_a_day_of_readings_is_wanted_before_the_days_to_come_move():
    steps = timeline(Profile((20.0, 50.0)), UTC, 2026, 2)
    assert difference(record([16.0] * 23), steps) == (0.0, 0.0)
    assert difference(record([16.0] * 24), steps) == pytest.approx((-4.0, 0.0))


def test_a_thermometer_read_mornings_and_evenings_says_as_much_as_a_sensor():
    steps = timeline(Profile((20.0, 50.0)), UTC, 2026, 2)
    hours = HOUR + 12 * np.arange(7)
    twice_a_day = Record.of(hours, np.full(7, 16.0), np.full(7, 62.0))
    assert difference(twice_a_day, steps) == pytest.approx((-4.0, 12.0))
    two_days_apart = Record.of(HOUR + 48 * np.arange(3), np.full(3, 16.0), np.full(3, 62.0))
    assert difference(two_days_apart, steps) == (0.0, 0.0)  # nobody knows what was in between (bridged_gap_h)
    steadily_warmer = Record.of(hours[:3], np.array([16.0, 18.0, 20.0]), np.full(3, 50.0))
    assert difference(steadily_warmer, steps)[0] == pytest.approx(-2.0, abs=0.2)  # the mean of a straight line


def test_a_layer_moved_to_the_warm_dries_in_between():
    cold, warm = replace(PLACE, temperature_c=12.0), replace(PLACE, temperature_c=25.0)
    moved = cold.with_moves((((AT + timedelta(days=3)).timestamp(), warm),))
    touch = [days(room_in(each, AT, PRAGUE))[Stage.DRY_TO_TOUCH] for each in (cold, moved, warm)]
    assert touch[0] > touch[1] > touch[2]
    # Closed form: three days at one rate, the rest at the other.
    assert touch[1] == pytest.approx(3 + (1 - 3 / touch[0]) * touch[2], rel=1e-9)


def test_a_move_into_the_light_counts_from_there():
    dark, bright = replace(PLACE, light=0.25), replace(PLACE, light=1.5)
    moved = dark.with_moves((((AT + timedelta(days=2)).timestamp(), bright),))
    touch = [days(room_in(each, AT, PRAGUE))[Stage.DRY_TO_TOUCH] for each in (dark, moved, bright)]
    assert touch[1] == pytest.approx(2 + (1 - 2 / touch[0]) * touch[2], rel=1e-9)


def test_a_new_hour_is_a_new_room_for_fresh_layers_alone():
    """A layer a week old sees every hour, one of a month every day, one of half a year every week."""

    def place(hours: int) -> Climate:
        return replace(PLACE, record=record([18.0 + n % 5 for n in range(hours)]))

    hours = 24 * 200 + 30 - HOUR % 24
    for age_d, differs in ((2, True), (30, False), (150, False)):
        painted = datetime.fromtimestamp((HOUR + hours - age_d * 24) * 3600, timezone.utc)
        one, other = (place(n).seen_from(painted) for n in (hours, hours + 1))
        assert (one != other) is differs
        assert (hash(one) == hash(other)) is not differs
    assert place(hours).ahead == place(hours + 1).ahead
    assert place(hours).ahead != place(hours + 24).ahead


def test_nights_and_cold_weekends_slow_a_layer():
    nights = replace(PLACE, nights=tuple((n, 14.0, 60.0) for n in range(1, 13)))
    away = replace(PLACE, off=(HeatingOff(8.0, from_on=date(2026, 10, 21), until_on=date(2026, 10, 24)),))
    usual = days(room_in(PLACE, AT, PRAGUE))[Stage.DRY_TO_TOUCH]
    for slower in (nights, away):
        assert days(room_in(slower, AT, PRAGUE))[Stage.DRY_TO_TOUCH] > usual * 1.05


@pytest.mark.parametrize(
    ("on", "minute", "is_off"),
    [
        (date(2026, 11, 20), 1199, False),  # a Friday evening
        (date(2026, 11, 20), 1200, True),
        (date(2026, 11, 21), 419, True),  # the night that began on Friday
        (date(2026, 11, 21), 420, False),
        (date(2026, 11, 21), 1300, False),
    ],
)
def test_heating_that_is_off_over_midnight(on: date, minute: int, is_off: bool):
    assert HeatingOff(10.0, "5", 1200, 420).holds(on, minute) is is_off


def test_a_room_colder_than_its_set_back_is_not_warmed_by_it():
    cold = Profile((8.0, 60.0), off=(HeatingOff(12.0, "1234567", 0, 1439),))
    assert cold.figures(date(2026, 1, 5), 600) == pytest.approx((8.0, 60.0))


@pytest.mark.parametrize(("at_c", "hpa"), [(0, 6.11), (10, 12.28), (20, 23.39), (30, 42.47)])
def test_saturation_is_that_of_the_steam_tables(at_c: float, hpa: float):
    assert saturation_hpa(at_c) == pytest.approx(hpa, rel=0.004)


# Worked out once with psychrolib 2.5.0 (GetSatVapPres, GetRelHumFromVapPres), which follows the ASHRAE Handbook of
# Fundamentals 2017, chapter 1. Below freezing it goes by ice, the Magnus formula by water: not compared.
PSYCHROLIB_HPA = {
    0.5: 6.338,
    5: 8.725,
    10: 12.28,
    15: 17.054,
    20: 23.388,
    25: 31.692,
    30: 42.46,
    35: 56.278,
    40: 73.835,
}
PSYCHROLIB_PCT = ((50, 20, 12, 83.37), (70, 5, 21, 24.55), (30, 30, 18, 61.71), (55, 18, 28, 30.02))


@pytest.mark.parametrize(("at_c", "hpa"), PSYCHROLIB_HPA.items())
def test_saturation_is_that_of_a_psychrometric_library(at_c: float, hpa: float):
    """Within the 0.3 % that the Magnus formula is off by."""
    assert saturation_hpa(at_c) == pytest.approx(hpa, rel=0.003)


@pytest.mark.parametrize(("pct", "from_c", "to_c", "becomes_pct"), PSYCHROLIB_PCT)
def test_humidity_of_air_warmed_or_cooled_is_that_of_a_psychrometric_library(
    pct: float, from_c: float, to_c: float, becomes_pct: float
):
    assert humidity_at(pct, from_c, to_c) == pytest.approx(becomes_pct, rel=0.005)


def test_air_that_cools_is_damper_and_no_more_than_full():
    assert humidity_at(50.0, 20.0, 20.0) == pytest.approx(50.0)
    assert humidity_at(40.0, 20.0, 12.0) == pytest.approx(40 * 23.39 / 14.03, rel=0.01)
    assert humidity_at(80.0, 20.0, 5.0) == 95.0


def test_what_is_kept_of_a_climate_holds_no_readings():
    """Thousands of answers are kept under such keys: each is small, and equal where the climates are."""
    one, other = (replace(PLACE, record=record([18.0 + n % 5 for n in range(5000)])) for _ in range(2))
    assert one.key == other.key
    assert one.key != replace(PLACE, record=record([18.0 + n % 4 for n in range(5000)])).key
    assert len(repr(one.with_moves(((1.0, other),)).key)) < 2000
    first, second = (question_of((LAYER, room_in(each, AT, PRAGUE))) for each in (one, other))
    assert first.key == second.key
    assert len(repr(first.key)) < 2000
