"""The room, the studio's settings, and the pages that explain, over HTTP."""

import re

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.science import reference
from server.services.hazards import HAZARDS
from server.store.db import Database
from server.store.tables import ChangeSet
from tests.web.pages_of_records import NOBODY, form_to, forms_of

PLACE = {"name": "Cellar rack", "light": "dim", "temperature_c": "14,5", "relative_humidity_pct": "70"}


def add(client: TestClient, **values: str) -> str:
    """The address of a new place's form."""
    sent = form_to(client.get("/room/new"), "/room/new").filled(**(PLACE | values))
    answer = client.post("/room/new", data=sent)
    assert answer.status_code == 303, answer.text
    return f"/room/{answer.headers['location'].rpartition('#')[2]}/edit"


def test_a_new_studio_has_a_room(client: TestClient):
    page = client.get("/room").text
    assert "Easel room" in page
    assert "of the reference speed" in page
    assert "guessed: dates are told more widely" in page
    assert "The drying year of Easel room" in page


def test_a_place_tells_its_speed_and_its_year(client: TestClient):
    months = {"months-10-temperature_c": "8", "months-10-relative_humidity_pct": "75"}
    add(client, measured="true", **months)
    page = client.get("/room").text
    assert "Cellar rack" in page
    assert "read off instruments" in page
    assert "8 °C, 75 %" in page


def test_months_stand_at_their_own_rows(client: TestClient):
    address = add(client, **{"months-10-temperature_c": "8", "months-10-relative_humidity_pct": "75"})
    values = form_to(client.get(address), address).values
    assert (values["months-10-temperature_c"], values["months-10-month"]) == ("8", "11")
    assert values["months-0-temperature_c"] == ""
    assert values["temperature_c"] == "14.5"


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("name", "", "Fill this in."),
        ("name", "a\x07", "cannot be shown"),
        ("light", "moonlight", "Choose one of the list."),
        ("temperature_c", "", "Fill this in."),
        ("temperature_c", "300", "at most 50"),
        ("temperature_c", "warm", "Write a number"),
        ("relative_humidity_pct", "-1", "at least 0"),
        ("relative_humidity_pct", "120", "at most 100"),
        ("months-3-temperature_c", "300", "at most 50"),
        ("months-3-relative_humidity_pct", "50", "both its temperature and its humidity"),
        ("notes", "y" * 4001, "Shorten this to 4000 characters."),
        ("colour", "red", "not known here"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_all_that_was_typed_stays(
    client: TestClient, name: str, typed: str, told: str
):
    months = {"months-8-temperature_c": "18", "months-8-relative_humidity_pct": "55"}
    sent = form_to(client.get("/room/new"), "/room/new").filled(**(PLACE | months)) | {name: typed}
    answer = client.post("/room/new", data=sent)
    assert answer.status_code == 422
    assert told in answer.text
    again = form_to(answer, "/room/new").values
    kept = {key: value for key, value in sent.items() if key not in {name, "colour"}}
    assert kept.items() <= again.items()
    if name != "colour":
        assert f'id="e-{name}"' in answer.text


def test_a_light_of_ones_own_wants_its_number(client: TestClient):
    answer = client.post("/room/new", data=PLACE | {"light": "number"})
    assert answer.status_code == 422
    assert 'id="e-light_factor"' in answer.text
    add(client, light="number", light_factor="0,8")
    assert "a number of your own" in client.get("/room").text


def test_two_tabs_lose_nothing_not_even_a_month(client: TestClient):
    address = add(client, **{"months-10-temperature_c": "8", "months-10-relative_humidity_pct": "75"})
    mine, theirs = (form_to(client.get(address), address) for _ in range(2))
    changed = theirs.filled() | {"months-10-temperature_c": "9"}
    assert client.post(address, data=changed).status_code == 303
    answer = client.post(address, data=mine.filled(name="Mine") | {"months-10-temperature_c": "7"})
    assert answer.status_code == 409
    assert 'id="t-months-10-temperature_c"' in answer.text
    again = form_to(answer, address)
    assert (again.values["name"], again.values["months-10-temperature_c"]) == ("Mine", "7")
    assert client.post(address, data=again.values).status_code == 303
    assert form_to(client.get(address), address).values["months-10-temperature_c"] == "7"


def test_a_form_sent_twice_adds_one_place(client: TestClient):
    sent = form_to(client.get("/room/new"), "/room/new").filled(**PLACE)
    first, second = (client.post("/room/new", data=sent) for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    assert client.get("/room").text.count("Cellar rack</a>") == 1


def test_the_only_place_cannot_be_archived_and_says_why(client: TestClient):
    only = client.get("/room").text.partition('<li class="slab" id="')[2].partition('"')[0]
    answer = client.post(f"/room/{only}/archive", data={})
    assert answer.status_code == 409
    assert "only place" in answer.text


def test_archive_and_back(client: TestClient):
    address = add(client)
    away, back = address.replace("/edit", "/archive"), address.replace("/edit", "/restore")
    assert client.post(away, data=form_to(client.get(address), away).values).status_code == 303
    assert "Cellar rack" not in client.get("/room").text.partition("<main")[2]
    archived = client.get("/room?archived=true")
    assert "Cellar rack" in archived.text
    assert "is archived" in client.get(address).text
    assert client.post(back, data=form_to(archived, back).values).status_code == 303
    assert "Cellar rack" in client.get("/room").text


@pytest.mark.parametrize("act", ["edit", "archive", "restore"])
def test_there_is_no_such_place(client: TestClient, act: str):
    if act == "edit":
        assert client.get(f"/room/{NOBODY}/edit").status_code == 404
    assert client.post(f"/room/{NOBODY}/{act}", data={}).status_code == 404


def test_the_studios_settings_are_changed_and_told_everywhere(client: TestClient):
    form = form_to(client.get("/studio"), "/studio")
    answer = client.post("/studio", data=form.filled(name="By the river", time_zone="Europe/Lisbon"))
    assert answer.status_code == 303
    page = client.get("/studio")
    assert "Changed the studio" in page.text
    assert "Studio: By the river" in page.text
    late = client.post("/studio", data=form.filled(name="Late", command_key="another-key-1"))
    assert late.status_code == 409
    assert "Stored now: <strong>By the river</strong>" in late.text


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("name", "", "Fill this in."),
        ("time_zone", "Mars/Olympus", "Choose one of the list"),
        ("time_zone", "", "Fill this in."),
        ("drops_per_ml", "0", "at least 1"),
        ("drops_per_ml", "2.5", "whole number"),
        ("share_wait_d", "", "Fill this in."),
        ("share_wait_d", "a week", "number"),
        ("share_wait_d", "-1", "at least 0"),
        ("share_wait_d", "61.5", "at most 60"),
        ("confidence_pct", "10", "at least 50"),
    ],
)
def test_settings_that_cannot_be_are_said_at_their_field(client: TestClient, name: str, typed: str, told: str):
    sent = form_to(client.get("/studio"), "/studio").filled() | {name: typed}
    answer = client.post("/studio", data=sent)
    assert answer.status_code == 422
    assert told in answer.text
    assert f'id="e-{name}"' in answer.text


def test_how_long_a_panel_may_wait_to_share_a_mix_is_kept_told_and_undone(client: TestClient, db: Database):
    form = form_to(client.get("/studio"), "/studio")
    assert float(form.filled()["share_wait_d"]) == 7.0
    wrong = client.post("/studio", data=form.filled(name="By the river", share_wait_d="61.5"))
    assert wrong.status_code == 422 and 'value="61.5"' in wrong.text and 'value="By the river"' in wrong.text
    assert client.post("/studio", data=form.filled(share_wait_d="12.5")).status_code == 303
    page = client.get("/studio")
    assert form_to(page, "/studio").filled()["share_wait_d"] == "12.5"
    assert "days a panel may wait to share a mix" in page.text.lower()  # what was changed
    with db.read() as session:
        uid = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc()).limit(1)).one().uid
    assert client.post(f"/history/{uid}/undo", data={"command_key": "key-of-an-undo"}).status_code == 303
    assert float(form_to(client.get("/studio"), "/studio").filled()["share_wait_d"]) == 7.0


def test_every_figure_is_told_with_its_source_and_how_sure_it_is(client: TestClient):
    page = client.get("/how").text
    for row in reference.parameters():
        assert row.meaning[1:].replace("'", "&#39;").replace(" um ", " µm ") in page
    for pigment in reference.pigments():
        assert f"{pigment.ci_name} " in page
        assert pigment.trade_names.replace("'", "&#39;") in page
    for oil in reference.oils():
        assert oil.label[1:] in page
    for words in reference.sources()["confidence"].values():
        assert words in page
    for full in reference.sources()["sources"].values():
        assert full.replace("&", "&amp;").replace("'", "&#39;") in page
    assert "Known misses" in page


def test_the_known_misses_are_those_of_the_published_checks(client: TestClient):
    from server.web.pages.how import KNOWN_MISSES, PUBLISHED_CHECKS
    from tests.science.published import checks
    from tests.science.test_published_checks import KNOWN_MISSES as HELD

    by_id = {check.id: check for check in checks()}
    assert len(by_id) == PUBLISHED_CHECKS
    assert {miss.check: miss.model for miss in KNOWN_MISSES} == {number: held[0] for number, held in HELD.items()}
    for miss in KNOWN_MISSES:
        assert (miss.low, miss.high) == (by_id[miss.check].low, by_id[miss.check].high)
    page = client.get("/how").text
    assert f"has {PUBLISHED_CHECKS - len(KNOWN_MISSES)} of them in range" in page
    for miss in KNOWN_MISSES:  # with digits enough to see that it misses
        shown = f"{miss.model:.4g}"
        assert f'<td class="num">{shown}</td>' in page
        assert not miss.low <= float(shown) <= miss.high


def test_the_cautions_name_what_to_do_and_who_decides(client: TestClient):
    page = client.get("/cautions").text
    for found in HAZARDS:
        assert f'id="{found.anchor}"' in page
    for words in ("lay them flat outdoors", "lidded metal can", "No solvent, paint water or sludge down the drain"):
        assert words in page
    for words in ("fire authority", "data sheet", "licensed", "law of your workplace", "doctor", "conservator"):
        assert words in page


def test_a44_the_level_in_a_room_is_not_worked_out_limits_are_shown_and_others_decide(client: TestClient):
    """Published: OSHA 500 ppm (2900 mg/m³) for mineral spirits, 100 ppm (560 mg/m³) for turpentine; NIOSH 350 mg/m³
    with 1800 for a quarter of an hour, and 100 ppm."""
    page = " ".join(client.get("/cautions").text.replace("&nbsp;", " ").split())
    air = page.partition("How much is in the air of my room?")[2].partition("</section>")[0]
    assert "nothing here works it out: only a measurement says it" in air
    for limit in ("500 ppm (2900 mg/m³)", "350 mg/m³; 1800 for a quarter of an hour", "100 ppm (560 mg/m³)"):
        assert limit in air
    assert "limits for workplaces in the United States" in air and "yours may differ" in air
    assert "air moving to the outside" in air and "data sheet" in air
    assert not any(form.values.keys() & {"ppm", "exposure", "air"} for form in forms_of(client.get("/cautions")))


def test_the_clock_of_a_device_is_taken_over_once_and_only_when_it_is_known(client: TestClient):
    taken = {"time_zone": "Europe/Lisbon", "command_key": "zone-key-012345"}
    assert client.post("/studio/zone", data=taken, follow_redirects=False).headers["location"] == "/"
    assert client.post("/studio/zone", data=taken, follow_redirects=False).status_code == 303
    assert form_to(client.get("/studio"), "/studio").values["time_zone"] == "Europe/Lisbon"
    for name in ("", "../../etc/passwd", "Mars/Olympus", "x" * 9000):
        answer = client.post("/studio/zone", data={"time_zone": name, "command_key": f"zone-{len(name)}-012345"})
        assert answer.status_code == 409
        assert "not known here" in answer.text
    assert form_to(client.get("/studio"), "/studio").values["time_zone"] == "Europe/Lisbon"


def test_nights_and_heating_that_is_off_are_kept_and_slow_the_room(client: TestClient):
    nights = {"night_temperature_c": "9", "night_relative_humidity_pct": "80"}
    months = {"months-10-temperature_c": "14", "months-10-relative_humidity_pct": "60"}
    months |= {"months-10-night_temperature_c": "7", "months-10-night_relative_humidity_pct": "85"}
    plain = add(client, name="Warm all night", temperature_c="20")
    off = {"hours-0-weekdays": "67", "hours-0-start": "00:00", "hours-0-end": "23:59", "hours-0-temperature_c": "8"}
    away = {"away-0-from_on": "2026-12-24", "away-0-until_on": "2027-01-02", "away-0-temperature_c": "6"}
    address = add(client, name="Cold at times", temperature_c="20", **(nights | months | off | away))
    values = form_to(client.get(address), address).values
    assert {**nights, **months, **off, **away}.items() <= values.items()
    speeds = re.findall(r"This month at ([0-9.]+) of the reference", client.get("/room").text)
    assert float(speeds[2]) < float(speeds[1])
    form = form_to(client.get(address), address)
    fewer = {name: value for name, value in form.filled().items() if not name.startswith("away-")}
    assert client.post(address, data=fewer).status_code == 303
    assert form_to(client.get(address), address).values["away-0-from_on"] == ""
    assert form_to(client.get(plain), plain).values["hours-0-start"] == ""


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"night_temperature_c": "9"}, "night_relative_humidity_pct"),
        (
            {"months-3-night_temperature_c": "9", "months-3-night_relative_humidity_pct": "80"},
            "months-3-night_relative",
        ),
        ({"hours-0-start": "25:00", "hours-0-end": "07:00", "hours-0-temperature_c": "9"}, "hours-0-start"),
        ({"hours-0-start": "20:00", "hours-0-end": "07:00"}, "hours-0-temperature_c"),
        (
            {"away-0-from_on": "2026-12-24", "away-0-until_on": "2026-12-20", "away-0-temperature_c": "9"},
            "away-0-until",
        ),
    ],
)
def test_nights_and_hours_that_cannot_be_are_said_at_their_field(client: TestClient, typed: dict[str, str], field: str):
    answer = client.post("/room/new", data=PLACE | typed)
    assert answer.status_code == 422
    assert f'id="e-{field}' in answer.text
    for value in typed.values():
        assert f'value="{value}"' in answer.text
