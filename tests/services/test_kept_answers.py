"""What is kept so that it is not worked out twice: forecasts, verdicts, studios' boards.

A kept answer must equal a fresh one; these tests compare the two, or count how often the model was asked.
"""

import pickle
from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from threading import Event, Thread
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import col, select

from server.science.estimate import MODEL_VERSION, estimate, estimate_many
from server.science.recipe import Addition, AdditionKind, Ground, LayerRecipe, MixRecipe, Paint, PigmentShare, Room
from server.science.recipe import RoomStep as Step
from server.science.results import FilmState, LayerEstimate, Stage
from server.science.soundness import check
from server.science.soundness.types import Action, Material, Severity
from server.services import board, forecasts
from server.services.board.rows import load
from server.services.forecasts import Forecasts, NoForecast, freeze, stages_from_json
from server.services.kept import Content, Kept, content
from server.services.verdicts import Coming, LaidLayer, Question, Verdicts, situation
from server.services.verdicts import Ground as PanelGround
from server.store.tables import Mix, Panel
from tests.services.conftest import NOW

ROOM = Room((Step(0.0, 20.0, 50.0),))
PRAGUE = ZoneInfo("Europe/Prague")


def recipe(um: float = 50.0, ci_name: str = "PW6", ground: Ground = Ground.PAINT) -> LayerRecipe:
    paint = Paint(1.0, "linseed", (PigmentShare(ci_name),))
    return LayerRecipe(um, ground, (MixRecipe("mix", 1.0, (paint,)),))


# Kept


def test_kept_forgets_the_least_recently_used():
    kept: Kept[int] = Kept(2)
    kept.keep({"a": 1, "b": 2})
    assert kept.get("a") == 1
    kept.keep({"c": 3})
    assert (kept.get("a"), kept.get("b"), kept.get("c")) == (1, None, 3)
    assert kept.among(["a", "b", "c"]) == {"a": 1, "c": 3}
    assert len(kept) == 2


def test_equal_contents_are_one_as_long_as_they_are_kept():
    one, other = content(("a", 1.0)), content(("a", 1.0))
    assert one is other
    assert hash(one) == hash(("a", 1.0))
    assert one != content(("a", 2.0))
    assert one != ("a", 1.0)
    # One that was made before the kept ones were let go still stands for the same.
    assert Content(("a", 1.0)) == one


def test_a_content_taken_to_another_process_is_that_ones():
    one = content((FilmState.WET, date(2026, 3, 1), ("b",)))
    assert pickle.loads(pickle.dumps(one)) is one


def test_kept_is_safe_between_threads():
    kept: Kept[int] = Kept(50)

    def work(start: int) -> None:
        for number in range(500):
            kept.keep({(start * number) % 70: number})
            kept.get(number % 70)

    threads = [Thread(target=work, args=(start,)) for start in (3, 5, 7, 11)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(kept) <= 50


# Forecasts


def test_a_kept_forecast_is_the_models_own():
    pairs = [(recipe(um), ROOM) for um in (20.0, 50.0, 120.0)]
    kept = Forecasts()
    assert kept.of(pairs) == estimate_many(pairs)
    assert kept.of(list(reversed(pairs))) == list(reversed(estimate_many(pairs)))


def test_the_model_is_asked_once_and_for_all_that_is_missing_together(monkeypatch: pytest.MonkeyPatch):
    asked = []

    def noting(pairs):
        asked.append(len(pairs))
        return estimate_many(pairs)

    monkeypatch.setattr(forecasts, "estimate_many", noting)
    kept = Forecasts()
    kept.of([(recipe(um), ROOM) for um in (20.0, 30.0, 20.0)])
    kept.of([(recipe(um), ROOM) for um in (20.0, 30.0, 40.0)])
    assert asked == [2, 1]


def test_one_senseless_recipe_does_not_take_the_others_along():
    only_solvent = Addition(AdditionKind.SOLVENT, 1.0, solvent="gum_turpentine")
    senseless = LayerRecipe(50.0, Ground.PAINT, (MixRecipe("nothing that dries", 1.0, (), (only_solvent,)),))
    good, bad = Forecasts().of([(recipe(), ROOM), (senseless, ROOM)])
    assert isinstance(good, LayerEstimate)
    assert isinstance(bad, NoForecast)
    assert "dries" in bad.message


def test_a_frozen_forecast_names_its_model_and_comes_back():
    found = estimate(recipe(), ROOM)
    frozen = freeze(found, found, {"log_mean": 1.5})
    assert frozen["model_version"] == MODEL_VERSION
    thawed = stages_from_json(frozen["stages"])
    assert set(thawed) == set(found.stages)
    for stage in Stage:
        assert thawed[stage].p50_d == pytest.approx(found.stages[stage].p50_d, abs=1e-4)
    assert [region["name"] for region in frozen["regions"]] == ["mix"]
    assert frozen["book"] == frozen["stages"]
    assert frozen["learned"] == {"log_mean": 1.5}


# Verdicts


def question(painted_at: datetime, **changes) -> Question:
    lower, upper = recipe(40.0), recipe(50.0)
    laid = LaidLayer("lower", Material.OIL, painted_at, dict(estimate(lower, ROOM).stages), lower)
    coming = Coming("upper", Material.OIL, dict(estimate(upper, ROOM).stages), upper)
    return replace(Question(PanelGround("rigid", "acrylic", "matte"), (laid,), coming), **changes)


@given(
    ages=st.lists(st.floats(0.0, 120.0), min_size=2, max_size=12),
    action=st.sampled_from([Action.NEXT_LAYER, Action.WORK_LIGHTLY]),
)
def test_a_kept_verdict_is_the_rules_own_at_every_age(ages, action):
    """Asked in any order of instants, the kept verdict has the severity, state and rules of a fresh one."""
    painted_at = NOW - timedelta(days=200)
    asked = question(painted_at, action=action)
    kept = Verdicts()
    for age in ages:
        at = painted_at + timedelta(days=age)
        on = date(2026, 1, 1)
        found, fresh = kept.of(asked, at, on), check(situation(asked, at, on))
        assert (found.verdict, found.state) == (fresh.verdict, fresh.state)
        assert [(f.rule, f.severity) for f in found.findings] == [(f.rule, f.severity) for f in fresh.findings]


def test_the_rules_are_asked_again_only_when_their_answer_may_have_changed():
    calls = []

    def noting(asked, thresholds):
        calls.append(asked)
        return check(asked, thresholds)

    painted_at = NOW - timedelta(days=3)
    kept, asked = Verdicts(judge=noting), question(painted_at)
    first = kept.of(asked, NOW, NOW.date())
    assert first.verdict is Severity.STOP
    assert kept.of(asked, NOW + timedelta(hours=1), NOW.date()) is first
    assert len(calls) == 1
    kept.of(asked, NOW + timedelta(days=first.unchanged_for_d + 0.01), NOW.date())
    assert len(calls) == 2
    kept.of(asked.asking(Action.WORK_LIGHTLY), NOW, NOW.date())
    assert len(calls) == 3


def test_a_test_of_the_painter_is_another_question():
    painted_at = NOW - timedelta(days=3)
    asked = question(painted_at)
    pressed = replace(asked.stack[0], key="lower, pressed", observed=FilmState.TOUCH_DRY, observed_at=NOW)
    kept = Verdicts()
    assert kept.of(asked, NOW, NOW.date()).verdict is Severity.STOP
    assert kept.of(replace(asked, stack=(pressed,)), NOW, NOW.date()).verdict is not Severity.STOP


# Boards


def test_a_change_by_another_process_is_seen(bench):
    """Another process' commits are known by the history alone."""
    from server.services.board import snapshot

    bench.layer(bench.panel())
    with bench.db.read() as session:
        before = snapshot.snapshot(session, bench.actor).number
        assert snapshot.snapshot(session, bench.actor).number == before
    pool = bench.db.engine.pool
    commits = Counter(snapshot._commits[pool])
    bench.panel(title="By another process")
    snapshot._commits[pool] = commits  # this process heard nothing of it
    with bench.db.read() as session:
        assert snapshot.snapshot(session, bench.actor).number != before


def test_a_change_elsewhere_leaves_a_studios_rows_as_they_are(bench, stranger):
    """Another studio's change costs nothing; one of its own, or of a row that says not whose it is, is seen."""
    from server.services.board import snapshot

    def number() -> int:
        with bench.db.read() as session:
            return snapshot.snapshot(session, bench.actor).number

    bench.layer(bench.panel())
    before = number()
    stranger.layer(stranger.panel())
    assert number() == before
    with bench.db.write() as session:  # past the history
        panel = session.scalars(select(Panel).where(col(Panel.studio_id) == bench.actor.studio_id)).first()
        panel.title = "Named past the history"
    assert number() != before


def test_who_asks_at_once_waits_for_the_first(bench):
    from server.services.board import snapshot

    with bench.db.read() as session:
        found = snapshot.snapshot(session, bench.actor)
    made: list[int] = []
    begun = Event()

    def make() -> int:
        made.append(1)
        begun.wait(5)
        return len(made)

    answers: list[int] = []
    threads = [Thread(target=lambda: answers.append(found.keep(("asked at once",), make))) for _ in range(4)]
    for thread in threads:
        thread.start()
    begun.set()
    for thread in threads:
        thread.join()
    assert answers == [1, 1, 1, 1]


def test_studios_and_databases_do_not_share_boards(bench, stranger):
    bench.layer(bench.panel(title="Mine"))
    stranger.layer(stranger.panel(title="Theirs"))
    titles = []
    for one in (bench, stranger, bench):
        with one.db.read() as session:
            wall = board.today(session, one.actor, NOW, PRAGUE)
        titles.append([fact.title for group in wall.groups.values() for fact in group])
    assert titles == [["Mine"], ["Theirs"], ["Mine"]]


@pytest.mark.parametrize("minutes", [0, 1, 9.99, 10, 10.01, 59])
def test_now_is_rounded_up_to_ten_minutes(minutes):
    now = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc) + timedelta(minutes=minutes)
    moment = board.moment_of(now, PRAGUE)
    assert now <= moment.at < now + timedelta(minutes=10)
    assert moment.at.minute % 10 == 0
    assert moment.on == now.astimezone(PRAGUE).date()


def test_the_last_minutes_of_a_day_belong_to_it():
    now = datetime(2026, 11, 25, 22, 57, tzinfo=timezone.utc)  # 23:57 in Prague
    assert board.moment_of(now, PRAGUE).on == date(2026, 11, 25)


def test_a_panel_is_told_anew_only_where_something_of_it_changed(bench):
    """On Today and in the calendar: a mix that it does not use is nothing to it, the one that it uses is."""

    def told() -> list[int]:
        with bench.db.read() as session:
            wall = board.today(session, bench.actor, NOW, PRAGUE)
            rows = board.calendar(session, bench.actor, NOW, PRAGUE).rows
        facts = [fact for group in wall.groups.values() for fact in group] + [row.panel for row in rows]
        return [fact.number for fact in facts]

    def rename(mix: Mix) -> None:
        with bench.db.write() as session:
            session.get(Mix, mix.id).label += " anew"

    bench.layer(bench.panel())
    before = told()
    rename(bench.black)
    assert told() == before
    rename(bench.white)
    assert not set(told()) & set(before)


def test_odds_hang_on_the_plan_in_use_and_on_working_hours(bench):
    """Of which a panel's own records say nothing."""
    bench.layer(bench.panel())
    with bench.db.read() as session:
        rows: Any = load(session, bench.actor)
    panel = rows.panels[0]
    other = replace(rows, hours=("other hours",))
    assert other.content(panel) == rows.content(panel)
    assert other.told(panel) != rows.told(panel)
    planned = replace(rows, plan=SimpleNamespace(uid="plan", version=1, sittings={}))
    assert planned.content(panel) == rows.content(panel)
    assert planned.told(panel) != rows.told(panel)
    assert planned.told(panel) != replace(rows, plan=SimpleNamespace(uid="plan", version=2, sittings={})).told(panel)


def test_contents_whose_hashes_meet_are_two() -> None:
    assert hash(-1) == hash(-2)  # of all numbers these two, in CPython
    assert Content(-1) != Content(-2) and content(-1) is not content(-2)
    assert {Content(-1): "one", Content(-2): "two"}[Content(-1)] == "one"
