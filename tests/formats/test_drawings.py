"""The geometry of the drawings, held to what was put in: scale, order, and nothing outside the picture."""

import itertools
import re
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.formats.drawings import SectionLayer, SectionRegion, SectionSubject, colours_seen, miniature
from server.formats.drawings_calendar import (
    BAR_BOTTOM,
    BAR_TOP,
    CalendarFilm,
    CalendarPin,
    CalendarRow,
    CalendarSpan,
    Spread,
    clip_border,
    day_offset,
    draw_calendar,
    odds_border,
)
from server.formats.drawings_odds import odds_picture
from server.formats.drawings_section import LABEL_SPACING, LEFT, RIGHT, cross_section, describe, spread

STATIC = Path(__file__).parents[2] / "static"
NUMBERS = re.compile(r"[MLHV]|-?\d+(?:\.\d+)?")


def points(path: str) -> list[tuple[float, float]]:
    """The corners of an absolute path of M, L, H and V."""
    found: list[tuple[float, float]] = []
    tokens = NUMBERS.findall(path.replace("Z", ""))
    at = 0
    while at < len(tokens):
        letter = tokens[at]
        if letter in "ML":
            found.append((float(tokens[at + 1]), float(tokens[at + 2])))
            at += 3
        else:
            x, y = found[-1]
            value = float(tokens[at + 1])
            found.append((value, y) if letter == "H" else (x, value))
            at += 2
    return found


def layer(film_um: float, name: str = "layer", shares: tuple[float, ...] = (1.0,), **more) -> SectionLayer:
    regions = tuple(SectionRegion(f"mix {i}", share, "#886644", "wet") for i, share in enumerate(shares))
    return SectionLayer(name, film_um, film_um, regions, **more)


def stack(*films_um: float) -> SectionSubject:
    return SectionSubject("Sample", tuple(layer(film, severity="note", finding="a note") for film in films_um))


STACKS = {
    "none": (),
    "one": (50,),
    "one of nothing": (0,),
    "thirty": tuple(10 + 5 * (i % 7) for i in range(30)),
    "impasto over a glaze": (50, 8, 2000),
    "hair-thin": (0.01, 0.02),
}


@pytest.mark.parametrize("log", [False, True])
@pytest.mark.parametrize("films", STACKS.values(), ids=STACKS.keys())
def test_nothing_is_drawn_outside_the_picture(films, log):
    section = cross_section(stack(*films), log)
    paths = [section.ground.path, section.support.path]
    for band in section.bands:
        paths += [band.outline, band.leader]
        for region in band.regions:
            paths += [region.area.path, region.sheen]
            for grain in region.grains:
                assert band.y_top <= grain.y - grain.r
                assert grain.y + grain.r <= band.y_bottom
                assert region.x <= grain.x - grain.r
                assert grain.x + grain.r <= region.x + region.width
        assert 6 <= band.numeral_y <= section.height - 6
    for mark in section.marks:
        paths.append(mark.leader)
        assert 10 <= mark.y <= section.height - 10
    for path in filter(None, paths):
        for x, y in points(path):
            assert 0 <= x <= section.width
            assert 0 <= y <= section.height


@pytest.mark.parametrize("films", [f for f in STACKS.values() if sum(f)], ids=[k for k, f in STACKS.items() if sum(f)])
def test_the_linear_scale_is_exact(films):
    """Every film is as high as its micrometres say, and so is the scale bar."""
    section = cross_section(stack(*films))
    per_um = section.units_per_um
    assert per_um is not None
    for band, film in zip(section.bands, films, strict=True):
        assert band.y_bottom - band.y_top == pytest.approx(film * per_um, abs=1e-9)
    assert section.bands[0].y_bottom == section.ground_y
    bar = section.scale_bar
    assert bar is not None
    assert bar.y_bottom - bar.y_top == pytest.approx(int(bar.words.split()[0]) * per_um)


def test_the_impasto_is_250_times_as_high_as_the_glaze_below_it():
    _, glaze, impasto = cross_section(stack(50, 8, 2000)).bands
    assert (impasto.y_bottom - impasto.y_top) / (glaze.y_bottom - glaze.y_top) == pytest.approx(250)


@given(st.lists(st.floats(0.1, 3000), min_size=2, max_size=12))
def test_the_logarithmic_scale_never_turns_the_order_around(films):
    section = cross_section(stack(*films), log=True)
    heights = [band.y_bottom - band.y_top for band in section.bands]
    for (film, height), (other, other_height) in zip(
        sorted(zip(films, heights, strict=True)), sorted(zip(films, heights, strict=True))[1:], strict=False
    ):
        assert film <= other
        assert height <= other_height + 1e-9
    assert section.scale_bar is None
    assert section.units_per_um is None


def test_the_logarithmic_scale_lets_a_glaze_be_seen():
    linear = cross_section(stack(50, 8, 2000)).bands[1]
    log = cross_section(stack(50, 8, 2000), log=True).bands[1]
    assert linear.y_bottom - linear.y_top < 2
    assert log.y_bottom - log.y_top > 10
    assert cross_section(stack(50, 8, 2000)).log_helps
    assert not cross_section(stack(50, 40)).log_helps


def test_ripples_have_no_net_area():
    """The area under a drawn boundary is the area under its mean, to the rounding of coordinates."""
    section = cross_section(stack(120, 90))
    for band in section.bands:
        corners = points(band.outline)
        area = (
            abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True)))
            / 2
        )
        assert area == pytest.approx((band.y_bottom - band.y_top) * (RIGHT - LEFT), rel=2e-3)


def test_regions_share_the_width_and_bare_ground_stays_bare():
    section = cross_section(SectionSubject("Sample", (layer(50, shares=(0.5, 0.3)),)))
    wide, narrow = section.bands[0].regions
    assert wide.width == pytest.approx(0.5 * (RIGHT - LEFT))
    assert narrow.x + narrow.width == pytest.approx(LEFT + 0.8 * (RIGHT - LEFT))
    assert max(x for x, _ in points(section.bands[0].outline)) == pytest.approx(narrow.x + narrow.width, abs=0.01)
    over = cross_section(SectionSubject("Sample", (layer(50, shares=(1.0, 1.0)),))).bands[0].regions
    assert over[1].x + over[1].width == pytest.approx(RIGHT)


def test_neighbouring_numerals_keep_apart():
    section = cross_section(stack(*STACKS["thirty"]))
    ys = [band.numeral_y for band in section.bands]
    assert all(low - high >= LABEL_SPACING - 0.02 for low, high in itertools.pairwise(ys))


def test_spread_keeps_places_that_fit():
    assert spread([100, 50, 10], 15, 0, 120) == [100, 50, 10]
    assert spread([100, 99, 98], 15, 0, 120) == [100, 85, 70]
    assert spread([], 15, 0, 120) == []


def test_only_films_that_are_not_dry_shine():
    for state, shines in (("wet", True), ("tacky", True), ("touch_dry", False), ("firm", False)):
        one = SectionLayer("layer", 50, 50, (SectionRegion("mix", 1, "#886644", state),))
        assert bool(cross_section(SectionSubject("Sample", (one,))).bands[0].regions[0].sheen) is shines
    planned = cross_section(SectionSubject("Sample", (layer(50, painted=False),))).bands[0]
    assert planned.state == planned.regions[0].state == "planned"
    assert not planned.regions[0].sheen


def test_the_section_in_words():
    subject = SectionSubject("Sample", (layer(8.5, "glaze"),), "acrylic ground", support_label="hardboard")
    assert describe(subject) == "From the top: 1, glaze: 8.5 µm, firm. Below: acrylic ground on hardboard."
    assert describe(SectionSubject("Sample", ())) == "Nothing painted yet. Ground on support."
    assert describe(subject, log=True).startswith("Heights on a logarithmic scale.")


# ---- the little panel ----


@pytest.mark.parametrize(("width", "height"), [(300, 240), (240, 300), (1000, 100), (1, 1)])
def test_the_little_panel_keeps_its_proportions(width, height):
    mini = miniature(width, height, [layer(50, shares=(0.5, 0.25, 0.25))], box=60)
    corners = [corner for area in mini.face for corner in points(area.path)]
    assert max(x for x, _ in corners) == pytest.approx(max(60 * width / max(width, height), 10), abs=0.01)
    assert max(y for _, y in corners) == pytest.approx(max(60 * height / max(width, height), 10), abs=0.01)
    for area in (*mini.face, *mini.edge):
        assert all(0 <= x <= mini.width + 0.01 and 0 <= y <= mini.height + 0.01 for x, y in points(area.path))


def test_the_face_shows_each_colour_by_its_share():
    regions = (SectionRegion("sky", 0.7, "#4466aa", "firm"), SectionRegion("field", 0.3, "#668833", "firm"))
    mini = miniature(400, 300, [SectionLayer("layer", 400, 400, regions)], box=80)
    areas = []
    for area in mini.face:
        corners = points(area.path)
        areas.append(
            abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True)))
            / 2
        )
    assert areas[0] / sum(areas) == pytest.approx(0.7, abs=0.01)


def test_what_is_seen_of_a_stack():
    assert colours_seen([]) == [(1.0, "#efeade")]
    blue = SectionRegion("blue", 1, "#0000ff", "firm")
    assert colours_seen([SectionLayer("thick", 500, 500, (blue,))]) == [(1.0, "#0000ff")]
    assert colours_seen([SectionLayer("planned", 500, 500, (blue,), painted=False)]) == [(1.0, "#efeade")]
    ((_, thin),) = colours_seen([SectionLayer("glaze", 5, 5, (blue,))])
    assert thin not in {"#efeade", "#0000ff"}  # a thin film lets the ground shine through
    half = SectionRegion("blue", 0.5, "#0000ff", "firm")
    assert [share for share, _ in colours_seen([SectionLayer("half", 500, 500, (half,))])] == [0.5, 0.5]


# ---- the calendar ----

FIRST = date(2031, 3, 3)
SPAN = CalendarSpan(FIRST, 28, 20.0, 10.25)


def film(start: float = 2, until: float | None = None, days: float = 5, **more) -> CalendarFilm:
    def around(middle: float) -> Spread:
        return Spread(*(start + middle * f for f in (0.5, 0.6, 1, 1.7, 2.1)))

    return CalendarFilm("layer", start, around(0.7 * days), around(days), around(2.5 * days), until, **more)


def row(*films: CalendarFilm, pins: tuple[CalendarPin, ...] = ()) -> CalendarRow:
    return CalendarRow("Sample", "/panels/x", films, pins)


@pytest.mark.parametrize("start", [-40, -3, 0, 2, 27.5])
@pytest.mark.parametrize("until", [None, 3.0, 200.0])
@pytest.mark.parametrize("days", [0.01, 5, 400])
def test_no_film_leaves_the_calendar(start, until, days):
    drawing = draw_calendar([row(film(start, until, days), pins=(CalendarPin(28, "due", "due"),))], SPAN)
    drawn = drawing.rows[0]
    paths = [*(a.path for a in drawn.areas), *drawn.outlines, *drawn.gloss, *drawn.broken_gloss]
    for path in [*paths, *(s.path for s in drawn.sittings)]:
        assert all(0 <= x <= drawing.width and 0 <= y <= drawing.row_height for x, y in points(path))
    assert all(8 <= pin.x <= drawing.width - 8 for pin in drawn.pins)


def test_on_any_day_the_drier_states_height_is_its_chance():
    """The middle of the border stands at the median day, half-way up; its tenth and ninetieth where they are said."""
    drawing = draw_calendar([row(film(2, days=5))], SPAN)
    touch_dry = next(area for area in drawing.rows[0].areas if area.kind == "touch_dry")
    corners = {round(x, 2): y for x, y in points(touch_dry.path)}
    height = BAR_BOTTOM - BAR_TOP
    assert corners[20 * (2 + 5)] == pytest.approx(BAR_BOTTOM - 0.5 * height)
    assert corners[20 * (2 + 0.6 * 5)] == pytest.approx(BAR_BOTTOM - 0.1 * height)
    assert corners[20 * (2 + 1.7 * 5)] == pytest.approx(BAR_BOTTOM - 0.9 * height)


@given(st.floats(-50, 50), st.floats(-20, 30), st.floats(0.1, 60))
def test_a_clipped_border_climbs_from_left_to_right_within_its_days(start_of_film, start, length):
    border = odds_border(Spread(*(start_of_film + d for d in (3, 4, 8, 13, 16))))
    clipped = clip_border(border, start, start + length)
    assert all(start <= x <= start + length for x, _ in clipped)
    assert all(x0 <= x1 and low <= high for (x0, low), (x1, high) in itertools.pairwise(clipped))
    assert all(0 <= odds <= 1 for _, odds in clipped)


def test_a_film_ends_where_the_next_layer_covers_it():
    drawing = draw_calendar([row(film(2, until=6), film(6))], SPAN)
    assert points(drawing.rows[0].outlines[0])[1][0] == 6 * 20
    assert len(drawing.rows[0].sittings) == 2


def test_planned_films_do_not_shine():
    drawn = draw_calendar([row(film(12, is_planned=True))], SPAN).rows[0]
    assert not drawn.gloss
    assert all(area.is_planned for area in drawn.areas)


def test_an_empty_calendar_and_an_empty_row():
    assert draw_calendar([], SPAN).rows == ()
    assert draw_calendar([row()], SPAN).rows[0].words == "Sample: nothing painted or planned."


def test_today_is_a_line_only_when_it_is_shown():
    assert draw_calendar([], SPAN).today_x == pytest.approx(205)
    assert draw_calendar([], CalendarSpan(FIRST, 28, 20.0, 99)).today_x is None
    assert draw_calendar([], CalendarSpan(FIRST, 28, 20.0)).today_x is None


def test_the_head_names_months_and_days():
    head = draw_calendar([], CalendarSpan(FIRST, 60, 24.0, 1.0))
    assert [month.words for month in head.months] == [
        "March 2031",
        "April",
    ]  # a single day of May has no room for its name
    assert [tick.words for tick in head.ticks[:3]] == ["3", "4", "5"]
    assert [tick.is_today for tick in head.ticks[:3]] == [False, True, False]
    weeks = draw_calendar([], CalendarSpan(FIRST, 60, 8.0, 1.0)).ticks
    assert [(FIRST + timedelta(round(t.x / 8))).weekday() for t in weeks] == [0] * len(weeks)


def test_days_are_counted_in_the_studios_zone():
    zone = ZoneInfo("America/New_York")
    midnight = datetime(2031, 3, 3, 5, 0, tzinfo=timezone.utc)  # UTC-5 in winter
    assert day_offset(midnight, FIRST, zone) == 0
    assert day_offset(midnight + timedelta(hours=6), FIRST, zone) == 0.25
    assert day_offset(datetime(2031, 3, 10, 16, 0, tzinfo=timezone.utc), FIRST, zone) == 7.5  # UTC-4 since the 9th


# ---- odds ----


@pytest.mark.parametrize(
    ("odds", "filled", "words"),
    [
        (0, 0, "less than 1 in 20"),
        (0.001, 0, "less than 1 in 20"),
        (0.049, 0, "less than 1 in 20"),
        (0.05, 1, "about 1 in 20"),
        (0.3, 6, "about 6 in 20"),
        (0.85, 17, "about 17 in 20"),
        (0.95, 19, "about 19 in 20"),
        (0.999, 19, "more than 19 in 20"),
        (1, 20, "more than 19 in 20"),
    ],
)
def test_odds_as_twenty_beads(odds, filled, words):
    picture = odds_picture(odds)
    assert (picture.filled, picture.words) == (filled, words)
    assert sum(picture.rows) == filled and len(picture.rows) == 2


def test_the_beads_of_a_row_are_those_that_are_full_and_the_rest():
    sprite = (STATIC / "shapes.svg").read_text(encoding="utf-8")
    for full in range(11):
        first = re.findall(rf'<symbol id="beads-{full}"><path d="(.*?)"/>', sprite)
        rest = re.findall(rf'<symbol id="beads-from-{full}"><path d="(.*?)"/>', sprite)
        assert [path.count("z") for path in first] == ([full] if full else [])
        assert [path.count("z") for path in rest] == ([10 - full] if full < 10 else [])
        assert all(path.startswith(f"M{2 + 14 * full} 11.5c") for path in rest)
