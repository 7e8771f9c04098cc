"""Plans, promised dates and what was learned, asked and changed by programs: what the pages do, and the same records.

What must come out is our own rule: an answer that a program gets is the fact that the page shows.
"""

import re
from copy import deepcopy
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from server.services.panels import PanelCreate
from server.services.planning_long import LONG
from server.services.studios import StudioUpdate
from server.web.api.record_examples import EXAMPLES, LAYER_UID, PANEL_UID, PLACE_UID, STACK_UID

API = "/api/v1"
SENDS = frozenset(
    {"PlanMake", "LongMake", "PlanPin", "PlanOptionApply", "PlanRight", "PromiseAsk", "ChoiceUpdate", "SeenWet"}
)


def filled(value: Any, uids: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {name: filled(each, uids) for name, each in value.items()}
    if isinstance(value, list):
        return [filled(each, uids) for each in value]
    return uids.get(value, value) if isinstance(value, str) else value


@dataclass
class Program:
    """A client that knows the interfaces alone."""

    client: TestClient

    def get(self, path: str) -> dict[str, Any]:
        answer = self.client.get(API + path)
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def send(self, path: str, body: Any = None, key: str = "", method: str = "POST", version: int = 0) -> Response:
        headers = {"Idempotency-Key": key} if key else {}
        headers |= {"If-Match": f'"{version}"'} if version else {}
        return self.client.request(method, API + path, json=body, headers=headers)

    def done(self, path: str, body: Any = None, key: str = "", method: str = "POST", version: int = 0) -> Any:
        answer = self.send(path, body, key, method, version)
        assert answer.status_code in {200, 201, 202}, (path, answer.text)
        return answer.json()

    def example(self, name: str, **uids: str) -> Any:
        return filled(deepcopy(EXAMPLES[name]), uids)


@dataclass
class Studio:
    """Hours, a place, a mix, a stack, and a panel with two layers to come, all made by the interfaces."""

    program: Program
    place: str
    mix: str
    stack: str
    panel: str
    layers: list[str]


def make_studio(program: Program, due_on: str = "2027-06-01") -> Studio:
    program.client.post("/shelf/starter")
    place = program.get("/places")["items"][0]["uid"]
    paint = next(each for each in program.get("/paints")["items"] if "PW6" in str(each["pigments"]))
    mix = program.done("/mixes", {"label": "White", "parts": [{"item": f"paint:{paint['uid']}", "parts": 1}]})["uid"]
    layers = [{"kind": kind, "wet_thickness_um": um, "mix_uid": mix} for kind, um in (("first", 40), ("second", 60))]
    stack = program.done("/stacks", {"label": "Two layers", "layers": layers})["uid"]
    body = {
        **{"title": "Quince", "width_cm": 30, "height_cm": 24, "support": "hardboard", "ground_kind": "acrylic"},
        **{"ground_surface": "matte", "place_uid": place, "due_on": due_on},
    }
    panel = program.done("/panels", body)["uid"]
    put = program.done(f"/stacks/{stack}/apply", {"panel_uid": panel})["layer_uids"]
    return Studio(program, place, mix, stack, panel, put)


@pytest.fixture
def program(client: TestClient) -> Program:
    return Program(client)


@pytest.fixture
def studio(program: Program) -> Studio:
    made = make_studio(program)
    program.done("/working-hours", program.example("WorkingHoursCreate"))
    return made


def test_a_plan_is_made_taken_held_and_set_right(studio: Studio) -> None:
    ask = studio.program
    made = ask.done("/plans", ask.example("PlanMake"))
    assert made["state"] == "waiting"
    assert [each["layer_uid"] for each in made["sittings"]] == studio.layers
    assert made["settings"] == {"easels": 3, "rack_places": 12, "mix_setup_min": 20, "share_wait_d": 7}
    [panel] = made["panels"]
    assert (panel["panel_uid"], panel["late_d"]) == (studio.panel, 0)
    assert 0 <= panel["odds"] <= 1
    taken = ask.done(f"/plans/{made['uid']}/accept")
    assert taken["state"] == "in_use"
    days = {each["layer_uid"]: each["start_at"][:10] for each in taken["sittings"]}
    assert {uid: ask.get(f"/layers/{uid}")["planned_on"] for uid in studio.layers} == days
    held = ask.done(f"/plans/{made['uid']}/pin", ask.example("PlanPin", **{LAYER_UID: studio.layers[1]}))
    assert [each["pinned"] for each in held["sittings"]] == [False, True]
    ask.done(f"/plans/{made['uid']}/pin", {"layer_uid": studio.layers[1], "pinned": False})
    right = ask.done("/plans/right", ask.example("PlanRight"))
    assert right["state"] == "waiting"
    assert all(each["start_at"][:10] != "2026-11-25" for each in right["sittings"])
    closed = [each for each in ask.get("/working-hours")["items"] if each["on_date"] == "2026-11-25"]
    assert [(each["start"], each["end"]) for each in closed] == [("", "")]
    assert ask.done(f"/plans/{right['uid']}/dismiss")["state"] == "put_away"
    assert [each["uid"] for each in ask.get("/plans")["items"]] == [made["uid"]]
    assert [each["uid"] for each in ask.get("/plans?archived=true")["items"]] == [right["uid"]]
    assert ask.send(f"/plans/{right['uid']}/accept").status_code == 409
    week = ask.get(f"/plan-week?on={days[studio.layers[0]]}")
    [sitting] = [one for day in week["days"] for painter in day["painters"] for one in painter["sittings"]]
    assert sitting["layer_uid"] == studio.layers[0]
    assert week["days"][0]["painters"][0]["mixes"][0]["mix_uid"] == studio.mix


def test_a_sitting_that_is_held_on_a_lost_day_is_let_go(studio: Studio) -> None:
    ask = studio.program
    made = ask.done("/plans", {})
    assert made["sittings"][0]["start_at"][:10] == "2026-11-25"
    ask.done(f"/plans/{made['uid']}/accept")
    ask.done(f"/plans/{made['uid']}/pin", {"layer_uid": studio.layers[0]})
    right = ask.done("/plans/right", {"event": "no_painting"})
    assert right["state"] == "waiting"
    [first] = [sitting for sitting in right["sittings"] if sitting["layer_uid"] == studio.layers[0]]
    assert not first["pinned"] and first["start_at"][:10] > "2026-11-25"
    assert [each["pinned"] for each in ask.get(f"/plans/{made['uid']}")["sittings"]] == [False, False]


def test_the_same_key_makes_one_plan(studio: Studio) -> None:
    ask = studio.program
    first, again = (ask.done("/plans", {}, key="morning") for _ in range(2))
    assert first == again
    assert len(ask.get("/plans")["items"]) == 1
    assert ask.get("/plans?archived=true")["items"] == []


def test_the_plan_of_a_program_is_the_one_the_page_shows(studio: Studio) -> None:
    ask = studio.program
    made = ask.done("/plans", {})
    page = ask.client.get("/plan").text
    for sitting in made["sittings"]:
        hours = re.search(rf"{sitting['start_at'][11:16]}.{{1,20}}{sitting['end_at'][11:16]}", page)
        assert hours, sitting
    assert f"/plan/{made['uid']}/accept" in page


def test_what_helps_a_late_panel_is_done_by_its_key(program: Program) -> None:
    studio = make_studio(program, due_on="2026-11-27")
    program.done("/working-hours", program.example("WorkingHoursCreate"))
    [panel] = program.done("/plans", {})["panels"]
    assert panel["late_d"] > 0
    waiting = program.get("/plans")["items"][0]["uid"]
    due = next(each for each in panel["options"] if each["key"].startswith("due:"))
    body = {**program.example("PlanOptionApply", **{PANEL_UID: studio.panel}), "key": due["key"]}
    after = program.done(f"/plans/{waiting}/apply", body, key="x")
    assert after == program.done(f"/plans/{waiting}/apply", body, key="x")
    assert program.get(f"/panels/{studio.panel}")["due_on"] == due["finish_on"]
    assert after["panels"][0]["late_d"] == 0
    assert program.send(f"/plans/{after['uid']}/apply", body | {"key": "no such way"}).status_code == 409


def test_a_plan_without_hours_says_why(program: Program) -> None:
    answer = program.send("/plans", {})
    assert answer.status_code == 409
    assert "working hours" in answer.json()["detail"]


def test_a_long_search_is_begun_watched_and_kept(studio: Studio) -> None:
    ask = studio.program
    assert ask.client.get(f"{API}/plan-search").status_code == 404
    assert ask.send("/plan-search", {"seconds": 31}).status_code == 422
    begun = ask.send("/plan-search", ask.example("LongMake"))
    try:
        assert (begun.status_code, begun.json()["state"]) == (202, "running")
        assert ask.send("/plan-search", {}).status_code == 409
        assert ask.get("/plan-search")["seconds"] == 30
        kept = ask.done("/plan-search/end", key="k")
    finally:
        LONG.forget(1)
    assert kept["state"] == "waiting"
    assert ask.done("/plan-search/end", key="k")["uid"] == kept["uid"]


def test_a_date_is_promised_and_hung(studio: Studio) -> None:
    ask = studio.program
    body = ask.example("PromiseAsk", **{PLACE_UID: studio.place, STACK_UID: studio.stack})
    quote = ask.done("/quotes", body, key="letter")
    assert quote == ask.done("/quotes", body, key="letter")
    assert quote["asked"]["title"] == "Harbour, evening"
    assert quote["deliver_on"] >= "2026-11-26"
    assert quote["odds"] >= 0.85
    assert ask.get("/quotes")["items"] == [quote]
    other = ask.done("/quotes", body | {"title": "Three crows"}, key="another letter")
    together = ask.get(f"/quotes/{quote['uid']}/others")
    assert together["counted"] == [other["uid"]] and together["deliver_on"] >= quote["deliver_on"]
    ask.done(f"/quotes/{other['uid']}/archive")
    panel = ask.done(f"/quotes/{quote['uid']}/take")["panel_uid"]
    assert panel == ask.done(f"/quotes/{quote['uid']}/take")["panel_uid"]
    assert ask.get(f"/panels/{panel}")["due_on"] == "2027-06-01"
    assert ask.get(f"/quotes/{quote['uid']}")["panel_uid"] == panel
    assert ask.done(f"/quotes/{quote['uid']}/archive")["archived_at"]
    assert ask.send("/quotes", body | {"stack_uid": "nobody"}).json()["errors"][0]["path"] == "stack_uid"


def test_learning_is_chosen_begun_anew_and_reported(studio: Studio) -> None:
    ask = studio.program
    assert ask.get("/learning")["mode"] == "on"
    frozen = ask.done("/learning", ask.example("ChoiceUpdate"), method="PUT")
    assert (frozen["mode"], frozen["frozen_at"] is not None) == ("frozen", True)
    assert ask.done("/learning/anew")["since_at"] is not None
    assert ask.done("/learning/all")["since_at"] is None
    assert ask.send("/learning", {"mode": "perhaps"}, method="PUT").status_code == 422


def test_a_layer_found_dry_is_asked_about_and_scored(studio: Studio) -> None:
    ask = studio.program
    layer = studio.layers[0]
    version = ask.get(f"/layers/{layer}")["version"]
    ask.done(f"/layers/{layer}/paint", {"painted_at": "2026-11-05T10:00:00Z"}, version=version)
    test = ask.done(f"/layers/{layer}/touch-tests", {"stage": "touch_dry", "pressed_at": "2026-11-20T10:00:00Z"})
    seen = ask.done(f"/layers/{layer}/seen-wet", ask.example("SeenWet"), key="s")
    assert seen == ask.done(f"/layers/{layer}/seen-wet", ask.example("SeenWet"), key="s")
    assert (seen["stage"], seen["pressed_at"][:13]) == ("wet", "2026-11-18T22")
    assert ask.done(f"/touch-tests/{test['uid']}/sure")["stage"] == "touch_dry"
    [promise] = ask.get("/learning/promises")["items"]
    assert promise["layer_uid"] == layer
    assert {each["test_uid"] for each in promise["presses"]} == {test["uid"], seen["uid"]}
    assert promise["low_effective_d"] < promise["middle_effective_d"] < promise["high_effective_d"]
    assert ask.get(f"/learning/promises?after={layer}")["items"] == []
    assert ask.client.get(f"{API}/learning/promises?after=nobody").status_code == 422
    assert ask.get("/learning/doubtful") == {"items": [], "next_after": None}


def test_a_layer_that_dries_is_named_to_be_pressed(studio: Studio) -> None:
    ask = studio.program
    layer = studio.layers[0]
    version = ask.get(f"/layers/{layer}")["version"]
    ask.done(f"/layers/{layer}/paint", {"painted_at": "2026-11-24T10:00:00Z"}, version=version)
    [press] = ask.get("/learning/presses")["items"]
    assert press["layer_uid"] == layer
    assert press["dry_low"] <= press["dry_central"] <= press["dry_high"]
    assert 0 < press["chance"] < 1


def test_plans_in_use_and_waiting_tell_what_the_date_of_now_makes_of_them(studio: Studio) -> None:
    """Derived: a date put twelve days before the day the plan comes to is missed by twelve days."""
    ask = studio.program
    made = ask.done("/plans", {})
    ask.done(f"/plans/{made['uid']}/accept")
    waiting = ask.done("/plans", {})
    [stored] = waiting["panels"]
    assert stored["late_d"] == 0 and stored["odds"] > 0.9
    finish_on = date.fromisoformat(stored["finish_on"])
    panel = ask.get(f"/panels/{studio.panel}")
    body = {name: value for name, value in panel.items() if name in PanelCreate.model_fields}
    body["due_on"] = (finish_on - timedelta(days=12)).isoformat()
    ask.done(f"/panels/{studio.panel}", body, method="PUT", version=panel["version"])
    due = ask.get(f"/panels/{studio.panel}/board")["panel"]["due"]
    items = {each["state"]: each for each in ask.get("/plans")["items"]}
    for [now] in (items["in_use"]["panels"], ask.get(f"/plans/{made['uid']}")["panels"]):
        assert (now["late_d"], now["odds"]) == (12, due["odds"]) and due["at_risk"]
        assert now["risk"]["low_on"] <= now["risk"]["central_on"] <= now["risk"]["high_on"]
        assert now["finish_on"] == stored["finish_on"]
    for [now] in (items["waiting"]["panels"], ask.get(f"/plans/{waiting['uid']}")["panels"]):
        assert now["late_d"] == 12 and now["odds"] == due["odds"] and now["finish_on"] == stored["finish_on"]


def test_a_sitting_tells_programs_what_became_of_it(studio: Studio) -> None:
    """As the page of the plan and the sheet of the week mark it; a plan that waits tells nothing of the kind."""
    ask = studio.program
    made = ask.done("/plans", {})
    assert [(s["fate"], s["broken"]) for s in made["sittings"]] == [(None, None)] * 2
    used = ask.done(f"/plans/{made['uid']}/accept")
    assert [(s["fate"], s["broken"]) for s in used["sittings"]] == [("stands", None)] * 2
    lower, upper = studio.layers
    ask.done(
        f"/layers/{lower}/paint", {"painted_at": "2026-11-25T08:00:00Z"}, version=ask.get(f"/layers/{lower}")["version"]
    )
    hours = next(each for each in ask.get("/working-hours")["items"] if each["weekdays"])
    ask.done(f"/working-hours/{hours['uid']}/archive", version=hours["version"])
    became = {s["layer_uid"]: s for s in ask.get(f"/plans/{made['uid']}")["sittings"]}
    assert (became[lower]["fate"], became[lower]["broken"]) == ("painted", None)
    off = {"why": "off_hours", "ready_from": None, "rule": "", "below": "", "takes_min": 0, "has_min": 0}
    assert (became[upper]["fate"], became[upper]["broken"]) == ("stands", off)
    week = ask.get(f"/plan-week?on={became[upper]['start_at'][:10]}")
    [sitting] = [one for day in week["days"] for painter in day["painters"] for one in painter["sittings"]]
    assert (sitting["layer_uid"], sitting["broken"]) == (upper, off)


def test_a_sitting_held_while_a_plan_waits_is_held_in_it_and_one_that_it_moves_is_told(studio: Studio) -> None:
    ask = studio.program
    used = ask.done("/plans", {})
    ask.done(f"/plans/{used['uid']}/accept")
    waiting = ask.done("/plans", {})
    ask.done(f"/plans/{used['uid']}/pin", {"layer_uid": studio.layers[1]})
    taken = ask.done(f"/plans/{waiting['uid']}/accept")
    assert [each["pinned"] for each in taken["sittings"]] == [False, True]
    ask.done(f"/plans/{taken['uid']}/pin", {"layer_uid": studio.layers[1], "pinned": False})
    lost = taken["sittings"][1]["start_at"][:10]
    moved = ask.done("/plans/right", {"event": "no_painting", "on": lost})
    ask.done(f"/plans/{taken['uid']}/pin", {"layer_uid": studio.layers[1]})
    answer = ask.send(f"/plans/{moved['uid']}/accept")
    assert answer.status_code == 409 and "Pinned since this plan was made, but not kept by it" in answer.text
    assert ask.get(f"/plans/{moved['uid']}")["state"] == "waiting"


def test_the_example_of_the_studios_settings_is_whole() -> None:
    """What such a call leaves out goes back to its default."""
    assert set(EXAMPLES["StudioChange"]) == set(StudioUpdate.model_fields) - {"version"}
    StudioUpdate.model_validate(EXAMPLES["StudioChange"] | {"version": 1})
