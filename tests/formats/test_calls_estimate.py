"""The ``estimate`` call: its examples, its faults, its order."""

import copy
import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from server.formats import calls
from server.formats.calls.estimate import EstimateAnswer
from server.formats.calls.estimate_out import rounded_all

ROOT = Path(calls.__file__).parents[3]
EXAMPLES = Path(calls.__file__).parent / "examples"
NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)


def example(name: str) -> Any:
    return json.loads((EXAMPLES / f"{name}.json").read_text())["request"]


def faults(request: Any) -> dict[str, str]:
    with pytest.raises(calls.CallProblem) as caught:
        calls.answer("estimate", request, NOW)
    return {e.path: e.message for e in caught.value.errors}


def changed(request: Any, path: list[Any], value: Any) -> Any:
    request = copy.deepcopy(request)
    target = request
    for step in path[:-1]:
        target = target[step]
    target[path[-1]] = value
    return request


@pytest.mark.parametrize("name", [p.stem for p in sorted(EXAMPLES.glob("estimate_*.json"))])
def test_every_example_answers_in_the_described_shape(name: str) -> None:
    answer = calls.answer("estimate", example(name), NOW)
    model = EstimateAnswer.model_validate(answer)
    assert set(answer) == set(EstimateAnswer.model_fields)
    for _, stage in model.stages:
        assert 0 < stage.p05_d < stage.p10_d < stage.p50_d < stage.p90_d < stage.p95_d
    assert any(region.holds_up for region in model.regions)
    assert answer["provenance"]


def test_clear_linseed_is_the_reference_film() -> None:
    # Clear linseed, about 30 um, room: touch-dry in 3 to 5 days (encyclopaedia entry; Sabin's film in Gardner 1911).
    answer = calls.answer("estimate", example("estimate_clear_linseed"), NOW)
    touch = answer["stages"]["dry_to_touch"]
    assert 3 <= touch["p50_d"] <= 5
    assert touch["p50_at"] is None


def test_dates_are_the_days_added_to_the_painting() -> None:
    request = example("estimate_light_grey")
    answer = calls.answer("estimate", request, NOW)
    painted = datetime.fromisoformat(request["painted_at"])
    for stage in answer["stages"].values():
        for p in ("p50", "p90"):
            at = datetime.fromisoformat(stage[f"{p}_at"])
            assert abs(at - (painted + timedelta(days=stage[f"{p}_d"]))) < timedelta(seconds=60)


def test_the_black_region_holds_the_layer_up() -> None:
    answer = calls.answer("estimate", example("estimate_light_grey"), NOW)
    regions = {r["name"]: r for r in answer["regions"]}
    assert regions["darks"]["holds_up"] and not regions["light grey"]["holds_up"]
    slow = regions["darks"]["stages"]["dry_to_touch"]["p50_d"]
    assert answer["stages"]["dry_to_touch"]["p50_d"] == pytest.approx(slow, rel=1e-5)


def test_the_layer_is_told_as_late_as_the_latest_of_its_regions() -> None:
    # Frechet's bound: what waits for both regions is no likelier by a day than either.
    oils = [
        {"paints": [{"parts": 1, "oil": oil, "pigments": [{"ci_name": "PW6"}]}]} for oil in ("sunflower", "linseed")
    ]
    layer = {"wet_thickness_um": 200, "ground": "sealed", "mixes": [{**mix, "area_share": 0.5} for mix in oils]}
    request = {"layer": layer, "room": PLAIN, "painted_at": "2026-11-02T10:00:00+00:00"}
    answer = calls.answer("estimate", request, NOW)
    through = [region["stages"]["dry_through"] for region in answer["regions"]]
    for name in ("p05_d", "p10_d", "p50_d", "p90_d", "p95_d", "p50_at", "p90_at"):
        assert answer["stages"]["dry_through"][name] == max(one[name] for one in through)


def test_thin_grey_is_tacky_on_day_three() -> None:
    # Common practice, no source: a thinned white-and-black first layer on gesso is not yet touch-dry after three days.
    touch = calls.answer("estimate", example("estimate_thin_grey"), NOW)["stages"]["dry_to_touch"]
    assert 3.5 <= touch["p50_d"] <= 4.5


def test_a_cold_weekend_delays() -> None:
    cold = calls.answer("estimate", example("estimate_cold_weekend"), NOW)
    request = example("estimate_cold_weekend")
    request["room"] = {"temperature_c": 20, "relative_humidity_pct": 50, "light": "room", "measured": True}
    warm = calls.answer("estimate", request, NOW)
    assert cold["stages"]["dry_to_touch"]["p50_d"] > warm["stages"]["dry_to_touch"]["p50_d"] + 0.5


def test_a_list_is_answered_in_order() -> None:
    thin, thick = example("estimate_clear_linseed"), example("estimate_clear_linseed")
    thick["layer"]["wet_thickness_um"] = 120
    answers = calls.answer("estimate", [thick, thin, thick], NOW)
    touch = [a["stages"]["dry_to_touch"]["p50_d"] for a in answers]
    assert touch[0] == touch[2] > touch[1]
    assert answers[1] == calls.answer("estimate", thin, NOW)


MIX = ["layer", "mixes", 0]


@pytest.mark.parametrize(
    ("path", "value", "at", "words"),
    [
        (["layer", "wet_thickness_um"], 5_000_000, "layer.wet_thickness_um", "or less"),
        (["layer", "wet_thickness_um"], 0, "layer.wet_thickness_um", "more than 0"),
        (["layer", "wet_thickness_um"], -3, "layer.wet_thickness_um", "more than 0"),
        (["layer", "wet_thickness_um"], "50", "layer.wet_thickness_um", "number"),
        (["layer", "wet_thickness_um"], True, "layer.wet_thickness_um", "number"),
        (["layer", "wet_thickness_um"], float("nan"), "layer.wet_thickness_um", "finite"),
        (["layer", "ground"], "sand", "layer.ground", "one of"),
        (["layer", "mixes"], [], "layer.mixes", "at least 1"),
        (["layer", "colour"], "red", "layer.colour", "not a field"),
        ([*MIX, "paints", 0, "parts"], 0, "layer.mixes[0].paints[0].parts", "more than 0"),
        ([*MIX, "paints", 0, "oil"], "castor", "layer.mixes[0].paints[0].oil", "castor"),
        ([*MIX, "paints", 0, "pigments", 0, "ci_name"], "PX99", "layer.mixes[0].paints[0].pigments[0].ci_name", "PX99"),
        ([*MIX, "paints", 0, "pigments", 0, "share"], 0.4, "layer.mixes[0].paints[0].pigments", "add up to 1"),
        ([*MIX, "paints", 1, "pigments", 0, "variant"], None, "layer.mixes[0].paints[1].pigments[0].variant", "umber"),
        ([*MIX, "area_share"], 0.9, "layer.mixes", "area shares"),
        ([*MIX, "name"], "a\u202eb", "layer.mixes[0].name", "control"),
        ([*MIX, "name"], "x" * 10_000_000, "layer.mixes[0].name", "too long"),
        ([*MIX, "additions", 0, "kind"], "water", "layer.mixes[0].additions[0].kind", "one of"),
        ([*MIX, "additions", 0, "metal"], "Pb", "layer.mixes[0].additions[0].metal", "belong"),
        ([*MIX, "additions", 0, "parts"], None, "layer.mixes[0].additions[0].parts", "missing"),
        (["room", "temperature_c"], 900, "room.temperature_c", "or less"),
        (["room", "relative_humidity_pct"], -1, "room.relative_humidity_pct", "or more"),
        (["room", "temperature_c"], None, "room.temperature_c", "missing"),
        (["painted_at"], "2026-11-02T10:00:00", "painted_at", "time zone"),
        (["painted_at"], "yesterday", "painted_at", "instant"),
    ],
)
def test_faults_are_named_at_their_path_in_plain_words(path: list[Any], value: Any, at: str, words: str) -> None:
    found = faults(changed(example("estimate_light_grey"), path, value))
    assert at in found, found
    assert words in found[at]


def test_all_faults_of_a_list_are_named_at_once() -> None:
    good = example("estimate_clear_linseed")
    bad = changed(good, ["layer", "wet_thickness_um"], -1)
    worse = changed(good, ["layer", "mixes", 0, "additions", 0, "oil"], "castor")
    found = faults([good, bad, worse])
    assert set(found) == {"[1].layer.wet_thickness_um", "[2].layer.mixes[0].additions[0].oil"}


def test_series_must_run_forward() -> None:
    request = example("estimate_cold_weekend")
    request["room"]["series"].reverse()
    assert "room.series[1].at" in faults(request)


def run_command(*arguments: str, text: str = "") -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "server", *arguments]
    return subprocess.run(command, input=text, capture_output=True, text=True, cwd=ROOT, timeout=60, check=False)


def test_the_command_answers_as_the_call_does() -> None:
    request = example("estimate_light_grey")
    done = run_command("estimate", "-", text=json.dumps([request]))
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [calls.answer("estimate", request, NOW)]


def test_the_command_says_what_is_wrong_and_exits_2(tmp_path: Path) -> None:
    file = tmp_path / "bad.json"
    file.write_text('{"layer": 1, "layer": 2}')
    done = run_command("estimate", str(file))
    assert done.returncode == 2 and done.stdout == ""
    problem = json.loads(done.stderr)
    assert problem["status"] == 422
    assert "given twice" in problem["errors"][0]["message"]
    assert run_command("estimate", str(tmp_path / "none.json")).returncode == 2


CLEAR = {"wet_thickness_um": 30, "ground": "sealed", "mixes": [{"additions": [{"kind": "oil", "parts": 1}]}]}
PLAIN = {"temperature_c": 21, "relative_humidity_pct": 50}


def test_a_list_is_written_as_the_usual_encoder_would() -> None:
    """The quicker way of writing many says the same: one mix, several, a clear film, with and without a date."""
    grey = example("estimate_light_grey")
    (first, *_) = grey["layer"]["mixes"]
    several = [{**first, "name": 'the "eyes"', "area_share": 0.2}, {**first, "area_share": 0.5}]
    requests = [
        grey,
        {**grey, "painted_at": "2026-11-02T10:00:00.250000+05:30"},
        {"layer": CLEAR, "room": PLAIN},
        {"layer": CLEAR, "room": PLAIN, "painted_at": "9999-12-30T10:00:00Z"},
        {**grey, "layer": {**grey["layer"], "mixes": several}},
    ]
    answers = calls.answer("estimate", requests, NOW)
    assert json.loads(calls.find("estimate").as_text(answers)) == json.loads(json.dumps(answers))


def test_instants_are_those_of_the_calendar() -> None:
    """Against the standard library's own adding of days; a day of six digits is told to about a minute."""
    at = "2026-11-02T10:00:00.250000+05:30"
    (found,) = calls.answer("estimate", [{"layer": CLEAR, "room": PLAIN, "painted_at": at}], NOW)
    for stage in found["stages"].values():
        expected = datetime.fromisoformat(at) + timedelta(days=stage["p50_d"])
        assert abs(datetime.fromisoformat(stage["p50_at"]) - expected) <= timedelta(seconds=90)
        assert stage["p50_at"].endswith("+05:30")


@pytest.mark.parametrize("value", [1.0, 3.14159265, 123456.7, 1234567.8, 0.000123456789, 99999.96, 5e-7, 0.0])
def test_numbers_are_rounded_as_written(value: float) -> None:
    """Against the standard library's formatting of six significant digits."""
    assert rounded_all(np.array([value]))[0] == float(f"{value:.6g}")


def series(light: Any, zone: str = "+00:00") -> dict[str, Any]:
    """Two readings, the second with a light of its own; the hours as a clock in ``zone`` shows them."""
    first, second = {"at": f"2026-03-28T12:00:00{zone}"}, {"at": f"2026-03-30T12:00:00{zone}", "light": light}
    climate = {"temperature_c": 21, "relative_humidity_pct": 50}
    return {"series": [{**first, **climate}, {**second, **climate}], "light": "dark"}


def test_a_reading_may_have_its_own_light() -> None:
    """Two days in the dark, at light 0.25, then the room's: 2 + (1 - 2 / 18) x 4.5 d. Derived."""
    found = calls.answer("estimate", {"layer": CLEAR, "room": series("room")}, NOW)
    assert found["stages"]["dry_to_touch"]["p50_d"] == pytest.approx(2 + (1 - 2 / 18) * 4.5, rel=1e-5)
    as_number = calls.answer("estimate", {"layer": CLEAR, "room": series(1.0)}, NOW)
    assert as_number["stages"]["dry_to_touch"]["p50_d"] == found["stages"]["dry_to_touch"]["p50_d"]
    assert "room.series[1].light" in faults({"layer": CLEAR, "room": series("candle")})


def test_the_zone_of_the_readings_alters_nothing() -> None:
    """The same instants written by clocks of other zones, one of them across the change to summer time."""
    utc: dict[str, Any] = {"layer": CLEAR, "room": series("room"), "painted_at": "2026-03-28T13:00:00+00:00"}
    readings = utc["room"]["series"]
    readings[0] |= {"at": "2026-03-28T13:00:00+01:00"}  # Central Europe before the change
    readings[1] |= {"at": "2026-03-30T14:00:00+02:00"}  # and after it
    moved = {**utc, "painted_at": "2026-03-28T18:30:00+05:30"}
    plain = {"layer": CLEAR, "room": series("room"), "painted_at": "2026-03-28T13:00:00+00:00"}
    one, other = (calls.answer("estimate", request, NOW) for request in (moved, plain))
    for stage, times in one["stages"].items():
        assert {n: v for n, v in times.items() if n.endswith("_d")} == {
            n: v for n, v in other["stages"][stage].items() if n.endswith("_d")
        }
        same = datetime.fromisoformat(times["p50_at"]) - datetime.fromisoformat(other["stages"][stage]["p50_at"])
        assert same == timedelta(0)
