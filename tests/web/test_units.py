"""Quantities, days and numbers as a studio likes them told: what is typed comes back, files stay metric.

The inch is 25.4 mm, the US fluid ounce 29.5735295625 ml (NIST Handbook 44, appendix C), 0 °C 32 °F and 100 °C 212 °F; a
gallon of 231 cubic inches has 128 ounces: all from memory.
"""

import re
from datetime import date, datetime, timedelta, timezone
from html import unescape

import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from starlette.datastructures import FormData
from starlette.testclient import TestClient

from server.science.drying import REFERENCE_K
from server.services.fields import Command
from server.web import words
from server.web.calendar_rows import week_of
from server.web.form_values import flatten
from server.web.forms import parse
from server.web.glossary import TERMS
from server.web.locales import of_language
from server.web.manner import METRIC, UNITS, Manner, told_as
from server.web.render import environment
from tests.browser import addresses
from tests.services.board_studio import trade_fact
from tests.services.conftest import Bench, make_bench

US = {
    "length_unit": "in",
    "volume_unit": "fl_oz",
    "temperature_unit": "f",
    "film_unit": "mil",
    "week_start": "sunday",
    "date_order": "mdy",
    "clock": "12",
    "decimal_mark": "point",
}
AMERICAN = Manner("in", "fl_oz", "f", "mil", "sunday", "mdy", "12")
METRIC_LEFT = re.compile(r"\d(?:&nbsp;|\s)(?:cm²?|°C|ml|µm)(?!\w)|>(?:cm|°C|ml|µm wet)<")
RATIOS = re.compile(
    r"(?:drops? (?:to|in|per)|(?:\d\sml of )?oil (?:in|to)) 10\s(?:ml)"
)  # counts on ten stay counts on ten
FIELD = r'name="(\w+)" (?:type="\w+" )?(?:inputmode="\w+" )?value="([^"]*)"'
AS_PUBLISHED = ("/how", "/rules", "/parts", "/cautions")


class Typed(Command):
    """A field of each kind."""

    width_cm: float
    left_ml: float
    temperature_c: float
    wet_thickness_um: float
    drops_per_ml: float


@pytest.mark.parametrize(
    ("stored_in", "choice", "stored", "shown"),
    [
        ("cm", "in", 2.54, 1.0),
        ("ml", "fl_oz", 231 * 2.54**3 / 128, 1.0),
        ("°C", "f", 0.0, 32.0),
        ("°C", "f", 100.0, 212.0),
        ("°C", "f", -40.0, -40.0),
        ("µm", "mil", 25.4, 1.0),
        ("cm²", "in", 6.4516, 1.0),
    ],
)
def test_units_against_their_definitions(stored_in: str, choice: str, stored: float, shown: float):
    assert UNITS[stored_in][choice].shown(stored) == pytest.approx(shown, rel=1e-12)
    assert UNITS[stored_in][choice].stored(shown) == pytest.approx(stored, rel=1e-12)


@given(st.decimals(min_value="0.1", max_value="390", places=3), st.sampled_from([METRIC, AMERICAN]))
def test_what_is_typed_comes_back_as_it_was(figure, manner: Manner):
    text = f"{figure.normalize():f}"
    form = FormData([(name, text) for name in Typed.model_fields])
    with told_as(manner):
        command, state = parse(form, Typed)
        assert command is not None, state.errors
        assert flatten(command, timezone.utc) == dict.fromkeys(Typed.model_fields, text)
    assert command.drops_per_ml == float(text)  # a count is no volume


@given(st.integers(1, 390), st.integers(1, 390))
def test_a_size_in_inches_is_shown_as_it_was_typed(width: int, height: int):
    with told_as(AMERICAN):
        stored = [round(side * 2.54 * 10, 4) for side in (width, height)]
        assert words.size_words(*stored) == f"{width} × {height} in"


def test_a_fault_names_the_bound_in_the_typed_unit():
    from server.services.panels import PanelCreate

    with told_as(AMERICAN):
        _, state = parse(FormData([("width_cm", "999"), ("height_cm", "0.01")]), PanelCreate)
    assert state.errors["width_cm"] == "This must be at most 393.7 in."
    assert state.errors["height_cm"] == "This must be at least 0.03937 in."
    assert state.values["width_cm"] == "999"


DAY = date(2026, 12, 3)


@pytest.mark.parametrize(
    ("order", "short", "long", "full"),
    [
        ("dmy", "3 December", "3 December 2026", "Thursday 3 December 2026"),
        ("mdy", "December 3", "December 3, 2026", "Thursday, December 3, 2026"),
        ("ymd", "December 3", "2026-12-03", "Thursday 2026-12-03"),
    ],
)
def test_orders_of_the_date(order, short: str, long: str, full: str):
    with told_as(Manner(date_order=order)):
        assert words.date_words(DAY, date(2026, 1, 1)) == short
        assert words.date_words(DAY, date(2025, 1, 1)) == long
        assert words.full_date(DAY) == full


@pytest.mark.parametrize(
    ("at", "told"), [((0, 5), "12:05 am"), ((11, 59), "11:59 am"), ((12, 0), "12:00 pm"), ((14, 5), "2:05 pm")]
)
def test_a_clock_of_twelve_hours(at: tuple[int, int], told: str):
    with told_as(Manner(clock="12")):
        assert words.clock(datetime(2026, 12, 3, *at, tzinfo=timezone.utc)) == told
    assert words.clock(datetime(2026, 12, 3, *at, tzinfo=timezone.utc)) == f"{at[0]:02d}:{at[1]:02d}"


@given(st.floats(0.001, 1e6))
def test_a_decimal_comma_is_read_as_it_is_written(value: float):
    with told_as(Manner(decimal="comma")):
        assert "." not in words.figure(value, 6)
        command, _ = parse(FormData([(name, words.figure(value, 6)) for name in Typed.model_fields]), Typed)
    assert command is not None
    assert command.left_ml == pytest.approx(value, rel=1e-5)


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.sampled_from(["monday", "sunday", "saturday"]))
def test_weeks_begin_at_the_chosen_day(day: date, start):
    with told_as(Manner(week_start=start)):
        first = week_of(day)
    assert f"{first:%A}".lower() == start
    assert timedelta(0) <= day - first < timedelta(7)


@pytest.mark.parametrize(
    ("accepted", "told"),
    [
        ("", ("monday", "dmy", "24", "point")),
        ("en-GB,en;q=0.9", ("monday", "dmy", "24", "point")),
        ("en-US,en;q=0.9", ("sunday", "mdy", "12", "point")),
        ("de-DE,de;q=0.9", ("monday", "dmy", "24", "comma")),
        ("sv", ("monday", "ymd", "24", "comma")),
        ("ar-EG", ("saturday", "dmy", "12", "point")),
        ("<script>", ("monday", "dmy", "24", "point")),
    ],
)
def test_the_device_says_what_is_left_to_it(accepted: str, told: tuple[str, ...]):
    """After Unicode CLDR; the mark is that of Latin figures, which the pages write."""
    assert of_language(accepted) == told


@pytest.fixture
def bench(db) -> Bench:
    return make_bench(db)


def prefer(client: TestClient, **choices: str) -> None:
    page = client.get("/studio").text
    fields = {name: unescape(value) for name, value in re.findall(FIELD, page)}
    fields |= {"confidence_pct": "90"} | choices
    answer = client.post("/studio", data=fields, follow_redirects=False)
    assert answer.status_code == 303, answer.text


def test_no_page_is_left_metric(bench: Bench, client: TestClient):
    panel, layer = trade_fact(bench)
    prefer(client, **US)
    pages = ["/", "/wall", "/calendar", "/calendar?view=agenda", "/panels", f"/panels/{panel.uid}", "/panels/new"]
    pages += [f"/panels/{panel.uid}/edit", f"/panels/{panel.uid}/record", f"/panels/{panel.uid}/layers/new"]
    pages += [f"/layers/{layer.uid}/edit", f"/layers/{layer.uid}/what-if", f"/panels/{panel.uid}/finish"]
    pages += [path for path in addresses.paths() if "{" not in path and not path.startswith(AS_PUBLISHED)]
    left = {}
    for path in dict.fromkeys(pages):
        answer = client.get(path)
        if answer.status_code == 200:
            main = RATIOS.sub("", answer.text)
            if found := sorted({main[m.start() - 50 : m.end() + 10] for m in METRIC_LEFT.finditer(main)}):
                left[path] = found
    assert left == {}
    assert "15.75 × 19.69 in" in client.get("/").text  # 40 × 50 cm


def test_a_panel_of_twelve_inches_is_one(bench: Bench, client: TestClient):
    prefer(client, **US)
    form = client.get("/panels/new").text
    assert ">in</label>" in form
    place = re.search(r'name="place_uid".*?value="([^"]+)"', form, re.DOTALL)
    assert place is not None
    ground = {"support": "hardboard", "ground_kind": "acrylic", "ground_surface": "matte", "place_uid": place[1]}
    answer = client.post(
        "/panels/new", data={"title": "Twelve", "width_cm": "12", "height_cm": "16"} | ground, follow_redirects=False
    )
    assert answer.status_code == 303, answer.text
    edit = client.get(answer.headers["location"].partition("#")[0].partition("?")[0] + "/edit").text
    assert 'name="width_cm" type="text" inputmode="decimal" value="12"' in edit
    assert "12 × 16 in" in client.get("/panels").text


def test_programs_read_metric_whatever_the_studio_likes(bench: Bench, client: TestClient):
    panel, _ = trade_fact(bench)
    before = client.get("/api/v1/panels").json()
    prefer(client, **US)
    assert client.get("/api/v1/panels").json() == before
    assert "inch" not in client.get(f"/panels/{panel.uid}/record/txt").text


def test_words_of_a_template_are_told_anew_to_each_reader(app: FastAPI) -> None:
    """A word that stands in the template itself must not be worked out when the first reader's unit holds."""
    settings = app.state.settings
    made = environment(settings.templates_dir, app.state.static_files)
    with told_as(METRIC):
        label = made.from_string("{{ '°C' | unit }}")
        assert label.render() == "°C"
    with told_as(AMERICAN):
        assert label.render() == "°F"


@pytest.mark.parametrize(
    "prose",
    [
        "8 drops to 10\u00a0ml",
        "{n} drops of clove oil in 10 ml",
        "1.2 has 2 ml of oil in 10 ml",
        "8 druppels op 10\u00a0ml",
        "8 druppels kruidnagelolie op 10 ml",
        "1,2 heeft 2 ml olie in 10 ml.",
    ],
)
def test_a_count_on_ten_millilitres_is_a_ratio_in_every_language(prose: str):
    with told_as(AMERICAN):
        assert words.told(prose) == prose


def test_the_glossary_tells_the_reference_room_that_dates_are_worked_out_against():
    assert TERMS["reference-room"].told.startswith(f"{REFERENCE_K - 273.15:.0f} °C, 50 % humidity")
