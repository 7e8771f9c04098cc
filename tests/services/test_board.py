"""Today and a panel's page as facts.

The trade fact is common practice without a source: a first layer of white with a touch of black, well thinned, on a
gesso-primed hardboard panel in an ordinary room is not yet fully dry to the touch after three days, but can be worked
on with light pressure and a brush wiped free of thinner. The other values follow from the definitions of readiness.
"""

from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from server.science.results import FilmState, Stage
from server.science.soundness.types import Severity
from server.services import board, panels, touch_tests
from server.services.board import PanelFact, Standing
from server.services.errors import NotFound
from server.services.touch_tests import TouchTestCreate
from tests.services.board_studio import hang, trade_fact
from tests.services.conftest import NOW, Bench

PRAGUE = ZoneInfo("Europe/Prague")
TODAY = NOW.astimezone(PRAGUE).date()


def wall(bench: Bench, now: datetime = NOW, on: date | None = None) -> board.TodayBoard:
    with bench.db.read() as session:
        return board.today(session, bench.actor, now, PRAGUE, on)


def only(bench: Bench, now: datetime = NOW, on: date | None = None) -> PanelFact:
    [fact] = [fact for group in wall(bench, now, on).groups.values() for fact in group]
    return fact


def page(bench: Bench, uid: str, now: datetime = NOW) -> board.PanelBoard:
    with bench.db.read() as session:
        return board.panel_page(session, bench.actor, uid, now, PRAGUE)


def press(bench: Bench, layer_uid: str, stage: str, at: datetime = NOW, place: str = "") -> None:
    with bench.unit("Pressed", now=at) as work:
        command = TouchTestCreate(stage=stage, pressed_at=at, place_on_panel=place)
        touch_tests.log(work.session, bench.actor, layer_uid, command, at)


# The trade fact


def test_the_trade_fact_on_the_third_day(bench):
    panel, _ = trade_fact(bench)
    fact = only(bench)
    assert fact.top is not None
    assert fact.top.state is FilmState.TACKY
    assert fact.standing is Standing.TEST_FIRST
    assert fact.rest.touch is not None
    # Central dry-to-touch between 3.5 and 4.5 days after the 22nd.
    assert date(2026, 11, 25) <= fact.rest.touch.central <= date(2026, 11, 26)
    assert fact.verdict is not None
    assert fact.verdict.verdict is Severity.STOP
    assert [found.rule for found in fact.verdict.findings] == ["R03"]
    assert fact.rest.allowed_from == fact.rest.ready_from == fact.rest.touch.sure
    assert fact.lightly is not None
    assert fact.lightly.verdict is Severity.CAUTION
    [found] = fact.lightly.findings
    assert found.rule == "R05"
    assert "light pressure" in found.reason
    assert "wiped free of thinner" in found.reason
    assert page(bench, panel.uid).panel == fact


def test_a_thinned_next_layer_may_not_be_worked_in_lightly(bench):
    """The brush wiped free of thinner: with a fifth of solvent, R03 stands for light work too."""
    trade_fact(bench, solvent_pct=20, thinner_uid=bench.thinner.uid)
    fact = only(bench)
    assert fact.lightly is not None
    assert fact.lightly.verdict is Severity.STOP


def test_the_trade_fact_over_the_days(bench):
    """Wet on the first day, tacky on the third; ready without a test once nine films in ten are dry."""
    painted_at = NOW - timedelta(days=3)
    trade_fact(bench, painted_at)
    first = only(bench, painted_at + timedelta(hours=12))
    assert first.standing is Standing.RESTS
    assert first.top is not None
    assert first.top.state is FilmState.WET
    ready_from = only(bench).rest.ready_from
    assert ready_from is not None
    before = only(bench, on=ready_from - timedelta(days=1))
    after = only(bench, on=ready_from + timedelta(days=1))
    assert (before.standing, after.standing) == (Standing.TEST_FIRST, Standing.READY)
    assert after.verdict is not None
    assert after.verdict.verdict is not Severity.STOP


# Touch tests


@pytest.mark.parametrize(
    ("stage", "standing", "state"),
    [
        ("touch_dry", Standing.READY, FilmState.TOUCH_DRY),
        ("firm", Standing.READY, FilmState.FIRM),
        ("tacky", Standing.RESTS, FilmState.TACKY),
        ("wet", Standing.RESTS, FilmState.WET),
    ],
)
def test_the_painters_fingertip_wins(bench, stage, standing, state):
    _, layer = trade_fact(bench)
    before = only(bench)
    press(bench, layer.uid, stage)
    after = only(bench)
    assert after.standing is standing
    assert after.top is not None
    assert after.top.state is state
    if stage in ("wet", "tacky"):
        assert after.rest.touch is not None
        assert before.rest.touch is not None
        assert after.rest.touch.low >= TODAY
        # What a tacky film teaches narrows the range: it may end sooner, but its middle comes no sooner.
        assert after.rest.touch.central >= before.rest.touch.central
    else:
        assert after.rest.ready_from == TODAY


def test_of_one_round_the_softest_place_counts_and_of_one_place_the_last_test(bench):
    _, layer = trade_fact(bench)
    press(bench, layer.uid, "touch_dry", NOW - timedelta(minutes=20), "sky")
    press(bench, layer.uid, "tacky", NOW - timedelta(minutes=15), "rocks")
    softest = only(bench)
    assert softest.top is not None
    assert softest.top.state is FilmState.TACKY
    press(bench, layer.uid, "touch_dry", NOW - timedelta(minutes=5), "rocks")
    assert only(bench).standing is Standing.READY


def test_what_a_fingertip_found_dry_is_not_asked_to_be_pressed_again(bench):
    """Soft and dry within a minute leave even odds for that very moment; by night its press waits for the morning."""
    early = NOW.replace(hour=4, minute=50)  # ten to six in Prague
    _, layer = trade_fact(bench, painted_at=early - timedelta(days=3))
    press(bench, layer.uid, "tacky", early - timedelta(minutes=1))
    assert only(bench, early).rest.press is not None
    press(bench, layer.uid, "touch_dry", early)
    assert only(bench, early).rest.press is None


def test_a_mistaken_test_counts_for_nothing(bench):
    _, layer = trade_fact(bench)
    before = only(bench)
    press(bench, layer.uid, "firm")
    assert only(bench).standing is Standing.READY
    with bench.unit("Mistaken") as work:
        [test] = touch_tests.all_open(work.session, bench.actor)
        touch_tests.archive(work.session, bench.actor, test.uid)
    assert only(bench) == before


def test_what_came_later_is_not_known_on_an_earlier_day(bench):
    _, layer = trade_fact(bench)
    press(bench, layer.uid, "firm")
    yesterday = only(bench, on=TODAY - timedelta(days=1))
    assert yesterday.standing is not Standing.READY
    week_ago = only(bench, on=TODAY - timedelta(days=7))
    assert week_ago.top is None
    assert week_ago.coming is not None
    assert week_ago.coming.kind == "underpainting"
    assert week_ago.layers_to_come == 2


# Standings


def test_bare_ground_with_a_plan_is_ready(bench):
    bench.layer(bench.panel())
    fact = only(bench)
    assert fact.standing is Standing.READY
    assert fact.top is None
    assert fact.coming is not None
    # 40 x 50 cm at 30 um, smooth, with a loss of 1.3: 0.01 ml per 100 cm2 and um.
    assert fact.coming.ml == pytest.approx(2000 * 30e-4 * 1.3)


def test_fresh_acrylic_below_stops_with_its_day(bench):
    """Oil over acrylic: 72 hours at least (Bulletin boards of conservators, question 351)."""
    panel = bench.panel()
    bench.painted(panel, 1.0, material="acrylic", mixes=[])
    bench.layer(panel)
    fact = only(bench)
    assert fact.standing is Standing.STOPPED
    assert fact.rest.allowed_from == (NOW + timedelta(days=2)).date()
    assert only(bench, on=TODAY + timedelta(days=3)).standing is Standing.READY


def test_acrylic_over_oil_is_stopped_for_good(bench):
    panel = bench.panel()
    bench.painted(panel, 60.0)
    bench.layer(panel, material="acrylic", mixes=[])
    fact = only(bench)
    assert fact.standing is Standing.STOPPED
    assert fact.verdict is not None
    assert fact.verdict.findings[0].rule == "R23"
    assert fact.rest.allowed_from is None


def test_paint_into_wet_paint_may_go_on_while_it_is_wet(bench):
    panel = bench.panel()
    bench.painted(panel, 0.1)
    bench.layer(panel, wet_in_wet=True)
    assert only(bench).standing is Standing.READY
    assert only(bench, on=TODAY + timedelta(days=4)).standing is not Standing.READY


def test_panels_without_a_next_layer(bench):
    bare, painted, finished = bench.panel(title="Bare"), bench.panel(title="Painted"), bench.panel(title="Finished")
    bench.painted(painted, 2.0)
    bench.painted(finished, 30.0)
    with bench.unit("Finished") as work:
        command = panels.public(work.session, panels.get(work.session, bench.actor, finished.uid))
        command = command.model_copy(update={"finished_on": TODAY - timedelta(days=30)})
        panels.update(work.session, bench.actor, finished.uid, command)
    groups = wall(bench).groups
    assert [fact.title for fact in groups[Standing.UNPLANNED]] == ["Bare", "Painted"]
    [fact] = groups[Standing.FINISHED]
    assert fact.uid == finished.uid
    # Six months after the last layer at the earliest (Parkhurst 1898).
    assert fact.varnish is not None
    assert fact.varnish.low >= (NOW - timedelta(days=30)).date() + timedelta(days=180)
    assert bare.uid in {fact.uid for fact in groups[Standing.UNPLANNED]}


def test_a_next_layer_without_mixes_has_no_verdict_and_no_finish(bench):
    panel = bench.panel(due_on=TODAY + timedelta(days=30))
    bench.painted(panel, 30.0)
    bench.layer(panel, mixes=[])
    fact = only(bench)
    assert fact.standing is Standing.READY
    assert fact.verdict is None
    assert fact.finish is None
    assert fact.due is not None
    assert (fact.due.odds, fact.due.at_risk) == (None, False)
    assert fact.coming is not None
    assert fact.coming.no_forecast is not None


def test_the_slow_region_holds_the_layer_up(bench):
    """Bone black dries slower than titanium white (pigments.csv: a retarder)."""
    panel = bench.panel()
    mixes = [
        {"mix_uid": bench.white.uid, "area_pct": 80, "region": "sky"},
        {"mix_uid": bench.black.uid, "area_pct": 20, "region": "eyes"},
    ]
    bench.painted(panel, 2.0, mixes=mixes)
    fact = only(bench)
    assert fact.top is not None
    assert fact.top.holds_up == "eyes"
    assert [region.holds_up for region in fact.top.regions] == [False, True]


def test_touches_on_a_tenth_take_a_tenth_of_the_paint_and_dry_as_the_whole_would(bench):
    """By definition: the share says where paint lies, not how thick."""
    for share in (10, 100):
        mixes = [{"mix_uid": bench.white.uid, "area_pct": share, "region": "lights"}]
        bench.painted(bench.panel(title=str(share)), 2.0, mixes=mixes)
    facts = {fact.title: fact for group in wall(bench).groups.values() for fact in group}
    tenth, whole = facts["10"].top, facts["100"].top
    assert tenth is not None and whole is not None
    assert tenth.regions[0].ml == pytest.approx(whole.regions[0].ml / 10)
    assert tenth.regions[0].composition == whole.regions[0].composition
    assert dict(tenth.stages) == dict(whole.stages)
    assert facts["10"].standing is facts["100"].standing


def test_archived_panels_are_off_the_wall_but_keep_their_page(bench):
    panel = bench.panel()
    bench.painted(panel, 2.0)
    with bench.unit("Archived") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    assert not any(wall(bench).groups.values())
    assert not wall(bench).has_panels
    assert page(bench, panel.uid).panel.is_archived


# Dates


def test_due_dates_and_their_risk(bench):
    for title, days in (("Soon", 4), ("Late in spring", 150), ("Past", -2)):
        panel = bench.panel(title=title, due_on=TODAY + timedelta(days=days))
        bench.painted(panel, 1.0)
        bench.layer(panel)
    found = wall(bench)
    assert [fact.title for fact in found.at_risk] == ["Past", "Soon"]
    facts = {fact.title: fact for group in found.groups.values() for fact in group}
    assert all(fact.due is not None for fact in facts.values())
    odds = {title: fact.due.odds for title, fact in facts.items() if fact.due and fact.due.odds is not None}
    assert odds["Soon"] < 0.15
    assert odds["Late in spring"] > 0.95
    assert odds["Past"] == 0.0
    assert facts["Past"].due is not None
    assert facts["Past"].due.is_late


def test_the_chain_goes_on_in_order_and_never_before_its_planned_day(bench):
    panel = bench.panel()
    bench.painted(panel, 1.0)
    bench.layer(panel)
    bench.layer(panel, planned_on=TODAY + timedelta(days=90))
    bench.layer(panel)
    layers = page(bench, panel.uid).layers
    starts = [layer.earliest for layer in layers[1:]]
    assert all(start is not None and start.low <= start.central <= start.high for start in starts)
    assert starts[1] is not None
    assert starts[1].low == TODAY + timedelta(days=90)
    assert starts[0] is not None
    assert starts[2] is not None
    assert starts[0].central < starts[1].central < starts[2].central
    assert all(layer.planned_from is not None for layer in layers[1:])


@pytest.mark.parametrize(
    ("zone", "painted_at"),
    [
        ("Europe/Prague", datetime(2026, 10, 24, 20, 0, tzinfo=timezone.utc)),  # clocks go back that night
        ("Europe/Prague", datetime(2026, 3, 28, 20, 0, tzinfo=timezone.utc)),  # and forward
        ("America/New_York", datetime(2026, 10, 31, 20, 0, tzinfo=timezone.utc)),
        ("Australia/Lord_Howe", datetime(2026, 4, 4, 8, 0, tzinfo=timezone.utc)),  # by half an hour
    ],
)
def test_dates_across_a_change_of_clocks(bench, zone, painted_at):
    """A stage falls on the day of the instant so many times 24 hours after painting, in the studio's zone."""
    there = ZoneInfo(zone)
    trade_fact(bench, painted_at)
    with bench.db.read() as session:
        found = board.today(session, bench.actor, painted_at + timedelta(days=1), there)
        [fact] = [fact for group in found.groups.values() for fact in group]
        row = board.calendar(session, bench.actor, painted_at + timedelta(days=1), there).rows[0]
    stages = row.layers[0].stages
    for stage in Stage:
        central = (painted_at + timedelta(days=stages[stage].p50_d)).astimezone(there).date()
        assert row.layers[0].days[stage].central == central
    assert fact.rest.touch is not None
    assert fact.rest.touch == row.layers[0].days[Stage.DRY_TO_TOUCH]
    midnight = found.moment.day_start.astimezone(there)
    assert (midnight.hour, midnight.minute) == (0, 0)


def test_the_room_of_the_months_ahead_moves_the_dates(bench):
    """Warmer is faster (Arrhenius)."""
    from server.store.tables import PlaceMonth

    panel, _ = trade_fact(bench)
    before = only(bench)
    with bench.db.write() as session:
        for month in (11, 12):
            row = PlaceMonth(place_id=bench.place.id, month=month, temperature_c=8.0, relative_humidity_pct=50.0)
            session.add(row)
    after = only(bench)
    assert before.rest.touch is not None
    assert after.rest.touch is not None
    assert after.rest.touch.central > before.rest.touch.central
    # What was promised when it was painted stays.
    promised = page(bench, panel.uid).layers[0].promised[Stage.DRY_TO_TOUCH]
    assert promised == before.rest.touch


# The panel's page


def test_the_page_tells_what_today_tells(bench):
    hang(bench, 3)
    for group in wall(bench).groups.values():
        for fact in group:
            assert page(bench, fact.uid).panel == fact


def test_verdicts_between_each_pair(bench):
    panel = bench.panel(ground_surface="absorbent")
    bench.painted(panel, 40.0, solvent_pct=50, thinner_uid=bench.thinner.uid)
    bench.painted(panel, 39.0)
    bench.layer(panel)
    bench.layer(panel)
    layers = page(bench, panel.uid).layers
    rules = [{found.rule for found in layer.over.findings} if layer.over else None for layer in layers]
    assert rules[0] is not None
    assert "R10" in rules[0]  # half solvent on an absorbent ground: a note
    assert rules[1] is not None
    assert "R03" in rules[1]  # a day after: over a film that was not dry then
    assert layers[2].over == page(bench, panel.uid).panel.verdict
    assert layers[3].over is not None
    assert "R03" not in {found.rule for found in layers[3].over.findings}  # planned for when it may go on
    assert all(layer.stages for layer in layers)


def test_the_page_of_another_studios_panel_is_not_there(bench, stranger):
    panel = stranger.panel()
    with pytest.raises(NotFound):
        page(bench, panel.uid)
    assert not wall(bench).has_panels


# Cost


def test_the_number_of_queries_does_not_grow(bench, count_queries):
    """Each board, read right after the studio changed, at 5 and at 50 panels."""
    moment = board.moment_of(NOW, PRAGUE)
    counts = []
    for panel_count in (5, 45):
        hang(bench, panel_count)
        uid = next(fact.uid for group in wall(bench).groups.values() for fact in group)
        reads = (
            lambda session: board.today(session, bench.actor, NOW, PRAGUE),
            lambda session: board.calendar(session, bench.actor, NOW, PRAGUE),
            lambda session, uid=uid: board.one_panel(session, bench.actor, uid, moment),
            lambda session, uid=uid: board.panel_page(session, bench.actor, uid, NOW, PRAGUE),
        )
        taken = []
        for number, read in enumerate(reads):
            bench.panel(title=f"Change {number} of {panel_count}")
            count_queries()
            with bench.db.read() as session:
                read(session)
            taken.append(count_queries())
        counts.append(taken)
    assert counts[0] == counts[1]
    assert max(counts[0]) <= 30


def test_a_wall_that_nothing_changed_costs_one_query(bench, count_queries):
    hang(bench, 3)
    first = wall(bench)
    count_queries()
    assert wall(bench, NOW + timedelta(seconds=30)).number == wall(bench, NOW + timedelta(minutes=9)).number
    assert count_queries() <= 4  # two walls, each with its BEGIN
    assert wall(bench).number == first.number


def test_every_change_is_seen_at_once(bench):
    """Also rows that are written past the history, in this process."""
    trade_fact(bench)
    before = wall(bench)
    with bench.db.write() as session:
        found = session.get(type(bench.place), bench.place.id)
        assert found is not None
        found.temperature_c = 30.0
    after = wall(bench)
    assert after.number != before.number
    assert only(bench).rest != next(iter(before.groups[Standing.TEST_FIRST])).rest
