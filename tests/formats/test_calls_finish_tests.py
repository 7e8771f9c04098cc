"""Finish tests in the soundness call. Basis: common practice, no source; scenario A33."""

import copy
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from server.formats import calls
from tests.formats.test_calls_soundness import NOW, ask, example, rules

THIN = {
    "wet_thickness_um": 60,
    "ground": "paint",
    "mixes": [{"paints": [{"parts": 1, "pigments": [{"ci_name": "PW6"}]}]}],
}


def varnish(*tests: dict[str, Any], action: str = "final_varnish", age_d: float = 185.0) -> dict[str, Any]:
    return {
        "support": "rigid",
        "ground": {"kind": "acrylic", "age_d": 400},
        "stack": [{"layer": copy.deepcopy(THIN), "kind": "oil", "age_d": age_d}],
        "action": action,
        "finish_tests": list(tests),
    }


def severity(request: dict[str, Any], rule: str = "R35") -> str:
    return str(rules(ask(request))[rule]["severity"])


def test_a33_colour_on_the_swab_stops_the_varnish_and_a_clean_one_lets_it_go() -> None:
    assert severity(varnish()) == "caution"
    assert severity(varnish({"method": "swab", "result": "colour", "age_d": 185})) == "stop"
    assert severity(varnish({"method": "swab", "result": "dull", "age_d": 185})) == "stop"
    assert severity(varnish({"method": "swab", "result": "clean", "age_d": 185})) == "note"


def test_the_last_swab_counts_however_they_are_listed() -> None:
    clean, colour = ({"method": "swab", "result": r, "age_d": d} for r, d in (("clean", 185.0), ("colour", 181.0)))
    assert severity(varnish(clean, colour)) == severity(varnish(colour, clean)) == "note"


def test_a_swab_may_be_told_by_its_moment() -> None:
    at = (NOW - timedelta(days=1)).isoformat()
    by_moment = ask(varnish({"method": "swab", "result": "colour", "tested_at": at}))
    assert by_moment == ask(varnish({"method": "swab", "result": "colour", "age_d": 184.0}))


def test_a_mark_is_not_firm_and_no_mark_is() -> None:
    young = 12.0
    dent = ask(varnish({"method": "nail", "result": "dent", "age_d": 12.0}, action="stack", age_d=young))
    none = ask(varnish({"method": "nail", "result": "no_dent", "age_d": 12.0}, action="stack", age_d=young))
    assert (dent["state"], none["state"]) == ("touch_dry", "firm")
    assert "R36" in rules(dent) and "R36" not in rules(none)


def test_a_later_touch_test_of_a_layer_wins_over_the_thumb() -> None:
    request = varnish({"method": "thumb", "result": "no_mark", "age_d": 10.0}, action="stack", age_d=12.0)
    request["stack"][0]["observed"] = "tacky"
    assert ask(request)["state"] == "tacky"


@pytest.mark.parametrize(
    ("test", "at", "words"),
    [
        ({"method": "swab", "result": "mark", "age_d": 1}, "finish_tests[0].result", "clean, colour, dull"),
        ({"method": "swab", "result": "clean"}, "finish_tests[0].age_d", "either"),
        ({"method": "swab", "result": "clean", "age_d": 200}, "finish_tests[0].age_d", "future"),
        ({"method": "lick", "result": "clean", "age_d": 1}, "finish_tests[0].method", "one of"),
        ({"method": "swab", "result": "clean", "age_d": 1, "by": "me"}, "finish_tests[0].by", "not a field"),
        (
            {"method": "swab", "result": "clean", "tested_at": datetime(2020, 1, 1, tzinfo=UTC).isoformat()},
            "finish_tests[0].tested_at",
            "before the top layer",
        ),
    ],
)
def test_a_test_that_makes_no_sense_is_named_at_its_path(test: dict[str, Any], at: str, words: str) -> None:
    with pytest.raises(calls.CallProblem) as caught:
        ask(varnish(test))
    found = {fault.path: fault.message for fault in caught.value.errors}
    assert at in found and words in found[at].lower(), found


def test_nothing_painted_is_nothing_to_test() -> None:
    request = example("soundness_tacky")
    request["stack"] = []
    request["finish_tests"] = [{"method": "thumb", "result": "mark", "age_d": 0}]
    with pytest.raises(calls.CallProblem) as caught:
        ask(request)
    assert [fault.path for fault in caught.value.errors] == ["finish_tests[0]"]
