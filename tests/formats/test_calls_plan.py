"""The ``plan`` call: its examples, its faults by path, that it depends on nothing but the request."""

import copy
import io
import json
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from bench.plan_instances import instance
from server.formats import calls
from server.formats.calls import plan
from server.formats.calls.command import run
from server.formats.calls.layer_in import Collector
from server.formats.calls.plan import PlanAnswer, solved
from server.formats.calls.plan_in import PlanRequest
from server.formats.calls.plan_problem import problem
from server.planning.schedule.check import check

EXAMPLES = Path(calls.__file__).parent / "examples"
NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)
NAMES = [p.stem for p in sorted(EXAMPLES.glob("plan_*.json"))]

FAR_OFF = float("inf")  # no end of the search but its own


def example(name: str) -> Any:
    return json.loads((EXAMPLES / f"{name}.json").read_text())["request"]


def ask(request: Any) -> Any:
    return calls.answer("plan", request, NOW)


def faults(request: Any) -> dict[str, str]:
    with pytest.raises(calls.CallProblem) as raised:
        ask(request)
    return {fault.path: fault.message for fault in raised.value.errors}


@pytest.mark.parametrize("name", NAMES)
def test_every_example_answers_in_the_described_shape_and_holds(name: str) -> None:
    answer = ask(example(name))
    PlanAnswer.model_validate(answer)
    assert set(answer) == set(PlanAnswer.model_fields)
    request = PlanRequest.model_validate(example(name))
    asked = problem(request, Collector())
    assert check(asked, solved(request, asked, FAR_OFF)) == []
    for sitting in answer["sittings"]:
        assert sitting["binding"]["text"]
        assert sitting["may_slip_to"] >= sitting["start_at"]


def test_the_terms_add_up_as_stated() -> None:
    answer = ask(example("plan_one_panel"))
    terms = answer["objective"]
    priced = 100 * terms["weighted_tardiness_d"] + 100 * terms["set_ups"] + 2 * terms["flow_d"] + 60 * terms["moved"]
    assert terms["total"] == priced
    assert terms["weighted_tardiness_d"] == 5 * answer["panels"][0]["late_d"]


def test_a_late_panel_lists_options_that_were_tried_and_help() -> None:
    panel = ask(example("plan_one_panel"))["panels"][0]
    assert panel["late_d"] > 0 and panel["options"]
    for option in panel["options"]:
        assert option["finish_on"] < panel["finish_on"] and option["saves_d"] > 0


def test_pinned_stays_done_is_over_and_the_rest_may_move() -> None:
    request = example("plan_again")
    answer = ask(request)
    stands = {s["id"]: s["start_at"] for s in answer["sittings"]}
    assert stands["jug 1"].startswith("2026-11-03T09:30")
    assert "pears 1" not in stands
    request["previous"][1]["start_at"] = "2026-11-02T09:30:00+00:00"  # before the layer below is ready
    assert [m["sitting"] for m in ask(request)["moved"]] == ["pears 2"]


def test_the_answer_depends_on_nothing_but_the_request() -> None:
    request = example("plan_again")
    assert ask(request) == ask(copy.deepcopy(request))
    assert ask([request, example("plan_one_panel")]) == [ask(request), ask(example("plan_one_panel"))]


def changed(path: str, value: Any) -> Any:
    request = example("plan_one_panel")
    at = request
    steps = [int(step) if step.isdigit() else step for step in path.split(".")]
    for step in steps[:-1]:
        at = at[step]
    at[steps[-1]] = value
    return request


@pytest.mark.parametrize(
    ("path", "value", "named"),
    [
        ("colour", 1, "colour"),
        ("today", "2 November", "today"),
        ("today", 20, "today"),
        ("time_zone", "Atlantis", "time_zone"),
        ("confidence", 0.3, "confidence"),
        ("moves", -1, "moves"),
        ("panels.0.shape", "oval", "panels[0].shape"),
        ("panels.0.weight", -1, "panels[0].weight"),
        ("panels.0.sittings.0.minutes", 0, "panels[0].sittings[0].minutes"),
        ("panels.0.sittings.1.id", "a1", "panels[0].sittings[1].id"),
        ("panels.0.sittings.0.painters", ["nobody"], "panels[0].sittings[0].painters[0]"),
        ("panels.0.sittings.0.drying_reference_d", None, "panels[0].sittings[0].drying_reference_d"),
        ("panels.0.sittings.0.drying_reference_d.p90", 1.0, "panels[0].sittings[0].drying_reference_d"),
        ("panels.0.links.0.kind", "damp", "panels[0].links[0].kind"),
        ("panels.0.links.0.to", "z9", "panels[0].links[0].to"),
        ("panels.0.links.1.within_reference_d", None, "panels[0].links[1].within_reference_d"),
        ("panels.0.links.0.within_reference_d", 3.0, "panels[0].links[0].within_reference_d"),
        ("panels.0.links.2.within_reference_d", 1.0, "panels[0].links[2].within_reference_d"),
        ("painters.0.hours.0.to", "08:00", "painters[0].hours[0]"),
        ("painters.0.hours.0.to", "25:00", "painters[0].hours[0].to"),
        ("painters.0.hours.1.from", "12:00", "painters[0].hours[1]"),
        ("painters.0.exceptions.0.from", "10:00", "painters[0].exceptions[0]"),
        (
            "panels.0.sittings.0.drying_reference_d",
            {"p50": 5e-324, "p90": 4000.0},
            "panels[0].sittings[0].drying_reference_d.p50",
        ),
        (
            "panels.0.sittings.0.drying_reference_d",
            {"p50": 0.001, "p90": 4000.0},
            "panels[0].sittings[0].drying_reference_d",
        ),
        ("panels.0.final_wait_reference_d", {"p50": 0.001, "p90": 4000.0}, "panels[0].final_wait_reference_d"),
        ("drying_speed.by_month", [1.0] * 11, "drying_speed.by_month"),
        ("drying_speed.by_day", [1.0], "drying_speed"),
        ("previous", [{"sitting": "z", "start_at": "2026-11-02T10:00:00+00:00"}], "previous[0].sitting"),
        ("previous", [{"sitting": "a1", "start_at": "2026-11-02T10:00:00"}], "previous[0].start_at"),
        (
            "previous",
            [{"sitting": "a1", "start_at": "2026-11-03T00:00:00+00:00", "done": True}],
            "previous[0].start_at",
        ),
    ],
)
def test_faults_are_named_by_their_path(path: str, value: Any, named: str) -> None:
    assert named in faults(changed(path, value) | {"confidence": value if path == "confidence" else 0.99})


def test_the_longest_wait_in_the_slowest_room_on_the_last_day_has_a_date() -> None:
    request = changed("panels.0.sittings.0.drying_reference_d", {"p50": 1000.0, "p90": 4000.0})
    request |= {"confidence": 0.99, "today": "2200-12-31", "drying_speed": {"by_month": [0.02] * 12}, "moves": 0}
    assert {s["id"] for s in ask(request)["sittings"]} == {"a1"}


def test_a_search_without_moves_is_the_first_plan() -> None:
    answer = ask(example("plan_one_panel") | {"moves": 0})
    assert len(answer["sittings"]) + len(answer["unplaced"]) == 4


def test_links_in_a_circle_are_refused() -> None:
    request = example("plan_one_panel")
    request["panels"][0]["links"].append({"from": "a4", "to": "a1", "kind": "split"})
    assert faults(request) == {"panels[0].links": "run in a circle"}


def test_what_has_no_place_is_told_with_its_reason() -> None:
    answer = ask(changed("panels.0.sittings.2.minutes", 600))
    assert [u["sitting"] for u in answer["unplaced"]] == ["a3", "a4"]
    assert "600 minutes" in answer["unplaced"][0]["reason"]
    assert answer["panels"][0]["finish_on"] is None
    assert [s["id"] for s in answer["sittings"]] == ["a1", "a2"]


def test_nobody_who_works_leaves_everything_unplaced() -> None:
    request = changed("painters.0.hours", [])
    request["painters"][0]["exceptions"] = []
    answer = ask(request)
    assert len(answer["unplaced"]) == 4 and answer["sittings"] == []


@pytest.mark.parametrize(
    ("path", "value"),
    [("painters.0", {"id": "p1", "hours": []}), ("easels", 0), ("panels.0.sittings.0.minutes", 1440)],
)
def test_what_cannot_be_placed_even_alone_has_no_earliest_day(path: str, value: Any) -> None:
    answer = ask(changed(path, value))
    assert len(answer["unplaced"]) == 4
    assert [panel["earliest_possible_on"] for panel in answer["panels"]] == [None]


def test_what_was_done_by_the_end_of_today_is_taken() -> None:
    """Derived: the last minute of 2 November in Lisbon; from midnight on it is tomorrow."""
    done = {"sitting": "a1", "start_at": "2026-11-02T23:59:00+00:00", "done": True}
    assert "a1" not in {s["id"] for s in ask(changed("previous", [done]))["sittings"]}
    future = faults(changed("previous", [done | {"start_at": "2026-11-03T01:30:00+01:00"}]))
    assert "began by the end of today" in future["previous[0].start_at"]


@pytest.mark.parametrize("at", ["22:30", "00:10"])
def test_a_sitting_pinned_outside_the_hours_stays_to_the_minute(at: str) -> None:
    """However often the answer is fed back: its palette is mixed before it."""
    request = changed("previous", [{"sitting": "a1", "start_at": f"2026-11-05T{at}:00+00:00", "pinned": True}])
    for _ in range(3):
        asked = PlanRequest.model_validate(request)
        plan = solved(asked, problem(asked, Collector()), FAR_OFF)
        assert check(problem(asked, Collector()), plan) == []
        [placed] = [s for s in plan.sittings if s.id == "a1"]
        assert (placed.start_at.isoformat(), placed.set_up_min) == (f"2026-11-05T{at}:00+00:00", 30)
        request["previous"][0]["start_at"] = placed.start_at.isoformat()


def test_a_studio_without_panels_has_an_empty_plan() -> None:
    assert ask(changed("panels", []))["sittings"] == []


def test_the_command_prints_the_same_and_exits_with_2_on_faults(tmp_path: Path) -> None:
    file, out, err = tmp_path / "plan.json", io.StringIO(), io.StringIO()
    file.write_text(json.dumps(example("plan_again")))
    assert run("plan", str(file), out, err) == 0
    assert json.loads(out.getvalue()) == ask(example("plan_again"))
    file.write_text(json.dumps(changed("today", 3)))
    assert run("plan", str(file), out, err) == 2
    assert json.loads(err.getvalue())["errors"][0]["path"] == "today"


def test_a_list_of_long_searches_ends_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each asks for ten minutes; all of them have half a second between them, and each that was cut short says so."""
    monkeypatch.setattr(plan, "MOST_TOGETHER_S", 0.5)
    requests = [PlanRequest.model_validate(instance(5, 1) | {"seconds": 600.0}) for _ in range(3)]
    prepared = [(one, problem(one, Collector())) for one in requests]
    begun = time.monotonic()
    answers = plan.answer_many(prepared)
    assert time.monotonic() - begun < 60
    assert all(any("cut short" in warning for warning in answer["warnings"]) for answer in answers)


def test_a_pin_that_cannot_hold_stays_and_is_warned_of() -> None:
    """A studio of our own invention: the second layer is held on the third day after a first that takes five."""
    request = example("plan_again")
    assert ask(request)["warnings"] == []
    request["previous"][1] |= {"start_at": "2026-11-03T10:30:00+00:00", "pinned": True}
    answer = ask(request)
    assert {s["id"]: s["start_at"] for s in answer["sittings"]}["pears 2"].startswith("2026-11-03")
    [warning, *more] = [w for w in answer["warnings"] if "pears 1 to pears 2" in w]
    assert "begins before the layer below is ready" in warning and not more
