"""The ``learn`` call: its examples, its faults, its order, and printed golden numbers through the whole of it.

Golden numbers: six layers worked out by two-dimensional quadrature, printed with the method's description.
"""

import copy
import io
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from server.formats import calls
from server.formats.calls.command import run
from server.formats.calls.learn import LearnAnswer

EXAMPLES = Path(calls.__file__).parent / "examples"
NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)


def example(name: str) -> Any:
    return json.loads((EXAMPLES / f"{name}.json").read_text())["request"]


def ask(request: Any) -> Any:
    return calls.answer("learn", request, NOW)


def faults(request: Any) -> dict[str, str]:
    with pytest.raises(calls.CallProblem) as caught:
        ask(request)
    return {e.path: e.message for e in caught.value.errors}


def changed(path: list[Any], value: Any, name: str = "learn_in_progress") -> Any:
    request = copy.deepcopy(example(name))
    target = request
    for step in path[:-1]:
        target = target.setdefault(step, {}) if isinstance(target, dict) else target[step]
    target[path[-1]] = value
    return request


@pytest.mark.parametrize("name", [p.stem for p in sorted(EXAMPLES.glob("learn_*.json"))])
def test_every_example_answers_in_the_described_shape(name: str) -> None:
    answer = ask(example(name))
    model = LearnAnswer.model_validate(answer)
    assert set(answer) == set(LearnAnswer.model_fields)
    for found in model.predictions:
        assert found.p05_d < found.p10_d < found.p50_d < found.p90_d < found.p95_d
        stages = found.stages
        assert stages.set_to_touch.p50_d < stages.dry_to_touch.p50_d < stages.dry_through.p50_d
    assert model.effects == sorted(model.effects, key=lambda effect: effect.name)


def test_golden_numbers_go_through_the_call() -> None:
    # Exact: means .135209 and .129115, sds .149713 and .207822, log evidence -5.639094 (quadrature).
    answer = ask(example("learn_between"))
    found = {effect["name"]: effect for effect in answer["effects"]}
    assert found["studio"]["mean"] == pytest.approx(0.135209, abs=5e-4)
    assert found["pigment:PW6"]["mean"] == pytest.approx(0.129115, abs=5e-4)
    assert found["studio"]["sd"] == pytest.approx(0.149713, abs=5e-4)
    assert found["pigment:PW6"]["sd"] == pytest.approx(0.207822, abs=5e-4)
    assert answer["log_evidence"] == pytest.approx(-5.639094, abs=1e-3)
    assert found["studio"]["learned_pct"] == pytest.approx(100 * (1 - (0.149843 / 0.30) ** 2), abs=0.01)


def test_what_nobody_pressed_keeps_its_prior() -> None:
    found = {effect["name"]: effect for effect in ask(example("learn_between"))["effects"]}["pigment:PBk9"]
    assert (found["mean"], found["sd"], found["prior_sd"], found["learned_pct"]) == (0, 0.35, 0.35, 0)


def test_nothing_pressed_is_the_book_with_its_prior() -> None:
    request = {"predict": [{"id": "a", "book_touch_dry_d": 5.0, "effects": {"studio": 1}}]}
    [found] = ask(request)["predictions"]
    assert found["p50_d"] == pytest.approx(5.0, rel=1e-4)
    # Two independent normals: 0.30 of the studio and 0.25 of the layer.
    assert found["log_sd"] == pytest.approx((0.30**2 + 0.25**2) ** 0.5, rel=1e-3)


def test_the_most_specific_prior_wins() -> None:
    request = changed(["prior_sd"], {"pigment:*": 0.5, "pigment:PW6": 0.01, "studio": 0.2}, "learn_between")
    found = {effect["name"]: effect for effect in ask(request)["effects"]}
    assert [found[name]["prior_sd"] for name in ("studio", "pigment:PW6", "pigment:PBk9")] == [0.2, 0.01, 0.5]
    assert abs(found["pigment:PW6"]["mean"]) < 0.01


def test_a_layer_in_progress_is_updated_by_its_own_tests_once() -> None:
    request = example("learn_in_progress")
    request["settings"]["learn_settings"] = False
    own = request["layers"][0]
    request["predict"] = [
        {key: own[key] for key in ("id", "book_touch_dry_d", "effects", "tests")},
        {"id": "like it", "book_touch_dry_d": own["book_touch_dry_d"], "effects": own["effects"]},
    ]
    itself, alike = ask(request)["predictions"]
    assert itself["log_sd"] < 0.7 * alike["log_sd"]
    # Tacky at 3.9 days and dry at 6.1: dry in between, give or take a finger's reading.
    assert 3.7 < itself["p10_d"] < itself["p90_d"] < 6.6


def test_a_contradiction_is_pointed_at() -> None:
    request = example("learn_in_progress")
    request["layers"][2]["tests"].append({"day": 0.4, "stage": "firm"})
    answer = ask(request)
    [flag] = answer["flags"]
    assert (flag["id"], flag["test"]) == ("harbour, sea", 4)
    assert flag["chance_wrong"] > 0.9
    assert any("softer than an earlier one" in warning for warning in answer["warnings"])


def test_dry_at_the_first_test_is_warned_of() -> None:
    request = example("learn_in_progress")
    request["layers"][0]["tests"] = [{"day": 6.1, "stage": "touch_dry"}]
    assert any("last seen wet" in warning for warning in ask(request)["warnings"])


def test_a_layers_own_offsets_are_kept_to() -> None:
    request = {"predict": [{"id": "a", "book_touch_dry_d": 4.0, "stage_offsets": {"tacky": -0.36, "firm": 0.95}}]}
    stages = ask(request)["predictions"][0]["stages"]
    assert stages["dry_through"]["p50_d"] == pytest.approx(4.0 * 2.718281828**0.95, rel=1e-3)
    assert stages["set_to_touch"]["p50_d"] == pytest.approx(4.0 * 2.718281828**-0.36, rel=1e-3)


def test_settings_are_told_as_used() -> None:
    given = ask(example("learn_between"))["settings"]
    assert given == {
        "sigma": 0.25,
        "sigma_o": 0.12,
        "stage_offsets": {"tacky": -0.6, "firm": 0.6},
        "stage_shift": {"tacky": 0, "firm": 0},
        "lapse": 0.02,
        "effect_scale": 1,
        "learn_settings": False,
    }
    learned = ask(example("learn_in_progress"))["settings"]
    assert learned["learn_settings"] and learned["sigma"] != 0.25


def test_a_list_is_answered_in_order() -> None:
    one, other = example("learn_between"), example("learn_between")
    other["layers"] = other["layers"][:3]
    answers = ask([other, one, other])
    assert answers[0] == answers[2] != answers[1]
    assert answers[1] == ask(one)


LAYER = ["layers", 0]


@pytest.mark.parametrize(
    ("path", "value", "at", "words"),
    [
        (["colour"], 1, "colour", "is not a field"),
        ([*LAYER, "colour"], 1, "layers[0].colour", "is not a field"),
        ([*LAYER, "book_touch_dry_d"], 0, "layers[0].book_touch_dry_d", "more than 0"),
        ([*LAYER, "book_touch_dry_d"], 1e9, "layers[0].book_touch_dry_d", "or less"),
        ([*LAYER, "tests", 0, "day"], -1, "layers[0].tests[0].day", "0 or more"),
        ([*LAYER, "tests", 0, "stage"], "dry", "layers[0].tests[0].stage", "one of"),
        ([*LAYER, "tests", 0, "day"], "2", "layers[0].tests[0].day", "must be a number"),
        ([*LAYER, "tests"], None, "layers[0]", "either tests or between_d"),
        ([*LAYER, "between_d"], [1, 2], "layers[0]", "either tests or between_d"),
        ([*LAYER, "effects", "mood"], 1, "layers[0].effects.mood", "must begin with one of"),
        ([*LAYER, "effects", "pigment:*"], 1, "layers[0].effects.pigment:*", "full name"),
        ([*LAYER, "effects", "studio"], 1e6, "layers[0].effects.studio", "or less"),
        ([*LAYER, "stage_offsets"], {"tacky": 0.1}, "layers[0].stage_offsets.tacky", "or less"),
        (["layers", 1, "id"], "pears, block-in", "layers[1].id", "twice"),
        (["settings", "sigma"], 0, "settings.sigma", "0.01 or more"),
        (["settings", "lapse"], 0.5, "settings.lapse", "or less"),
        (["settings", "learn_settings"], "yes", "settings.learn_settings", "true or false"),
        (["prior_sd", "pigment:*"], 0, "prior_sd.pigment:*", "or more"),
        (["predict", 0, "between_d"], [1, 2], "predict[0].between_d", "is not a field"),
    ],
)
def test_faults_are_named_with_their_path(path: list[Any], value: Any, at: str, words: str) -> None:
    found = faults(changed(path, value))
    assert at in found, found
    assert words in found[at]


@pytest.mark.parametrize(
    ("between", "words"),
    [([4, 2], "must begin before"), ([None, None], "one end"), ([1], "at least 2"), ([1, 2, 3], "at most 2")],
)
def test_an_interval_has_two_ends_in_order(between: list[Any], words: str) -> None:
    assert words in faults(changed([*LAYER, "between_d"], between, "learn_between"))["layers[0].between_d"]


def test_the_command_answers_and_exits_2_with_the_problem(tmp_path: Path) -> None:
    file = tmp_path / "request.json"
    file.write_text(json.dumps(example("learn_between")))
    out, err = io.StringIO(), io.StringIO()
    assert run("learn", str(file), out, err) == 0
    assert json.loads(out.getvalue()) == ask(example("learn_between"))
    file.write_text('{"layers": 7}')
    assert run("learn", str(file), out, err) == 2
    assert json.loads(err.getvalue())["errors"] == [{"path": "layers", "message": "must be a list"}]
