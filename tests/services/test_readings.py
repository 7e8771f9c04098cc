"""Readings of a place: each instant once, hours in step, batches set aside as a whole."""

from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from sqlmodel import Session, select

from server.formats.readings.columns import columns
from server.services import history, places
from server.services.errors import Invalid, NotFound, Refused
from server.services.readings import batches, files, sensors
from server.services.readings.batches import ReadingCreate
from server.services.readings.sensors import SensorCreate, WrongToken
from server.store.tables import Change, Reading, ReadingBatch, ReadingExtent, ReadingHour, SensorToken
from tests.services.conftest import NOW, Bench

T0 = datetime(2026, 11, 20, 10, 0, tzinfo=timezone.utc)
WHEN = (NOW, ZoneInfo("Europe/Prague"))


def some(first: datetime, temperatures: list[float], minutes: int = 10):
    at = [int((first + timedelta(minutes=minutes * n)).timestamp()) for n in range(len(temperatures))]
    return columns(at, temperatures, [50.0] * len(at), [float("nan")] * len(at))


def sensor_of(bench: Bench) -> tuple[sensors.Sensor, str]:
    with bench.unit("Sensor") as work:
        _, token = sensors.create(work.session, bench.actor, bench.place.uid, SensorCreate(name="By the easel"))
    with bench.db.read() as session:
        return sensors.who(session, bench.place.uid, token), token


def hours(session: Session) -> list[tuple[int, int, float]]:
    rows = session.exec(select(ReadingHour).order_by(ReadingHour.hour)).all()  # type: ignore[arg-type]
    return [(row.hour, row.readings, round(row.temperature_c, 9)) for row in rows]


def test_a_reading_is_typed_in_and_undone(bench: Bench) -> None:
    with bench.unit("Reading") as work:
        command = ReadingCreate(at=T0, temperature_c=18.5, relative_humidity_pct=61)
        batches.type_in(work.session, bench.actor, bench.place.uid, command)
    with bench.db.read() as session:
        [reading] = session.exec(select(Reading)).all()
        assert (reading.at, reading.temperature_c) == (T0, 18.5)
        place = places.get(session, bench.actor, bench.place.uid)
        [fact] = batches.of_place(session, bench.actor, place)
        assert (fact.readings, fact.source, fact.is_archived) == (1, "typed", False)
        entry = history.recent(session, bench.actor, 1)[0]
    with bench.unit("Undo") as work:
        history.undo(work.session, bench.actor, entry.uid)
    with bench.db.read() as session:
        [fact] = batches.of_place(session, bench.actor, place)
        assert fact.is_archived


@pytest.mark.parametrize("at", [NOW + timedelta(hours=1), datetime(1980, 1, 1, tzinfo=timezone.utc)])
def test_a_reading_of_an_impossible_moment_is_refused(bench: Bench, at: datetime) -> None:
    command = ReadingCreate(at=at, temperature_c=18, relative_humidity_pct=60)
    with pytest.raises(Invalid), bench.unit("Reading") as work:
        batches.type_in(work.session, bench.actor, bench.place.uid, command)


def test_readings_in_any_order_and_in_any_parts_make_the_same_hours(bench: Bench) -> None:
    warmth = [float(value) for value in np.random.default_rng(5).normal(18, 2, 100).round(2)]
    whole = some(T0, warmth)
    sensor, _ = sensor_of(bench)
    order = np.random.default_rng(6).permutation(100)
    for part in np.array_split(order, 7):
        assert sensors.send(bench.db, sensor, whole.of(part)).taken == len(part)
    with bench.db.read() as session:
        found = hours(session)
    expected: dict[int, list[float]] = {}
    for at, value in zip(whole.at_s.tolist(), warmth, strict=True):
        expected.setdefault(at // 3600, []).append(value)
    assert found == [(hour, len(each), round(float(np.mean(each)), 9)) for hour, each in sorted(expected.items())]


def test_sending_again_changes_nothing(bench: Bench) -> None:
    sensor, _ = sensor_of(bench)
    given = some(T0, [18.0, 19.0, 20.0])
    assert sensors.send(bench.db, sensor, given).taken == 3
    with bench.db.read() as session:
        before = hours(session)
    again = sensors.send(bench.db, sensor, some(T0, [28.0, 29.0, 30.0, 21.0]))
    assert (again.taken, again.already_there) == (1, 3)
    with bench.db.read() as session:
        assert hours(session)[0][:2] == (before[0][0], 4)
        assert [reading.temperature_c for reading in session.exec(select(Reading))] == [18, 19, 20, 21]


def test_a_sensors_revision_moves_once_an_hour(bench: Bench) -> None:
    """The hour it is filling is not known yet; the next one's first reading makes it so. A late reading counts too."""
    sensor, _ = sensor_of(bench)

    def revision() -> tuple[int, int]:
        with bench.db.read() as session:
            [extent] = session.exec(select(ReadingExtent)).all()
            return extent.revision, extent.known_to

    seen = []
    for n in range(18):
        sensors.send(bench.db, sensor, some(T0 + timedelta(minutes=10 * n), [18.0]))
        seen.append(revision()[0])
    assert len(set(seen)) == 3
    assert seen[5] == seen[0]
    before = revision()
    sensors.send(bench.db, sensor, some(T0 + timedelta(minutes=5), [18.0]))
    assert revision() == (before[0] + 1, before[1])


def test_a_token_opens_its_own_place_alone_until_it_is_revoked(bench: Bench, stranger: Bench) -> None:
    _, token = sensor_of(bench)
    with bench.db.read() as session:
        for place in (stranger.place.uid, "no-such-place"):
            with pytest.raises((WrongToken, NotFound)):
                sensors.who(session, place, token)
        with pytest.raises(WrongToken):
            sensors.who(session, bench.place.uid, token[:-1] + ("a" if token[-1] != "a" else "b"))
        kept = session.exec(select(SensorToken)).one()
        assert token not in str(kept.model_dump())
        images = [change.after for change in session.exec(select(Change))]
        assert token not in str(images)
    with bench.unit("Revoke") as work:
        sensors.revoke(work.session, bench.actor, kept.uid)
    with bench.db.read() as session, pytest.raises(WrongToken):
        sensors.who(session, bench.place.uid, token)


def test_nobody_else_sees_or_sets_aside_a_batch(bench: Bench, stranger: Bench) -> None:
    sensor_of(bench)
    with bench.db.read() as session:
        batch = session.exec(select(ReadingBatch)).one()
        with pytest.raises(NotFound):
            batches.of_place(session, stranger.actor, places.get(session, bench.actor, bench.place.uid))
    with pytest.raises(NotFound), stranger.unit("Away") as work:
        batches.set_aside(work.session, stranger.actor, batch.uid)


def upload(bench: Bench, text: str) -> str:
    return files.keep_aside(bench.db, bench.actor, bench.place.uid, ("logger.csv", text.encode()))


def take(bench: Bench, uid: str, **choices: object) -> int:
    with bench.db.read() as session:
        seen = files.preview(session, bench.actor, uid, bench.place.uid, WHEN)
        chosen = files.FileChoices(**{**seen.choices.model_dump(), **choices})
        seen = files.preview(session, bench.actor, chosen, bench.place.uid, WHEN)
    with bench.unit("Import") as work:
        return files.take_file(work.session, bench.actor, seen)[1].taken


FILE = "when,temp,hum\n2026-11-02 10:00,18.5,61\n2026-11-02 10:10,--,61\n2026-11-02 10:20,18,61\n"


def test_a_file_with_faults_is_taken_whole_or_not_at_all(bench: Bench) -> None:
    with pytest.raises(Invalid):
        take(bench, upload(bench, FILE))
    with bench.db.read() as session:
        assert session.exec(select(Reading)).first() is None
        assert session.exec(select(ReadingBatch)).first() is None
    assert take(bench, upload(bench, FILE), leave_out=True) == 2


def test_a_file_taken_again_brings_nothing_and_part_of_it_the_rest(bench: Bench) -> None:
    take(bench, upload(bench, FILE), leave_out=True)
    with pytest.raises(Invalid, match="already"):
        take(bench, upload(bench, FILE), leave_out=True)
    assert take(bench, upload(bench, FILE + "2026-11-02 10:30,18,61\n"), leave_out=True) == 1


def test_an_import_is_one_entry_of_the_history_and_one_undo(bench: Bench) -> None:
    rows = "".join(f"2026-11-0{day} {hour:02}:00,18,60\n" for day in range(1, 9) for hour in range(24))
    take(bench, upload(bench, "when,temp,hum\n" + rows))
    with bench.db.read() as session:
        entry = history.recent(session, bench.actor, 1)[0]
        assert len(session.exec(select(Change)).all()) == 1
    with bench.unit("Undo") as work:
        history.undo(work.session, bench.actor, entry.uid)
    with bench.db.read() as session:
        assert session.exec(select(ReadingBatch)).one().archived_at is not None
    assert take(bench, upload(bench, "when,temp,hum\n" + rows)) == 8 * 24


def test_a_file_is_kept_for_its_own_place_and_studio(bench: Bench, stranger: Bench) -> None:
    uid = upload(bench, FILE)
    with bench.db.read() as session, pytest.raises(Refused):
        files.preview(session, stranger.actor, uid, stranger.place.uid, WHEN)
    with pytest.raises(Invalid):
        upload(bench, "\x00\x01\x02")
