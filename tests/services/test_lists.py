"""Lists taken in: what cells say, what becomes of lines, and that the past teaches without being scored."""

import csv
import io
from collections.abc import Sequence
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.formats import csv_text
from server.formats.csv_read import decoded, sheet
from server.services import history, layers, learning_data, learning_report, mediums, panel_moves
from server.services.lists import values
from server.services.lists.fields import FIELDS, Kind, guessed
from server.services.lists.kinds import run
from server.services.lists.take_in import At, Outcome, Reading
from server.services.lists.write import lists
from server.services.whereabouts import whereabouts
from server.store.tables import Layer, Paint, Panel, Place, TouchTest
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("Europe/Prague")


def take(bench: Bench, kind: Kind, text: str, **options: str) -> Outcome:
    """Take a list in with the columns it seems to have; all or nothing, as the page does it."""
    cells = sheet(text, options.pop("delimiter", ","))
    columns: dict[str, int | str] = {f.name: "" for f in FIELDS[kind]}
    columns |= guessed(kind, cells.header)
    units = {
        f.name: values.unit_named(cells.header[column], f.unit) or f.unit
        for f in FIELDS[kind]
        if f.unit and isinstance(column := columns[f.name], int)
    }
    fixed = {name: value for name, value in options.items() if name not in {"decimal", "order"}}
    order = options.get("order", "")
    assert order in {"dmy", "mdy", "ymd", ""}
    reading = Reading(kind, cells, columns | fixed, units, options.get("decimal", "."), order)  # type: ignore[arg-type]
    with bench.db.write() as session:
        session.info["moment"] = NOW
        outcome = run(At(session, bench.actor, ZONE, NOW), reading, lambda error: str(error["msg"]))
        if outcome.faults:
            session.rollback()
    return outcome


def titles(bench: Bench) -> list[str]:
    with bench.db.read() as session:
        return list(session.scalars(select(col(Panel.title)).order_by(col(Panel.id))))


def test_a_panel_is_told_in_the_place_where_it_is_now(bench: Bench) -> None:
    with bench.db.write() as session:
        cellar = Place(studio_id=bench.actor.studio_id, name="Cellar", light="dim")
        session.add(cellar)
        session.flush()
    panel = bench.panel(title="Carried")
    bench.panel(title="Stayed")
    with bench.unit() as work:
        panel_moves.create(work.session, bench.actor, panel.uid, panel_moves.MoveCreate(place_uid=cellar.uid))
    with bench.db.read() as session:
        [told] = [each for each in lists(session, bench.actor, ZONE) if each.name == "panels"]
        place = told.header.index("Place")
        assert {row[0]: row[place] for row in told.rows()} == {"Carried": "Cellar", "Stayed": bench.place.name}


# Cells.


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [("0.5", ".", 0.5), ("0,5", ",", 0.5), ("1 234,5", ",", 1234.5), ("1,234.5", ".", 1234.5), (".5", ".", 0.5)],
)
def test_numbers_are_read_with_their_decimal_sign(text: str, decimal: str, value: float) -> None:
    assert values.number(text, decimal) == value


@pytest.mark.parametrize(("text", "decimal"), [("0,5", "."), ("1.5", ","), ("1,23.4", "."), ("ten", "."), ("1-2", ".")])
def test_what_is_no_such_number_is_no_number(text: str, decimal: str) -> None:
    with pytest.raises(ValueError, match="not a number"):
        values.number(text, decimal)


@pytest.mark.parametrize(
    ("text", "kept", "unit", "value"),
    [
        ("12", "cm", "in", 30.48),  # the international inch: 2.54 cm exactly
        ("12 in", "cm", "cm", 30.48),
        ('8"', "cm", "cm", 20.32),
        ("300 mm", "cm", "cm", 30.0),
        ("2", "µm", "mil", 50.8),  # a mil is a thousandth of an inch
        ("2 mil", "µm", "µm", 50.8),
        ("1", "ml", "fl oz", 29.5735295625),  # NIST Handbook 44, appendix C
        ("10", "g/ml", "lb/gal", 1.19826427),  # NIST Handbook 44, appendix C
    ],
)
def test_units_are_turned_into_ours(text: str, kept: str, unit: str, value: float) -> None:
    assert values.measure(text, ".", kept, unit) == pytest.approx(value, rel=1e-8)


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["28.11.2026", "03.04.2026"], "dmy"),
        (["11/28/2026"], "mdy"),
        (["03/04/2026"], ""),
        (["28/11/2026", "11/28/2026"], ""),
        (["2026-11-28"], "dmy"),
        (["04.04.2026"], "dmy"),
    ],
)
def test_the_order_of_a_day_is_asked_where_numbers_do_not_tell(texts: list[str], order: str) -> None:
    assert values.order_of(texts) == order


@pytest.mark.parametrize(
    ("text", "order", "on"),
    [
        ("2026-11-28", "", date(2026, 11, 28)),
        ("28.11.26", "dmy", date(2026, 11, 28)),
        ("3/4/2026", "mdy", date(2026, 3, 4)),
        ("3/4/2026", "dmy", date(2026, 4, 3)),
        ("28 Nov 2026", "", date(2026, 11, 28)),
        ("November 28, 2026", "", date(2026, 11, 28)),
        ("1.2.98", "dmy", date(1998, 2, 1)),
    ],
)
def test_days_are_read(text: str, order: values.Order, on: date) -> None:
    assert values.day(text, order, date(2026, 11, 25)) == on


@pytest.mark.parametrize("text", ["30.2.2026", "13/13/2026", "soon", "Mar 2026", "31 Feb 2026", "3/4/2026"])
def test_what_is_no_day_is_told(text: str) -> None:
    order: values.Order = "" if text == "3/4/2026" else "dmy"
    with pytest.raises(ValueError, match="day"):
        values.day(text, order, date(2026, 11, 25))


def test_moments() -> None:
    now = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)
    assert values.moment("2026-11-02 14:30", "", ZONE, now) == (datetime(2026, 11, 2, 14, 30, tzinfo=ZONE), True)
    assert values.moment("2 Nov 2026 2:30 pm", "", ZONE, now) == (datetime(2026, 11, 2, 14, 30, tzinfo=ZONE), True)
    assert values.moment("2026-11-02", "", ZONE, now) == (datetime(2026, 11, 2, 12, tzinfo=ZONE), False)
    assert values.moment("2026-11-25", "", ZONE, now) == (now, False)  # noon is still to come
    with pytest.raises(ValueError, match="time"):
        values.moment("2026-11-02 25:00", "", ZONE, now)


# Lists.

PANELS = (
    "Title;Width (in);Height (in);Support;Ground;Due\nWinter;12;16;canvas;gesso;31.1.2027\nPears;8,5;11;board;oil;\n"
)


def test_panels_come_in_with_their_units(bench: Bench) -> None:
    outcome = take(bench, "panels", PANELS, delimiter=";", decimal=",", order="dmy")
    assert outcome.faults == ()
    assert outcome.count("new") == 2
    with bench.db.read() as session:
        winter, pears = session.scalars(select(Panel).order_by(col(Panel.id))).all()
    assert (winter.width_mm, winter.height_mm, winter.support) == (304.8, 406.4, "stretched_canvas")
    assert (winter.ground_kind, winter.due_on) == ("acrylic", date(2027, 1, 31))
    assert (pears.width_mm, pears.support, pears.ground_kind) == (215.9, "hardboard", "oil")


def test_the_same_list_again_changes_nothing(bench: Bench) -> None:
    options = {"delimiter": ";", "decimal": ",", "order": "dmy"}
    take(bench, "panels", PANELS, **options)
    again = take(bench, "panels", PANELS, **options)
    assert (again.count("new"), again.count("there")) == (0, 2)
    assert titles(bench) == ["Winter", "Pears"]


def test_one_bad_line_keeps_all_out_and_is_told_by_line_and_column(bench: Bench) -> None:
    text = "Panel,Size,Support,Ground\nWinter,40 x 50 cm,linen,gesso\nPears,large,velvet,gesso\n,1x1,linen,gesso\n"
    outcome = take(bench, "panels", text)
    assert [(f.line, f.column) for f in outcome.faults] == [(3, "Size"), (4, "Panel")]
    assert titles(bench) == []
    told = take(bench, "panels", text.replace("large", "4 x 5 in"))
    assert [(f.line, f.column) for f in told.faults] == [(3, "Support"), (4, "Panel")]
    assert "stretched linen" in told.faults[0].message


def test_a_column_that_is_needed_is_asked_for(bench: Bench) -> None:
    outcome = take(bench, "panels", "Panel,Size\nWinter,40 x 50\n")
    assert {fault.column for fault in outcome.faults} == {"Support", "Ground"}
    assert (
        take(bench, "panels", "Panel,Size\nWinter,40 x 50\n", support="hardboard", ground_kind="acrylic").faults == ()
    )


def test_limits_of_the_services_hold_for_lists_too(bench: Bench) -> None:
    outcome = take(bench, "panels", "Panel,Size,Support,Ground\nWinter,40 x 5000,linen,gesso\n")
    assert [(f.line, "1000" in f.message) for f in outcome.faults] == [(2, True)]


SHELF = (
    "Name,Pigments,Oil,Tube ml\nTitanium,PW6,safflower,40\nGreen,PB29 60; PY42 40,,\n"
    "Earth,burnt sienna,linseed oil,37\nTitanium,PW6,,\n"
)


def test_the_shelf_comes_in(bench: Bench) -> None:
    outcome = take(bench, "shelf", SHELF)
    assert outcome.faults == ()
    assert (outcome.count("new"), outcome.count("there")) == (3, 1)
    wrong = take(bench, "shelf", "Name,Pigments\nBlue,PB999\nMud,PW6 60; PBk9 60\n")
    assert [(f.line, f.column) for f in wrong.faults] == [(2, "Pigments"), (3, "Pigments")]


MEDIUMS = (
    "Kind,Label,Made of,Notes\nmedium,Half and half,linseed 1; gum turpentine 1,shake it\n"
    "medium,Gel,alkyd medium 2 (40 % stays); walnut oil 0.5,\nmedium,Old one,stand linseed + dammar + turps,\n"
)


def test_mediums_come_in_as_the_shelf_has_them(bench: Bench) -> None:
    outcome = take(bench, "shelf", MEDIUMS)
    assert outcome.faults == ()
    assert outcome.count("new") == 3
    with bench.db.read() as session:
        told = {
            medium.label: [(row.material, row.parts, row.non_volatile_pct) for row in found.parts]
            for medium in mediums.all_open(session, bench.actor)
            for found in [mediums.public(session, medium)]
        }
    assert told["Half and half"] == [("oil:linseed", 1, None), ("solvent:gum_turpentine", 1, None)]
    assert told["Gel"] == [("alkyd_medium", 2, pytest.approx(40)), ("oil:walnut", 0.5, None)]
    assert [name for name, _, _ in told["Old one"]] == ["oil:stand_linseed", "soft_resin", "solvent:gum_turpentine"]
    assert take(bench, "shelf", MEDIUMS).count("there") == 3
    wrong = take(bench, "shelf", "Kind,Label,Made of\nmedium,A,honey 2\nmedium,B,linseed 1 (40 % stays)\n")
    assert [(f.line, f.column) for f in wrong.faults] == [(2, "Made of"), (3, "Made of")]
    assert "honey 2: nothing is called that" in wrong.faults[0].message


LAYERS = (
    "Panel,Kind,Mix,Wet thickness (mil),Painted\n"
    "Two pears,second,White 60 %; Black 40 %,2,2026-10-20\nTwo pears,first,White,thin opaque,2026-10-02 10:30\n"
)


def test_layers_come_in_by_the_days_they_were_painted(bench: Bench) -> None:
    bench.panel()
    outcome = take(bench, "layers", LAYERS)
    assert outcome.faults == ()
    with bench.db.read() as session:
        first, second = session.scalars(select(Layer).order_by(col(Layer.position))).all()
    assert (first.kind, first.wet_thickness_um, second.kind) == ("first", 30.0, "second")
    assert second.wet_thickness_um == pytest.approx(50.8)
    assert second.painted_at == datetime(2026, 10, 20, 12, tzinfo=ZONE)
    assert take(bench, "layers", LAYERS).count("there") == 2
    unknown = take(bench, "layers", LAYERS.replace("White,", "Ochre,").replace("Two pears,second", "Two plums,second"))
    assert [(f.line, f.column) for f in unknown.faults] == [(2, "Panel"), (3, "Mix")]


def test_a_paint_of_the_shelf_stands_for_itself(bench: Bench) -> None:
    bench.panel()
    take(bench, "shelf", SHELF)
    text = "Panel,Kind,Mix,Wet thickness,Painted\nTwo pears,first,Titanium,40,2026-10-02\n"
    assert take(bench, "layers", text).faults == ()


def past(count: int) -> tuple[str, str, str]:
    """A notebook: so many panels of white that were still wet twice as long as the book has it. Invented."""
    panels, layers_, tests = ["Panel,Size,Support,Ground"], ["Panel,Mix,Wet thickness,Painted"], ["Panel,Pressed,Stage"]
    for number in range(count):
        panels.append(f"Study {number},20 x 20,hardboard,acrylic")
        on = date(2026, 3, 1) + timedelta(days=3 * number)
        layers_.append(f"Study {number},White,40,{on}")
        for days, stage in ((6, "wet"), (14, "tacky"), (24, "tacky"), (38, "touch dry")):
            tests.append(f"Study {number},{on + timedelta(days=days)},{stage}")
    return "\n".join(panels), "\n".join(layers_), "\n".join(tests)


def test_a_notebook_teaches_and_is_not_scored(bench: Bench) -> None:
    panels, layers_, tests = past(8)
    for kind, text in (("panels", panels), ("layers", layers_), ("tests", tests)):
        outcome = take(bench, kind, text)  # type: ignore[arg-type]
        assert outcome.faults == ()
        assert outcome.count("new") > 7
        assert take(bench, kind, text).count("new") == 0  # type: ignore[arg-type]
    with bench.db.read() as session:
        places = whereabouts(session, bench.actor.studio_id)
        learned = learning_data.read(session, bench.actor.studio_id, places)
        report = learning_report.report(session, bench.actor, ZONE)
    assert (learned.layers, learned.tests) == (8, 32)
    assert report.promises == ()
    assert report.scored == 0
    # What is painted next is promised later dates than the book has, and these are scored.
    layer = bench.painted(bench.panel(), days_ago=0)
    assert layer.forecast_json is not None
    told = layer.forecast_json["stages"]["dry_to_touch"]["p50_d"]
    assert told > 1.3 * layer.forecast_json["book"]["dry_to_touch"]["p50_d"]
    assert "learned" in layer.forecast_json


def test_a_correction_makes_no_promise_of_the_past(bench: Bench) -> None:
    bench.panel()
    take(bench, "layers", LAYERS)
    with bench.unit("Corrected") as work:
        layer = work.session.scalars(select(Layer).where(col(Layer.kind) == "second")).one()
        command = layers.public(work.session, layer).model_copy(update={"wet_thickness_um": 80.0})
        changed = layers.update(work.session, bench.actor, layer.uid, command)
        assert changed.forecast_json is not None
        assert "learned" not in changed.forecast_json


def test_tests_name_their_layer_by_number_or_by_the_day(bench: Bench) -> None:
    bench.panel()
    take(bench, "layers", LAYERS)
    text = (
        "Panel,Layer,Pressed,Stage,Where\nTwo pears,1,2026-10-05,sticky,edge\n"
        "Two pears,,2026-10-06,dry,\nTwo pears,,2026-10-20,wet,\n"
    )
    assert take(bench, "tests", text).faults == ()
    with bench.db.read() as session:
        names = dict(session.execute(select(col(Layer.id), col(Layer.kind))).all())
        found = session.scalars(select(TouchTest).order_by(col(TouchTest.pressed_at))).all()
    assert [(names[t.layer_id], t.stage) for t in found] == [
        ("first", "tacky"),
        ("first", "touch_dry"),
        ("second", "wet"),
    ]
    wrong = (
        "Panel,Layer,Pressed,Stage\nTwo pears,3,2026-11-05,dry\n"
        "Two pears,1,2026-10-01,dry\nTwo pears,1,2027-10-01,dry\n"
    )
    assert [f.line for f in take(bench, "tests", wrong).faults] == [2, 3, 4]


def as_lists(bench: Bench) -> dict[str, tuple[Sequence[str], list[tuple[str, ...]]]]:
    with bench.db.read() as session:
        return {each.name: (each.header, list(each.rows())) for each in lists(session, bench.actor, ZONE)}


def test_what_goes_out_comes_back_in(bench: Bench, stranger: Bench) -> None:
    """The lists of one studio make the same lists in another, formulas and all."""
    with bench.unit("Shelf") as work:
        paint = work.session.scalars(select(Paint).where(col(Paint.studio_id) == bench.actor.studio_id)).first()
        assert paint is not None
        paint.label, paint.notes = "=cmd|' /C calc'!A0", '-1; "quoted"\nand a line'
    panel = bench.panel(title="@SUM(1)", notes="+1", due_for="'=already guarded")
    layer = bench.painted(panel, days_ago=9, mixes=[{"mix_uid": bench.white.uid, "area_pct": 60, "region": "sky"}])
    bench.layer(panel, kind="glaze")
    with bench.unit("Pressed") as work:
        test = TouchTest(
            studio_id=bench.actor.studio_id, layer_id=layer.id or 0, pressed_at=NOW, stage="tacky", note="=1"
        )
        work.session.add(test)
    take(bench, "shelf", MEDIUMS)
    out = as_lists(bench)
    assert ("medium", "Gel", "", "alkyd medium 2 (40 % stays); walnut 0.5") in {row[:4] for row in out["shelf"][1]}
    kinds: tuple[Kind, ...] = ("shelf", "panels", "layers", "tests")
    for kind in kinds:
        header, rows = out[kind]
        data = b"".join(csv_text.written(header, rows))
        for cells in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")):
            assert not [cell for cell in cells if cell[:1] and cell[0] in "=+-@\t\r"]
        outcome = take(stranger, kind, decoded(data).text)
        assert outcome.faults == (), kind
    back = as_lists(stranger)
    for kind in ("panels", "layers", "tests"):
        assert back[kind] == out[kind]
    assert set(out["shelf"][1]) <= set(back["shelf"][1])


def test_one_undo_takes_a_list_back(bench: Bench) -> None:
    cells = sheet(PANELS, ";")
    columns: dict[str, int | str] = {f.name: "" for f in FIELDS["panels"]}
    reading = Reading("panels", cells, columns | guessed("panels", cells.header), {"width_cm": "in"}, ",", "dmy")
    with bench.unit("Took in 2 panels") as work:
        run(At(work.session, bench.actor, ZONE, NOW), reading, str)
        uid = work.change_uid
    with bench.unit("Undid") as work:
        history.undo(work.session, bench.actor, uid)
    with bench.db.read() as session:
        assert all(panel.archived_at for panel in session.scalars(select(Panel)))
