"""What the pages do besides records, done by programs: questions, rooms, rules, sheets, lists, purging, the archive.

What must come out is our own rule: the same facts as on the pages. ZIP: APPNOTE 6.3 as Python's zipfile reads it;
CSV: RFC 4180; iCalendar: RFC 5545.
"""

import io
import json
import zipfile
from typing import Any

import pytest
from fastapi import FastAPI
from jsonschema import Draft202012Validator
from starlette.testclient import TestClient

from server.web.api.record_examples import MIX_UID, PAINT_UID, PANEL_UID
from tests.web.test_api_plans import API, Program, Studio, make_studio

SENDS = frozenset(
    {
        *("WhatIfQuestion", "MixingQuestion", "StackQuestion", "ReadingCreate", "ReadingsFile", "FileChoices"),
        *("SensorCreate", "LimitsChange", "PanelPurge", "RecordPurge", "ListTaken"),
    }
)


@pytest.fixture
def studio(client: TestClient) -> Studio:
    return make_studio(Program(client))


def paint(studio: Studio, layer: str, at: str = "2026-11-24T10:00:00Z") -> None:
    version = studio.program.get(f"/layers/{layer}")["version"]
    studio.program.done(f"/layers/{layer}/paint", {"painted_at": at}, version=version)


def test_what_if_answers_as_the_page_does(studio: Studio) -> None:
    ask = studio.program
    path = f"/layers/{studio.layers[0]}/what-if"
    plain = ask.done(path, {})
    assert plain["tried"] is None
    assert plain["culprit"]
    tried = ask.done(path, ask.example("WhatIfQuestion"))
    assert tried["now"] == plain["now"]
    assert tried["tried"]["central_d"]["dry_to_touch"] < plain["now"]["central_d"]["dry_to_touch"]
    for part in tried["parts"]:
        product = part["base_d"]
        for factor in part["factors"]:
            product *= factor["factor"]
        assert product == pytest.approx(part["touch_d"], rel=1e-6)
    wrong = ask.send(path, {"pigment": "no such pigment"})
    assert wrong.json()["errors"][0]["path"] == "pigment"
    bare = ask.done(f"/panels/{studio.panel}/layers", {"kind": "no mix yet", "wet_thickness_um": 40})
    assert ask.send(f"/layers/{bare['uid']}/what-if", {}).status_code == 409


def test_a_mix_on_the_palette_is_answered(studio: Studio) -> None:
    ask = studio.program
    [white] = [each for each in ask.get("/paints")["items"] if "PW6" in str(each["pigments"])][:1]
    body = ask.example("MixingQuestion", **{PANEL_UID: studio.panel})
    body["parts"] = [{"item": f"paint:{white['uid']}", "parts": 3}]
    answer = ask.done("/mixing", body)
    # The area is 30 by 24 cm, four fifths of it, 60 um thick and 1.3 times that for brush and palette.
    assert answer["quantity"]["area_cm2"] == pytest.approx(720)
    assert answer["quantity"]["wet_ml"] == pytest.approx(720 * 0.8 * 60e-4 * 1.3, rel=1e-6)
    assert answer["composition"]["solvent_share"] == 0
    assert answer["over"]["panel_uid"] == studio.panel
    assert answer["times"]["touch_low_d"] < answer["times"]["touch_central_d"] < answer["times"]["touch_high_d"]
    found = ask.done("/mixing", body | {"find": "yes", "find_by": "2026-12-24"})["found"]
    assert found["by"] == "2026-12-24"
    assert found["tried"] > 0
    assert ask.send("/mixing", body | {"find": "yes"}).json()["errors"][0]["path"] == "find_by"
    assert ask.send("/mixing", {"parts": []}).status_code == 422
    assert PAINT_UID in str(ask.example("MixingQuestion"))


def test_a_stack_is_checked_before_it_is_painted(studio: Studio) -> None:
    ask = studio.program
    body = ask.example("StackQuestion", **{PANEL_UID: studio.panel, MIX_UID: studio.mix})
    board = ask.done(f"/stacks/{studio.stack}/check", body)
    assert [each["kind"] for each in board["layers"] if each["is_new"]] == ["first", "second"]
    assert board["finish"]["low"] <= board["finish"]["central"] <= board["finish"]["high"]
    assert ask.done(f"/stacks/{studio.stack}/check", {})["panel_uid"] is None


def test_a_layer_is_told_by_the_book_and_as_learned(studio: Studio) -> None:
    found = studio.program.get(f"/layers/{studio.layers[0]}/book")
    assert found["chosen"] == "on"
    assert found["book"]["dry_to_touch"]["low"] <= found["book"]["dry_to_touch"]["high"]


def test_a_place_is_read_by_hand_by_file_and_by_sensor(studio: Studio) -> None:
    ask, place = studio.program, studio.place
    before = ask.get(f"/places/{place}/course")
    assert {hour["source"] for hour in before["hours"]} == {"usual", "to_come"}
    typed = ask.done(f"/places/{place}/typed-readings", ask.example("ReadingCreate"), key="t")
    assert typed == ask.done(f"/places/{place}/typed-readings", ask.example("ReadingCreate"), key="t")
    seen = ask.done(f"/places/{place}/reading-files", ask.example("ReadingsFile"))
    assert (seen["readings"], seen["faults"]) == (2, [])
    choices = {**ask.example("FileChoices"), **seen["choices"]}
    taken = ask.done(f"/places/{place}/reading-files/take", choices, key="f")
    assert (taken["taken"], taken["already_there"]) == (2, 0)
    assert ask.done(f"/places/{place}/reading-files/take", choices, key="f")["batch_uid"] == taken["batch_uid"]
    assert ask.send(f"/places/{place}/reading-files/take", choices).status_code == 409
    sensor = ask.done(f"/places/{place}/sensors", ask.example("SensorCreate"), key="s")
    assert ask.done(f"/places/{place}/sensors", ask.example("SensorCreate"), key="s")["token"] is None
    post = {"readings": [{"at": "2026-11-25T08:00:00Z", "temperature_c": 19.0, "relative_humidity_pct": 50.0}]}
    carrying = {"Authorization": f"Bearer {sensor['token']}"}
    assert ask.client.post(f"{API}/places/{place}/readings", json=post, headers=carrying).status_code == 200
    kinds = {each["source"]: each for each in ask.get(f"/places/{place}/reading-batches")["items"]}
    assert {name: each["readings"] for name, each in kinds.items()} == {"typed": 1, "file": 2, "sensor": 1}
    assert "read" in {hour["source"] for hour in ask.get(f"/places/{place}/course")["hours"]}
    ask.done(f"/sensors/{kinds['sensor']['token_uid']}/revoke")
    assert ask.client.post(f"{API}/places/{place}/readings", json=post, headers=carrying).status_code == 401
    assert ask.done(f"/reading-batches/{typed['uid']}/set-aside")["is_archived"] is True
    assert ask.done(f"/reading-batches/{typed['uid']}/restore")["is_archived"] is False


def test_rules_are_read_and_their_limits_set(studio: Studio) -> None:
    ask = studio.program
    rules = ask.get("/rules")["items"]
    assert len(rules) > 30
    assert all(rule["why"] and rule["sources"] for rule in rules if rule["basis"] == "published")
    with_limits = next(page for rule in rules if len((page := ask.get(f"/rules/{rule['id']}"))["limits"]) == 1)
    at, limit = f"/rules/{with_limits['id']}", with_limits["limits"][0]
    other = (limit["low"] + limit["default"]) / 2
    body = {"limits": [{"name": limit["name"], "value": other}]}
    version = with_limits["version"]
    changed = ask.done(f"{at}/limits", body, method="PUT", version=version)
    assert changed["limits"][0]["value"] == pytest.approx(other)
    late = {"limits": [{"name": limit["name"], "value": limit["low"]}]}
    assert ask.send(f"{at}/limits", late, method="PUT", version=version + 7).status_code == 412
    body = ask.example("LimitsChange", **{"NAME-OF-A-LIMIT": limit["name"]})
    back = ask.done(f"{at}/limits", body, method="PUT", version=changed["version"])
    assert back["limits"][0]["value"] == limit["default"]
    ask.done(f"/limits/{limit['name']}", {"value": other}, method="PUT")
    every = ask.done("/limits/reset")["items"]
    assert all(each["value"] == each["default"] for each in every)
    assert ask.client.get(f"{API}/rules/R999").status_code == 404


def test_a_shelf_and_stacks_to_begin_with_come_once(client: TestClient) -> None:
    ask = Program(client)
    assert ask.done("/shelf/starter")["added"] > 10
    assert ask.done("/shelf/starter")["added"] == 0
    assert ask.done("/stacks/starter")["added"] == 4
    assert len(ask.get("/stacks")["items"]) == 4


def test_the_finish_and_the_places_of_a_panel(studio: Studio) -> None:
    ask = studio.program
    paint(studio, studio.layers[0])
    gates = {each["action"]: each for each in ask.get(f"/panels/{studio.panel}/finish")["gates"]}
    assert gates["final_varnish"]["verdict"]["severity"] == "stop"
    assert gates["final_varnish"]["first"]["low"] > "2027-01-01"
    [stay] = ask.get(f"/panels/{studio.panel}/stays")["items"]
    assert (stay["place_uid"], stay["since"]) == (studio.place, None)


def test_tubes_are_held_against_what_is_planned(studio: Studio) -> None:
    ask = studio.program
    white = next(each for each in ask.get("/paints")["items"] if "PW6" in str(each["pigments"]))
    tube = next(each for each in ask.get("/tubes")["items"] if each["paint_uid"] == white["uid"])
    assert tube["undated_ml"] > 0


def test_the_record_of_a_program_is_the_file_of_the_page(studio: Studio) -> None:
    ask = studio.program
    paint(studio, studio.layers[0])
    for kind, path in (("json", "record"), ("txt", "record.txt")):
        page = ask.client.get(f"/panels/{studio.panel}/record/{kind}")
        assert ask.client.get(f"{API}/panels/{studio.panel}/{path}").content == page.content
    assert ask.get(f"/panels/{studio.panel}/record")["layers"][0]["kind"] == "first"


def test_the_history_of_one_record_has_every_field(studio: Studio) -> None:
    ask = studio.program
    paint(studio, studio.layers[0])
    entries = ask.get(f"/history/of/layer/{studio.layers[0]}")["items"]
    fields = {one["name"]: one for row in entries[0]["rows"] for one in row["fields"]}
    assert fields["painted_at"]["before"] is None
    assert fields["painted_at"]["after"].startswith("2026-11-24T10:00")
    assert len(ask.get(f"/history/of/layer/{studio.layers[0]}?limit=1")["items"]) == 1
    for path in ("/history/of/nothing/x", f"/history/of/panel/{studio.layers[0]}", "/history/of/share_key/x"):
        assert ask.client.get(API + path).status_code == 404


def test_purging_asks_twice_and_only_of_what_is_put_away(studio: Studio) -> None:
    ask = studio.program
    at = f"/panels/{studio.panel}/purge"
    assert ask.client.get(API + at).status_code == 409
    ask.done(f"/panels/{studio.panel}/archive")
    assert ask.get(at)["layers"] == 2
    wrong = ask.send(at, ask.example("PanelPurge"))
    assert (wrong.status_code, wrong.json()["errors"][0]["path"]) == (422, "title")
    assert ask.done(at, {"title": "Quince"}) == {"purged": True}
    assert ask.client.get(f"{API}/panels/{studio.panel}").status_code == 404


def test_other_records_are_purged_by_name_while_nothing_names_them(studio: Studio) -> None:
    ask = studio.program
    named = 0
    for mix in ask.get("/mixes")["items"]:
        at = f"/mixes/{mix['uid']}"
        assert ask.client.get(f"{API}/purge{at}").status_code == 409
        ask.done(f"{at}/archive")
        told = ask.get(f"/purge{at}")
        assert (told["kind"], told["name"]) == ("mixes", mix["label"])
        if told["hangs"]:
            named += 1
            assert ask.send(f"/purge{at}", {"name": told["name"]}).status_code == 409
    assert named
    assert ask.client.get(f"{API}/purge/panels/{studio.panel}").status_code == 404
    jar = ask.done("/thinners", ask.example("ThinnerCreate"))
    at = f"/thinners/{jar['uid']}"
    ask.done(f"{at}/archive")
    wrong = ask.send(f"/purge{at}", {"name": "Another"})
    assert (wrong.status_code, wrong.json()["errors"][0]["path"]) == (422, "name")
    assert ask.done(f"/purge{at}", {"name": jar["label"]}) == {"purged": True}
    assert ask.client.get(API + at).status_code == 404


def test_a_record_of_the_shelf_is_purged_by_its_name(studio: Studio) -> None:
    ask = studio.program
    name = ask.example("RecordPurge")["name"]
    uid = ask.done("/thinners", {"label": name, "solvent": "odourless_mineral_spirits"})["uid"]
    at = f"/purge/thinners/{uid}"
    assert ask.client.get(API + at).status_code == 409
    ask.done(f"/thinners/{uid}/archive")
    assert ask.client.get(API + at).status_code == 200
    assert ask.send(at, {"name": "Another"}).status_code == 422
    assert ask.done(at, ask.example("RecordPurge")) == {"purged": True}
    assert ask.client.get(f"{API}/thinners/{uid}").status_code == 404


def test_lists_go_out_and_come_in(studio: Studio) -> None:
    ask = studio.program
    assert ask.get("/lists")["items"] == ["panels", "layers", "tests", "shelf", "mixes"]
    out = ask.client.get(f"{API}/lists/panels.csv")
    assert out.headers["content-type"].startswith("text/csv")
    body = ask.example("ListTaken")
    looked = ask.done("/lists/panels", body)
    assert (looked["taken"], [row["state"] for row in looked["rows"]]) == (False, ["new"])
    assert looked["columns"]["title"] == 0
    assert len(ask.get("/panels")["items"]) == 1
    taken = ask.done("/lists/panels", body | {"check_only": False}, key="l")
    assert taken["taken"] is True
    ask.done("/lists/panels", body | {"check_only": False}, key="l")
    assert [each["title"] for each in ask.get("/panels")["items"]] == ["Quince", "Quince, small"]
    entry = ask.get("/history")["items"][0]
    assert entry["label"] == "Took in 1 panel from a list"
    again = ask.done("/lists/panels", {"text": out.text})
    assert [row["state"] for row in again["rows"]] == ["there"]


def test_a_list_is_read_as_it_is_said(studio: Studio) -> None:
    ask = studio.program
    text = "x,y\nHill,8x10\n"
    said: dict[str, Any] = {"title": 0, "size": 1, "support": "hardboard", "ground_kind": "oil"}
    body = {"text": text, "columns": said, "units": {"size": "in"}, "check_only": False}
    assert ask.done("/lists/panels", body)["units"]["size"] == "in"
    made = ask.get("/panels")["items"][-1]
    assert (made["width_cm"], made["height_cm"]) == (pytest.approx(20.32), pytest.approx(25.4))


def test_what_is_wrong_in_a_list_is_told_by_line_and_nothing_is_taken(studio: Studio) -> None:
    ask = studio.program
    text = "Panel,Width,Height,Support,Ground\nHill,30,20,hardboard,acrylic\nRoad,wide,20,hardboard,acrylic\n"
    wrong = ask.send("/lists/panels", {"text": text})
    assert wrong.status_code == 422
    assert wrong.json()["errors"] == [{"path": "lines.3.Width", "message": "This is not a number."}]
    assert len(ask.get("/panels")["items"]) == 1
    assert ask.done("/lists/panels", {"text": text, "check_only": True})["faults"][0]["line"] == 3
    assert ask.send("/lists/panels", {"text": text, "columns": {"nothing": 1}}).status_code == 422
    assert ask.send("/lists/mixes", {"text": text}).status_code == 404


def test_the_whole_studio_is_taken_along(studio: Studio) -> None:
    answer = studio.program.client.get(f"{API}/archive")
    assert answer.headers["content-type"] == "application/zip"
    names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
    record = next(name for name in names if name.endswith("record.json"))
    told = json.loads(zipfile.ZipFile(io.BytesIO(answer.content)).read(record))
    assert told["title"] == "Quince"
    calendar = studio.program.client.get(f"{API}/calendar.ics")
    assert calendar.content == studio.program.client.get("/calendar.ics").content


def test_every_interface_that_changes_says_so_completely(app: FastAPI) -> None:
    """Each operation has a summary, a family and its answers; each body an example; each list its slices or its end."""
    for path, methods in app.openapi()["paths"].items():
        for method, told in methods.items():
            where = f"{method} {path}"
            assert told["summary"] and told["tags"] and told["operationId"], where
            assert {"401", "403"} <= told["responses"].keys() or told["tags"] in (["calculations"], ["readings"]), where
            body = told.get("requestBody", {}).get("content", {}).get("application/json")
            if body is not None:
                assert body.get("example") or body.get("examples"), where
            if method in {"post", "put"} and told["tags"] not in (["calculations"], ["readings"], ["questions"]):
                names = {each["name"] for each in told.get("parameters", ())}
                assert "Idempotency-Key" in names, where
            if method == "put" and "{uid}" in path:
                assert "If-Match" in {each["name"].title() for each in told.get("parameters", ())}, where


def test_every_answer_has_an_example_that_keeps_to_its_schema(app: FastAPI) -> None:
    """JSON Schema 2020-12, as OpenAPI 3.1 takes it, checked by the library ``jsonschema``."""
    document = app.openapi()
    wrong = []
    for path, methods in document["paths"].items():
        for method, told in methods.items():
            for status, answer in told["responses"].items():
                content = answer.get("content", {}).get("application/json")
                if not str(status).startswith("2") or content is None or told["tags"] == ["calculations"]:
                    continue
                if "example" not in content:
                    wrong.append(f"{method} {path}: no example; record the answers anew")
                    continue
                schema = {**content["schema"], "components": document["components"]}
                faults = list(Draft202012Validator(schema).iter_errors(content["example"]))
                wrong += [f"{method} {path}: {fault.json_path} {fault.message[:80]}" for fault in faults]
                assert "umd_" not in str(content["example"]).replace("umd_TOKEN", "")
    assert not wrong, "\n".join(wrong)
