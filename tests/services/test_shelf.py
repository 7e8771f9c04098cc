"""The shelf: tubes, mediums and thinners kept as typed, changed, archived, and never seen from another studio."""

from collections.abc import Callable
from typing import Any

import pytest
from pydantic import ValidationError

from server.services import history, mediums, paints, shelf, thinners
from server.services.errors import Conflict, NotFound, Refused
from server.services.mediums import MediumCreate
from server.services.paints import PaintCreate
from server.services.thinners import ThinnerCreate
from server.store.tables import Medium, Paint
from tests.services.conftest import NOW, Bench

SERVICES: list[Any] = [paints, mediums, thinners]
COMMANDS: list[Any] = [
    {"label": "Studio white", "pigments": [{"pigment": "PW6"}]},
    {"label": "Lean medium", "parts": [{"material": "oil:linseed", "parts": 1}]},
    {"label": "Spirits", "solvent": "mineral_spirits"},
]
KINDS: list[Any] = [PaintCreate, MediumCreate, ThinnerCreate]
ALL = list(zip(SERVICES, KINDS, COMMANDS, strict=True))


def make(bench: Bench, service: Any, command: Any) -> Any:
    with bench.unit() as work:
        return service.create(work.session, bench.actor, command)


def paint(bench: Bench, **values: Any) -> Paint:
    return make(bench, paints, PaintCreate.model_validate(COMMANDS[0] | values))


def stored(bench: Bench, service: Any, record: Any) -> Any:
    with bench.db.read() as session:
        return service.public(session, service.get(session, bench.actor, record.uid))


def change(bench: Bench, service: Any, record: Any, command: Any) -> Any:
    with bench.unit() as work:
        return service.update(work.session, bench.actor, record.uid, command)


def test_a_tube_is_kept_as_typed(bench: Bench) -> None:
    made = paint(
        bench,
        label="  Flesh ochre ",
        oil="walnut",
        pigments=[
            {"pigment": "yellow ochre (natural)", "share_pct": 70},
            {"pigment": "pbr7 raw umber", "share_pct": 12.5},
            {"pigment": "PW1", "share_pct": 17.5},
        ],
        tube_ml=37,
        left_ml=12.5,
        paint_oil_g_per_100g=55,
        notes="a\r\nb",
    )
    command = stored(bench, paints, made)
    assert (command.label, command.oil, command.notes, command.version) == ("Flesh ochre", "walnut", "a\nb", 1)
    assert [(row.pigment, round(row.share_pct, 9)) for row in command.pigments] == [
        ("PY43", 70),
        ("PBr7/raw umber", 12.5),
        ("PW1", 17.5),
    ]
    assert (command.tube_ml, command.left_ml, command.paint_oil_g_per_100g) == (37, 12.5, 55)
    assert (made.created_at, made.updated_at) == (NOW, NOW)


def test_one_open_share_takes_the_rest() -> None:
    rows = [{"pigment": "PW6", "share_pct": 80}, {"pigment": "PW4"}]
    command = PaintCreate.model_validate(COMMANDS[0] | {"pigments": rows})
    assert [row.share_pct for row in command.pigments] == [80, 20]
    assert PaintCreate.model_validate(COMMANDS[0]).pigments[0].share_pct == 100


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"label": " "}, "at least 1 character"),
        ({"label": "x" * 121}, "at most 120"),
        ({"label": "a\x00b"}, "cannot be shown"),
        ({"label": "two\nlines"}, "cannot be shown"),
        ({"oil": "butter"}, "one of the oils"),
        ({"pigments": []}, "at least 1 item"),
        ({"pigments": [{"pigment": "PBr7"}]}, "PBr7 is several pigments"),
        ({"pigments": [{"pigment": "PW999"}]}, "PW999 is not in the table"),
        ({"pigments": [{"pigment": "PW6\x1b"}]}, "cannot be shown"),
        ({"pigments": [{"pigment": "PW6", "share_pct": 0}]}, "greater than 0"),
        ({"pigments": [{"pigment": "PW6", "share_pct": -5}]}, "greater than 0"),
        ({"pigments": [{"pigment": "PW6", "share_pct": 60}]}, "add up to 60 %"),
        (
            {"pigments": [{"pigment": "PW6", "share_pct": 60}, {"pigment": "PW4", "share_pct": 60}]},
            "add up to 120 %",
        ),
        ({"pigments": [{"pigment": "PW6"}, {"pigment": "PW4"}]}, "Give each pigment its share"),
        ({"pigments": [{"pigment": "PW6", "share_pct": 100}, {"pigment": "PW4"}]}, "nothing is left"),
        (
            {"pigments": [{"pigment": "PW6", "share_pct": 50}, {"pigment": "titanium white", "share_pct": 50}]},
            "listed twice",
        ),
        ({"tube_ml": 0}, "greater than 0"),
        ({"tube_ml": 1e9}, "less than or equal"),
        ({"tube_ml": 40, "left_ml": 41}, "more left than the tube holds"),
        ({"left_ml": -1}, "greater than or equal"),
        ({"paint_oil_g_per_100g": 0}, "greater than or equal"),
        ({"density_g_cm3": 50}, "less than or equal"),
        ({"density_g_cm3": float("nan")}, "finite"),
        ({"brand": "x"}, "not permitted"),
    ],
)
def test_a_tube_that_cannot_be_is_refused(values: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        PaintCreate.model_validate(COMMANDS[0] | values)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"parts": []}, "at least 1 item"),
        ({"parts": [{"material": "oil:linseed", "parts": 0}]}, "greater than 0"),
        ({"parts": [{"material": "oil:linseed", "parts": -1}]}, "greater than 0"),
        ({"parts": [{"material": "oil:butter", "parts": 1}]}, "one of the list"),
        ({"parts": [{"material": "solvent:water", "parts": 1}]}, "one of the list"),
        ({"parts": [{"material": "honey", "parts": 1}]}, "one of the list"),
        ({"parts": [{"material": "wax", "parts": 1, "non_volatile_pct": 50}]}, "only an alkyd medium"),
        ({"parts": [{"material": "alkyd_medium", "parts": 1, "non_volatile_pct": 0}]}, "greater than 0"),
        ({"parts": [{"material": "alkyd_medium", "parts": 1, "non_volatile_pct": 101}]}, "less than or equal"),
    ],
)
def test_a_medium_that_cannot_be_is_refused(values: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        MediumCreate.model_validate(COMMANDS[1] | values)


def test_a_thinner_that_is_none_is_refused() -> None:
    with pytest.raises(ValidationError, match="one of the list"):
        ThinnerCreate.model_validate({"label": "x", "solvent": "water"})


def test_a_medium_keeps_its_parts_and_the_usual_share_of_an_alkyd(bench: Bench) -> None:
    parts = [{"material": "alkyd_medium", "parts": 2}, {"material": "solvent:gum_turpentine", "parts": 0.5}]
    made = make(bench, mediums, MediumCreate.model_validate({"label": "Quick", "parts": parts}))
    rows = stored(bench, mediums, made).parts
    assert [(row.material, row.parts, row.non_volatile_pct) for row in rows] == [
        ("alkyd_medium", 2, 50),
        ("solvent:gum_turpentine", 0.5, None),
    ]


@pytest.mark.parametrize(("service", "kind", "values"), ALL)
def test_an_edit_that_changes_nothing_leaves_the_version(bench: Bench, service: Any, kind: Any, values: Any) -> None:
    made = make(bench, service, kind.model_validate(values))
    again = service.__dict__[kind.__name__.replace("Create", "Update")].model_validate(
        stored(bench, service, made).model_dump()
    )
    assert change(bench, service, made, again).version == 1


@pytest.mark.parametrize(("service", "kind", "values"), ALL)
def test_the_second_of_two_tabs_is_told_and_loses_nothing(bench: Bench, service: Any, kind: Any, values: Any) -> None:
    made = make(bench, service, kind.model_validate(values))
    before = stored(bench, service, made)
    change(bench, service, made, before.model_copy(update={"label": "Theirs"}))
    mine = before.model_copy(update={"label": "Mine"})
    with pytest.raises(Conflict) as caught:
        change(bench, service, made, mine)
    assert (caught.value.fields, caught.value.current["label"]) == (("label",), "Theirs")
    after = change(bench, service, made, mine.model_copy(update={"version": caught.value.current["version"]}))
    assert (after.label, after.version) == ("Mine", 3)


def test_rows_that_change_alone_are_a_change_of_the_tube(bench: Bench) -> None:
    made = paint(bench)
    before = stored(bench, paints, made)
    other = PaintCreate.model_validate(COMMANDS[0] | {"pigments": [{"pigment": "PW4"}]})
    assert change(bench, paints, made, before.model_copy(update={"pigments": other.pigments})).version == 2
    with pytest.raises(Conflict) as caught:
        change(bench, paints, made, before.model_copy(update={"label": "Mine"}))
    assert caught.value.fields == ("label", "pigments")


@pytest.mark.parametrize(("service", "kind", "values"), ALL)
def test_what_is_archived_is_listed_apart_and_comes_back(bench: Bench, service: Any, kind: Any, values: Any) -> None:
    made = make(bench, service, kind.model_validate(values))
    for _ in range(2):
        with bench.unit() as work:
            service.archive(work.session, bench.actor, made.uid)
    with bench.db.read() as session:
        assert made.uid in {row.uid for row in service.all_archived(session, bench.actor)}
        assert made.uid not in {row.uid for row in service.all_open(session, bench.actor)}
    with pytest.raises(Refused, match="Bring it back first"):
        change(bench, service, made, stored(bench, service, made))
    with bench.unit() as work:
        service.restore(work.session, bench.actor, made.uid)
    with bench.db.read() as session:
        assert made.uid in {row.uid for row in service.all_open(session, bench.actor)}


@pytest.mark.parametrize(("service", "kind", "values"), ALL)
def test_a_stranger_finds_nothing(bench: Bench, stranger: Bench, service: Any, kind: Any, values: Any) -> None:
    made = make(bench, service, kind.model_validate(values))
    command = stored(bench, service, made)
    with stranger.db.read() as session:
        assert made.uid not in {row.uid for row in service.all_open(session, stranger.actor)}
        with pytest.raises(NotFound):
            service.get(session, stranger.actor, made.uid)
    for act in ("archive", "restore"):
        with stranger.unit() as work, pytest.raises(NotFound):
            service.__dict__[act](work.session, stranger.actor, made.uid)
    with pytest.raises(NotFound):
        change(stranger, service, made, command)


def test_an_edit_of_a_tube_can_be_undone(bench: Bench) -> None:
    made = paint(bench)
    before = stored(bench, paints, made)
    other = PaintCreate.model_validate(COMMANDS[0] | {"pigments": [{"pigment": "PW4"}]})
    with bench.unit("Changed") as work:
        paints.update(work.session, bench.actor, made.uid, before.model_copy(update={"pigments": other.pigments}))
    with bench.unit("Undo") as undoing:
        history.undo(undoing.session, bench.actor, work.change_uid)
    assert stored(bench, paints, made).pigments == before.pigments


def test_the_starter_shelf_goes_up_once(bench: Bench) -> None:
    with bench.db.read() as session:
        missing = shelf.read(session, bench.actor).starter_missing
    with bench.unit() as work:
        # The bench has a white, a black and spirits of its own.
        assert shelf.add_starter(work.session, bench.actor) == missing
    with bench.unit() as work:
        assert shelf.add_starter(work.session, bench.actor) == 0
    with bench.db.read() as session:
        found = shelf.read(session, bench.actor)
    assert found.starter_missing == 0
    assert len(found.paints) == len(shelf.STARTER_PIGMENTS)
    pigments = {paint.pigments[0].text.split()[0] for paint in found.paints}
    assert {"PW1", "PW6", "PBk9", "PBr7"} <= pigments


def test_the_shelf_shows_what_is_left_and_what_to_mind(bench: Bench) -> None:
    paint(bench, label="Lead", pigments=[{"pigment": "PW1"}], tube_ml=40, left_ml=4)
    paint(bench, label="Unknown", pigments=[{"pigment": "PB29"}])
    with bench.db.read() as session:
        found = {shown.label: shown for shown in shelf.read(session, bench.actor).paints}
    lead, unknown = found["Lead"], found["Unknown"]
    assert (lead.left, lead.is_low, lead.hazards, lead.drying) == (0.1, True, ("lead",), "dries very fast")
    assert (unknown.left, unknown.is_low, unknown.hazards) == (None, False, ())
    assert lead.oil == "linseed oil"
    assert lead.swatch.startswith("#")


def test_reading_the_shelf_takes_as_many_queries_however_full_it_is(
    bench: Bench, count_queries: Callable[[], int]
) -> None:
    def taken() -> int:
        count_queries()
        with bench.db.read() as session:
            shelf.read(session, bench.actor)
        return count_queries()

    empty = taken()
    for number in range(5):
        paint(bench, label=f"Tube {number}", pigments=[{"pigment": "PW6", "share_pct": 50}, {"pigment": "PW4"}])
    assert taken() == empty


def test_how_much_of_a_medium_stays(bench: Bench) -> None:
    parts = [
        {"material": "oil:linseed", "parts": 1},
        {"material": "solvent:gum_turpentine", "parts": 2},
        {"material": "alkyd_medium", "parts": 1, "non_volatile_pct": 60},
    ]
    made: Medium = make(bench, mediums, MediumCreate.model_validate({"label": "Three", "parts": parts}))
    with bench.db.read() as session:
        found = next(shown for shown in shelf.read(session, bench.actor).mediums if shown.uid == made.uid)
    assert found.stays_pct == pytest.approx(40)  # (1 + 0.6) of 4 parts: arithmetic
    assert found.hazards == ("rags", "solvent")
    assert found.parts[0] == "1 linseed oil"
