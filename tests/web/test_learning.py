"""The page of how good the dates have been: what it tells, the choice of dates, and the question of one tap."""

import re
from datetime import timedelta
from html import unescape
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.science.learning import Effect, Pair
from server.science.learning.scoring import Calibration, reliability
from server.services.learning_report import LEVELS
from server.store.db import Database
from server.web import learning_words
from tests.web.conftest import NOW
from tests.web.pages_of_records import NOBODY, Easel, form_to, make_easel
from tests.web.test_every_route import check_page

FORBIDDEN = re.compile(r"\b(safe|safely|archival|guaranteed)\b", re.IGNORECASE)


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def text_of(client: TestClient, address: str = "/learning") -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    check_page(answer.text)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def pressed(easel: Easel, title: str, days_ago: int, *tests: tuple[float, str]) -> tuple[str, str]:
    """A panel with a layer painted so many days ago and pressed (days after, stage); its address and the layer's."""
    panel = easel.panel(title=title, _ground_age="year")
    painted = NOW - timedelta(days=days_ago)
    layer = easel.painted(panel, f"{painted:%Y-%m-%dT%H:%M}")
    for after, stage in tests:
        at = painted + timedelta(days=after)
        answer = easel.client.post(
            f"{layer}/tests", data={"stage": stage, "pressed_at": f"{at:%Y-%m-%dT%H:%M}", "is_sure": "1"}
        )
        assert answer.status_code == 303, answer.text
    return panel, layer


def span(client: TestClient, panel: str) -> str:
    """The days of dry-to-touch that a panel's page tells."""
    return text_of(client, panel)


def test_an_empty_studio_has_the_page_and_too_few_to_say(easel: Easel):
    text = text_of(easel.client)
    assert "Too few to say: no layers with a promise and tests so far; from 15 on" in text
    assert "Nothing yet. Press a corner while a layer is drying" in text
    assert not FORBIDDEN.search(text)


def test_promises_effects_and_the_next_press_are_told(easel: Easel, queries: Any):
    pressed(easel, "Pressed twice", 30, (4, "wet"), (7, "tacky"), (9, "touch_dry"))
    pressed(easel, "Drying now", 1)
    queries()
    text = text_of(easel.client)
    assert queries() <= 52  # three of them for what was changed of the choice, one for a plan that waits
    assert "1 layer with a promise and tests" in text
    assert "PW6" in text and "the studio as a whole" in text
    assert re.search(r"Drying now , underpainting A press .* tells most: about even odds then", text)
    assert re.search(r"Touch-dry likely \w+.*?, [89] times in 10", text)
    assert re.search(r"Of twenty layers like this, touch-dry: \d+ by [^.]+ and 20 by [^.]+\.", text)
    assert re.search(r"\d wet, [\d.]+ tacky, [\d.]+ touch-dry", text)
    page = easel.client.get("/learning").text
    assert page.count("<rect") == 1 and 'id="promises-d"' in page


def test_the_date_that_a_press_moves_is_moved_on_every_page(easel: Easel):
    later, _ = pressed(easel, "Painted yesterday", 1)
    before = easel.client.get(later).text
    pressed(easel, "Slow", 40, (8, "wet"), (14, "tacky"), (16, "touch_dry"))
    after = easel.client.get(later).text
    assert _stages(before) != _stages(after)
    answer = choose(easel, "off")
    assert answer.status_code == 303
    assert _stages(easel.client.get(later).text) == _stages(before)
    choose(easel, "on")
    assert _stages(easel.client.get(later).text) == _stages(after)


def _stages(page: str) -> list[str]:
    return re.findall(r"likely [^<]+", unescape(page))


def choose(easel: Easel, mode: str) -> Any:
    form = form_to(easel.client.get("/learning"), "/learning/mode")
    return easel.client.post("/learning/mode", data=form.filled(mode=mode))


def test_frozen_learning_keeps_what_it_has_and_learns_no_more(easel: Easel):
    later, _ = pressed(easel, "Painted yesterday", 1)
    pressed(easel, "Slow", 40, (8, "wet"), (14, "tacky"), (16, "touch_dry"))
    kept = _stages(easel.client.get(later).text)
    easel.app.state.clock = lambda: NOW + timedelta(minutes=1)
    choose(easel, "frozen")
    easel.app.state.clock = lambda: NOW + timedelta(minutes=2)
    pressed(easel, "Slower", 50, (20, "wet"), (30, "tacky"), (40, "touch_dry"))
    easel.app.state.clock = lambda: NOW
    assert _stages(easel.client.get(later).text) == kept
    assert "From 3 tests of 1 layer" in text_of(easel.client)


def test_learning_begun_anew_forgets_and_can_be_taken_back(easel: Easel):
    pressed(easel, "Slow", 40, (8, "wet"), (14, "tacky"), (16, "touch_dry"))
    assert "From 3 tests" in text_of(easel.client)
    form = form_to(easel.client.get("/learning"), "/learning/anew")
    assert easel.client.post("/learning/anew", data=form.values).headers["location"] == "/learning"
    assert "Learning was begun anew" in text_of(easel.client)
    assert "From 3 tests" not in text_of(easel.client)
    form = form_to(easel.client.get("/learning"), "/learning/all")
    easel.client.post("/learning/all", data=form.values)
    assert "From 3 tests" in text_of(easel.client)
    assert "Began to learn anew" in text_of(easel.client, "/history")


def test_a_choice_is_undone_by_the_history(easel: Easel):
    choose(easel, "off")
    assert form_to(easel.client.get("/learning"), "/learning/mode").values["mode"] == "off"
    undo = re.findall(r'action="(/history/[^"]+/undo)"', easel.client.get("/history").text)[0]
    form = form_to(easel.client.get("/history"), undo)
    assert easel.client.post(undo, data=form.values).status_code == 303
    assert form_to(easel.client.get("/learning"), "/learning/mode").values["mode"] == "on"


def test_an_earlier_choice_is_not_undone_over_a_later_one(easel: Easel):
    assert easel.client.post("/learning/mode", data={"mode": "off"}).status_code == 303
    [first, *_] = re.findall(r'"(/history/[\w-]+/undo)"', easel.client.get("/history").text)
    assert easel.client.post("/learning/mode", data={"mode": "frozen"}).status_code == 303
    refused = easel.client.post(first)
    assert refused.status_code == 409
    assert "the choice of what to learn was changed since" in refused.text


@pytest.mark.parametrize("mode", ["", "sometimes", "x" * 5000])
def test_another_mode_is_refused(easel: Easel, mode: str):
    assert easel.client.post("/learning/mode", data={"mode": mode}).status_code == 422


def test_when_it_was_last_seen_wet_is_one_tap(easel: Easel):
    panel, layer = pressed(easel, "Late look", 20, (9, "touch_dry"))
    assert "1 layer taught nothing" in text_of(easel.client)
    assert "When did you last see it wet?" in text_of(easel.client, panel)
    page = easel.client.get(f"{layer}/tests")
    action = f"/learning/seen-wet/{layer.rpartition('/')[2]}"
    answer = easel.client.post(action, data=form_to(page, action).filled(days_before="2"))
    assert answer.status_code == 303 and answer.headers["location"] == panel
    assert "When did you last see it wet?" not in text_of(easel.client, f"{layer}/tests")
    text = text_of(easel.client)
    assert "taught nothing" not in text and "From 2 tests of 1 layer" in text
    assert easel.client.post(action, data={"days_before": "2"}).status_code == 409
    assert easel.client.post(action, data={"days_before": "many"}).status_code == 422
    assert easel.client.post(f"/learning/seen-wet/{NOBODY}", data={"days_before": "1"}).status_code == 404


def test_a_press_at_the_moment_we_named_needs_no_such_question(easel: Easel):
    _, layer = pressed(easel, "Asked", 9)
    form = form_to(easel.client.get(f"{layer}/tests?asked=1"), f"{layer}/tests")
    assert form.values["occasion"] == "asked"
    assert easel.client.post(f"{layer}/tests", data=form.filled(stage="touch_dry")).status_code == 303
    assert "When did you last see it wet?" not in text_of(easel.client, f"{layer}/tests")
    assert "From 1 test of 1 layer" in text_of(easel.client)


def test_a_stage_that_goes_back_is_asked_about_and_not_dropped(easel: Easel):
    _, layer = pressed(easel, "Back", 20, (3, "tacky"), (6, "touch_dry"), (8, "wet"))
    text = text_of(easel.client, f"{layer}/tests")
    assert "A later test found it softer than an earlier one" in text
    assert text.count("It was mistaken") == 3


def test_a_test_that_does_not_fit_is_shown_and_can_be_called_mistaken(easel: Easel):
    for number in range(3):
        pressed(easel, f"Usual {number}", 60 + number, (3, "tacky"), (5, "tacky"), (7, "touch_dry"))
    pressed(easel, "Odd", 50, (0.2, "firm"), (3, "tacky"), (5, "tacky"), (7, "touch_dry"))
    text = text_of(easel.client)
    assert "Tests that do not fit" in text and "Odd, underpainting : firm on" in text
    [action] = re.findall(r'action="(/tests/[^"]+/mistaken)"', easel.client.get("/learning").text)
    easel.client.post(action, data=form_to(easel.client.get("/learning"), action).values)
    assert "Tests that do not fit" not in text_of(easel.client)


COV = np.diag([0.01, 0.01])


def told(**values: Any) -> Any:
    """A report with just these facts."""
    given: dict[str, Any] = {
        "scored": 0,
        "fewest": 15,
        "calibration": None,
        "gain_nats": 0.0,
        "effects": (),
        "pairs": (),
        "names": {},
    }
    made = given | values
    found = made["calibration"]
    made["reliability"] = {} if found is None else dict(zip(LEVELS, reliability(found, LEVELS), strict=True))
    return SimpleNamespace(**made)


def test_effects_with_little_learned_are_the_books_still():
    known = Effect("pigment:PBr7/raw umber", 0.17, 0.05, 0.35, 0.98)
    unknown = Effect("medium:drier/Pb", 0.02, 0.24, 0.25, 0.08)
    first, second = learning_words.effect_lines(told(effects=(unknown, known)))
    assert (first.name, first.learned_pct, first.is_little) == ("PBr7, raw umber", 98, False)
    assert first.told == "19 % slower; 9 in 10 between 9 % slower and 29 % slower"
    assert (second.name, second.told, second.is_little) == ("drier with Pb", "the book’s value", True)


def test_what_is_not_told_apart_is_told_as_a_pair_with_the_test_that_would():
    pairs = (Pair("pigment:PW6", "studio", -0.8, 0.18, 0.9), Pair("place:a", "place:b", 0.7, 0.1, 0.4))
    first, second = learning_words.pair_lines(told(pairs=pairs, names={"place:a": "Rack", "place:b": "Easel"}))
    assert first.startswith("PW6 and the studio as a whole: together 20 % slower, not yet told apart.")
    assert first.endswith("One test of a layer with much of PW6, and none of the other, would tell.")
    assert "only the difference between them is known" in second and "another place would tell" in second


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (Calibration(0.0, 0.7, COV, 0.91, 0.82, 0.96, True, 60), "ranges were wider than they needed to be"),
        (Calibration(0.0, 1.6, COV, 0.60, 0.5, 0.7, True, 60), "ranges were too narrow"),
        (Calibration(0.9, 1.0, COV, 0.63, 0.5, 0.75, True, 60), "Layers dried later than promised, more than chance"),
        (Calibration(0.1, 1.0, COV, 0.79, 0.7, 0.9, False, 60), "no more off than chance"),
    ],
)
def test_reliability_is_said_with_its_band(found: Calibration, words: str):
    report = told(calibration=found, scored=60)
    said = learning_words.reliability_words(report)
    assert said.startswith(f"When we say 8 times in 10, it is {round(100 * found.covers)} times in 100 (between ")
    assert words in learning_words.drift_words(report)
    half, most, nearly = learning_words.reliability_lines(report)
    assert most.was == pytest.approx(100 * found.covers, abs=2) and half.was < most.was < nearly.was
    assert all(line.low <= line.was <= line.high <= 99 for line in (half, most, nearly))


def test_a_few_layers_never_say_always():
    report = told(calibration=Calibration(0.0, 0.2, COV, 1.0, 0.98, 1.0, True, 16), scored=16)
    said = learning_words.reliability_words(report)
    assert said == "When we say 8 times in 10, it is 99 times in 100 (between 98 and 99, 9 times in 10)."
    assert [line.band for line in learning_words.reliability_lines(report)][-1] == "99 or more"
    assert learning_words.reliability_lines(told()) == []


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.82, 0.96, "between 82 and 96"),
        (0.9312, 0.9349, "about 93"),
        (0.986, 0.999, "99 or more"),
        (1.0, 1.0, "99 or more"),
        (0.0, 0.0, "1 or fewer"),
        (0.004, 0.013, "1 or fewer"),
        (0.004, 0.02, "between 1 and 2"),
    ],
)
def test_a_band_whose_bounds_are_one_figure_is_told_by_it(low: float, high: float, words: str):
    report = told(calibration=Calibration(0.0, 1.0, COV, (low + high) / 2, low, high, False, 60), scored=60)
    said = learning_words.reliability_words(report)
    assert said.endswith(f" times in 100 ({words}, 9 times in 10).")


def test_the_gain_over_the_book_is_said_whichever_way_it_goes():
    assert "1.3 times as likely as the book’s" in learning_words.gain_words(told(scored=10, gain_nats=3.0))
    assert "The book’s dates would have done better" in learning_words.gain_words(told(scored=10, gain_nats=-3.0))
    assert "equally well" in learning_words.gain_words(told(scored=10, gain_nats=0.01))


def test_a_change_is_said_only_where_the_tests_tell_it_from_chance():
    words = learning_words.change_words
    assert words(told(change=None, recent=None)) == ""
    assert words(told(change=(0.10, 0.09), recent=None)) == ""
    assert words(told(change=(0.03, 0.01), recent=None)) == ""
    assert words(told(change=(0.10, 0.05), recent=None)) == (
        "Your layers dry 11 % slower than three months ago. The dates have followed."
    )
    late = Calibration(0.8, 1.0, COV, 0.7, 0.6, 0.8, True, 20)
    assert words(told(change=None, recent=late)).startswith("The last 20 layers dried later than promised. Has somet")
