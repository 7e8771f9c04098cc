"""The record of a panel as text and as JSON: what a painter, a buyer or a conservator reads in it."""

import json
from dataclasses import replace
from datetime import date, datetime, timezone

from hypothesis import given
from hypothesis import strategies as st

from server.formats import record as sheet
from server.formats.record import (
    WIDTH,
    AdditionUsed,
    LayerRecord,
    MixUsed,
    Overruled,
    PaintUsed,
    PanelRecord,
    PigmentUsed,
    StepRecord,
    to_json,
    to_text,
)

AT = datetime(2026, 10, 1, 10, 0, tzinfo=timezone.utc)
UMBER = PigmentUsed("PBr7", "raw umber", "raw umber", 0.7)
WHITE = PigmentUsed("PW6", "", "titanium white", 0.3)
MIX = MixUsed(
    "Warm shadow",
    0.6,
    "#6d5c49",
    (PaintUsed(2.0, "linseed oil", (UMBER, WHITE)), PaintUsed(1.0, "walnut oil", (WHITE,))),
    (AdditionUsed("solvent", "1 part odourless mineral spirits", 1.0),),
)
AGAINST = Overruled("stop", ("The layer below is not touch-dry (R03)",), "Only at the dry edge")
LAYER = LayerRecord(
    number=1,
    kind="underpainting",
    material="oil",
    painted_at=AT,
    wet_um=30.0,
    film_um=17.25,
    texture="smooth",
    surface="matte",
    state="firm now",
    dry_through="dry through likely by 9 October",
    mixes=(MIX,),
    tests=(sheet.TestMade(AT, "touch test: firm", "table edge", ""),),
    overruled=AGAINST,
    notes="",
)
RECORD = PanelRecord(
    title="Two pears",
    studio="Reedmace Yard",
    is_invented=True,
    made_on=date(2026, 11, 25),
    zone="Europe/Lisbon",
    width_cm=40.0,
    height_cm=30.5,
    support="hardboard",
    ground="acrylic primer, matte",
    ground_on=date(2026, 9, 1),
    place="Rack",
    finished_on=None,
    notes="Keep the cloth cool.",
    layers=(LAYER,),
    steps=(StepRecord("Sent", True, date(2026, 11, 1), 4.0, "in its box", replace(AGAINST, verdict="caution")),),
    tests=(sheet.TestMade(AT, "Fingernail: no dent", "", "hard"),),
    varnish="none",
    advice=("Wait.",),
    cautions=(("Oily rags", "Lay them flat outdoors."),),
)


def test_the_text_names_everything():
    text = to_text(RECORD)
    for words in (
        "An invented studio",
        "40 x 30.5 cm",
        "acrylic primer, matte, laid 1 September 2026",
        "1. underpainting, painted 1 October 2026",
        "30 um wet, a film of about 17 um; oil, smooth",
        "Warm shadow, 60 % of the area:",
        "2 parts PBr7 (raw umber) 70 %, PW6 (titanium white) 30 % in linseed oil",
        "1 part PW6 (titanium white) in walnut oil",
        "1 part odourless mineral spirits",
        "1 October 2026: touch test: firm (table edge)",
        "The rules said stop: The layer below is not touch-dry (R03).",
        "Done all the same: Only at the dry edge",
        "Sent, 1 November 2026, 4 C on the way: in its box",
        "1 October 2026: Fingernail: no dent (hard)",
        "Oily rags: Lay them flat outdoors.",
    ):
        assert words in text, words


def test_each_pigment_is_listed_once_by_its_colour_index_name():
    listed = to_text(RECORD).partition("Pigments by Colour Index name")[2].partition("Advice")[0]
    assert [line.strip() for line in listed.splitlines() if line.startswith("  ")] == [
        "PBr7 (raw umber)",
        "PW6 (titanium white)",
    ]


def test_the_json_holds_the_same_and_says_what_it_is():
    record = json.loads(to_json(RECORD))
    assert (record["format"], record["version"]) == ("umberday-panel-record", 1)
    assert record["layers"][0]["painted_at"] == "2026-10-01T10:00:00+00:00"
    assert record["layers"][0]["overruled"]["findings"] == ["The layer below is not touch-dry (R03)"]
    assert record["ground_on"] == "2026-09-01" and record["finished_on"] is None
    assert record["cautions"] == [{"what": "Oily rags", "text": "Lay them flat outdoors."}]


@given(st.text(max_size=300), st.text(max_size=300))
def test_no_text_breaks_the_sheet(title: str, note: str):
    record = replace(RECORD, title=title or "x", notes=note, layers=(replace(LAYER, notes=note),))
    json.loads(to_json(record))
    for line in to_text(record).splitlines():
        assert len(line) <= max(WIDTH, len(title))
