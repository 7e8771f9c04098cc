"""What is read of the history for a record's page: its own rows, and none of what else was changed with it."""

from datetime import timedelta

from sqlalchemy import event
from sqlmodel import select

from server.services import history, planning_plans
from server.store.tables import Change, Layer
from tests.services.conftest import NOW, Bench


def test_only_the_rows_that_are_told_are_read(bench: Bench) -> None:
    """A plan that is taken changes every layer to come, and its own row holds all its sittings."""
    panel = bench.panel()
    uids = [bench.layer(panel, kind=kind).uid for kind in ("underpainting", "glaze", "scumble")]
    at = (NOW + timedelta(days=3)).isoformat()
    sittings = [{"id": uid, "start_at": at} for uid in uids]
    with bench.unit("Made a plan") as work:
        plan = planning_plans.propose(work.session, bench.actor, {"sittings": sittings}).uid
    with bench.unit("Took the plan") as work:
        planning_plans.accept(work.session, bench.actor, plan)
    read: list[str] = []

    def note(change: Change, _: object) -> None:
        read.append(change.table_name)

    event.listen(Change, "load", note)
    try:
        with bench.db.read() as session:
            of_plans = history.of_kind(session, bench.actor, "studio_plan")
            assert read == []
            of_layer = history.of_record(session, bench.actor, "layer", uids[0])
            ids = {layer.uid: layer.id for layer in session.exec(select(Layer))}
            of_what = set(read)
            of_plan = history.of_record(session, bench.actor, "studio_plan", plan)
    finally:
        event.remove(Change, "load", note)
    assert [(entry.label, entry.rows) for entry in of_plans] == [("Took the plan", ()), ("Made a plan", ())]
    assert of_layer[0].label == "Took the plan"
    assert {row.row_id for row in of_layer[0].rows} == {ids[uids[0]]} and "studio_plan" not in of_what
    assert [[field.name for field in row.fields] for row in of_plan[0].rows] == [["accepted_at"]]
