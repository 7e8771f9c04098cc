"""Rows as they were at each migration, to upgrade from. Add a revision here with every new migration; change none."""

from datetime import date, datetime, timedelta, timezone
from typing import Any

from sqlalchemy import Connection, MetaData, insert, select

Rows = dict[str, list[dict[str, Any]]]

_THEN = datetime(2026, 11, 2, 10, 0, tzinfo=timezone.utc)
_STAMPS = {
    "version": 1,
    "created_at": _THEN,
    "updated_at": _THEN,
    "archived_at": None,
}


def _record(row_id: int, uid: str, **values: Any) -> dict[str, Any]:
    return {"id": row_id, "uid": uid, **_STAMPS, **values}


_FIRST: Rows = {
    "studio": [
        _record(
            1,
            "studio-1",
            name="Invented",
            time_zone="Europe/Prague",
            confidence_pct=90,
            drops_per_ml=20,
            is_invented=True,
        )
    ],
    "place": [
        _record(
            1,
            "place-1",
            studio_id=1,
            name="Rack",
            light="room",
            light_factor=None,
            measured=False,
            temperature_c=20.0,
            relative_humidity_pct=50.0,
            notes="",
        )
    ],
    "place_month": [{"id": 1, "place_id": 1, "month": 1, "temperature_c": 17.5, "relative_humidity_pct": 40.0}],
    "paint": [
        _record(
            1,
            "paint-1",
            studio_id=1,
            label="White",
            oil="linseed",
            tube_ml=40.0,
            left_ml=12.5,
            paint_oil_g_per_100g=None,
            rub_out_oa_g_per_100g=None,
            density_g_cm3=None,
            notes="",
        )
    ],
    "paint_pigment": [{"id": 1, "paint_id": 1, "position": 0, "ci_name": "PW6", "variant": None, "share": 1.0}],
    "medium": [_record(1, "medium-1", studio_id=1, label="Oil and spirits", notes="")],
    "medium_part": [
        {
            "id": 1,
            "medium_id": 1,
            "position": 0,
            "kind": "oil",
            "oil": "linseed",
            "solvent": None,
            "parts": 1.0,
            "non_volatile": None,
        }
    ],
    "thinner": [_record(1, "thinner-1", studio_id=1, label="Spirits", solvent="odourless_mineral_spirits", notes="")],
    "mix": [_record(1, "mix-1", studio_id=1, label="Light", swatch="#eeeeee", notes="")],
    "mix_part": [
        {
            "id": 1,
            "mix_id": 1,
            "position": 0,
            "kind": "paint",
            "paint_id": 1,
            "medium_id": None,
            "thinner_id": None,
            "parts": 9.0,
            "metal": None,
            "percent_on_oil": None,
            "drops_per_10_ml": None,
        }
    ],
    "panel": [
        _record(
            1,
            "panel-1",
            studio_id=1,
            place_id=1,
            title="Two pears",
            width_mm=400,
            height_mm=500,
            support="hardboard",
            ground_kind="acrylic",
            ground_surface="matte",
            ground_pigment=None,
            ground_on=date(2026, 10, 1),
            due_on=date(2027, 1, 31),
            due_for="an exhibition",
            finished_on=None,
            notes="línea – ✓",
        )
    ],
    "layer": [
        _record(
            1,
            "layer-1",
            studio_id=1,
            panel_id=1,
            position=0,
            kind="underpainting",
            material="oil",
            thickness_preset="thin_opaque",
            wet_thickness_um=30.0,
            texture="smooth",
            thinner_id=1,
            solvent_pct=20.0,
            wet_in_wet=False,
            surface=None,
            sitting_min=90,
            planned_on=None,
            painted_at=_THEN,
            recipe_json={"wet_thickness_um": 30.0},
            forecast_json=None,
            notes="",
        )
    ],
    "layer_mix": [{"id": 1, "layer_id": 1, "position": 0, "mix_id": 1, "region": "sky", "area_share": 1.0}],
    "touch_test": [
        _record(
            1,
            "test-1",
            studio_id=1,
            layer_id=1,
            pressed_at=_THEN + timedelta(days=3),
            stage="tacky",
            place_on_panel="lower left",
            note="",
        )
    ],
    "change_set": [
        {
            "id": 1,
            "uid": "set-1",
            "studio_id": 1,
            "at": _THEN,
            "actor": "painter",
            "label": "Added a mix",
            "command_key": "key-1",
            "location": "/mixes/mix-1",
            "undoes_id": None,
            "undone_at": None,
        }
    ],
    "change": [
        {
            "id": 1,
            "change_set_id": 1,
            "position": 0,
            "table_name": "mix",
            "row_id": 1,
            "before": None,
            "after": {"id": 1},
        }
    ],
}

_WITH_RULE_LIMITS: Rows = _FIRST | {
    "rule_limit": [_record(1, "limit-1", studio_id=1, name="fat_gap_pass", value=0.08)],
}

_LAYER_AND_TEST: Rows = {
    "layer": [
        _FIRST["layer"][0] | {"verdict_json": {"verdict": "stop"}, "override_reason": "The scraped part only"},
    ],
    "touch_test": [_FIRST["touch_test"][0] | {"region": "sky"}],
}
_WITH_THE_FINISH: Rows = (
    _WITH_RULE_LIMITS
    | _LAYER_AND_TEST
    | {
        "finish_step": [
            _record(
                1,
                "step-1",
                studio_id=1,
                panel_id=1,
                action="ship",
                planned_on=date(2027, 1, 20),
                done_at=None,
                transit_c=4.0,
                note="in its box",
                verdict_json=None,
                override_reason="",
            )
        ],
        "finish_test": [
            _record(
                1,
                "finish-test-1",
                studio_id=1,
                panel_id=1,
                method="nail",
                result="no_dent",
                tested_at=_THEN + timedelta(days=40),
                place_on_panel="under the rebate",
                note="",
            )
        ],
        "sitting_end": [
            _record(
                1,
                "sitting-1",
                studio_id=1,
                ended_at=_THEN + timedelta(hours=3),
                covers_to=_THEN + timedelta(hours=3),
                rags="spread",
                brushes=True,
                lids=True,
                note="",
            )
        ],
        "sitting_mix": [
            {"id": 1, "sitting_end_id": 1, "position": 0, "mix_id": 1, "left_ml": 4.5, "kept_in": "sealed"}
        ],
    }
)

_WITH_LEARNING: Rows = _WITH_THE_FINISH | {
    "touch_test": [row | {"occasion": "seen"} for row in _WITH_THE_FINISH["touch_test"]],
    "learning_choice": [
        _record(1, "learning-1", studio_id=1, mode="frozen", frozen_at=_THEN + timedelta(days=9), since_at=None)
    ],
}

_WITH_STACKS: Rows = _WITH_LEARNING | {
    "stack_plan": [_record(1, "stack-1", studio_id=1, label="Two layers", notes="")],
    "stack_layer": [
        {
            "id": 1,
            "stack_plan_id": 1,
            "position": 0,
            "kind": "underpainting",
            "material": "oil",
            "mix_id": 1,
            "wet_thickness_um": 40.0,
            "solvent_pct": 10.0,
            "advice": "lean",
        }
    ],
}

_WITH_PLANNING: Rows = _WITH_STACKS | {
    "work_time": [
        _record(
            1,
            "hours-1",
            studio_id=1,
            painter="Mornings",
            weekdays="12345",
            on_date=None,
            rule="",
            start_min=540,
            end_min=720,
        )
    ],
    "studio_plan": [
        _record(1, "plan-1", studio_id=1, content_json={"sittings": []}, accepted_at=_THEN + timedelta(days=1))
    ],
}

_WITH_PEOPLE: Rows = _WITH_PLANNING | {
    "person": [
        {
            "id": 1,
            "uid": "person-1",
            "created_at": _THEN,
            "name": "Invented Person",
            "email": "person@studio.example",
            "password_hash": "$argon2id$v=19$m=19456,t=2,p=1$c2FsdA$aGFzaA",
            "password_set_at": _THEN,
            "code_seed": "JBSWY3DPEHPK3PXP",
            "codes_since": _THEN,
            "code_step": 59,
        }
    ],
    "membership": [
        {
            "id": 1,
            "uid": "member-1",
            "person_id": 1,
            "studio_id": 1,
            "role": "owner",
            "since": _THEN,
            "ended_at": None,
        }
    ],
    "sign_in": [
        {
            "id": 1,
            "uid": "sign-in-1",
            "token_hash": "a" * 64,
            "known_device_hash": "b" * 64,
            "person_id": 1,
            "studio_id": 1,
            "created_at": _THEN,
            "seen_at": _THEN,
            "expires_at": _THEN + timedelta(days=30),
            "device": "a browser",
            "revoked_at": None,
        }
    ],
    "invitation": [
        {
            "id": 1,
            "uid": "invitation-1",
            "token_hash": "c" * 64,
            "studio_id": 1,
            "role": "viewer",
            "meant_for": "the gallery",
            "made_by": "Invented Person",
            "made_by_key": "key-1",
            "created_at": _THEN,
            "expires_at": _THEN + timedelta(days=7),
            "used_at": None,
            "revoked_at": None,
        }
    ],
    "recovery_code": [{"id": 1, "person_id": 1, "code_hash": "d" * 64, "used_at": _THEN, "replaced_at": None}],
    "console_code": [
        {
            "id": 1,
            "code_hash": "e" * 64,
            "kind": "first_owner",
            "person_id": None,
            "created_at": _THEN,
            "expires_at": _THEN + timedelta(hours=1),
            "used_at": _THEN,
        }
    ],
    "sign_in_try": [{"id": 1, "key_hash": "f" * 64, "failures": 3, "last_at": _THEN}],
    "people_event": [
        {"id": 1, "studio_id": 1, "person_id": 1, "at": _THEN, "actor": "Invented Person", "label": "Set up the studio"}
    ],
}

_FIGURES: dict[str, Any] = {"temperature_c": 18.5, "relative_humidity_pct": 61.0, "light_lx": None}
_WITH_READINGS: Rows = _WITH_PEOPLE | {
    "reading_batch": [_record(1, "batch-1", studio_id=1, place_id=1, source="sensor", name="By the easel")],
    "reading_extent": [
        {"id": 1, "batch_id": 1, "readings": 1, "first_at": _THEN, "last_at": _THEN, "known_to": 490_000, "revision": 1}
    ],
    "reading": [{"id": 1, "batch_id": 1, "at": _THEN, **_FIGURES}],
    "reading_hour": [{"id": 1, "batch_id": 1, "hour": 490_000, "readings": 1, "revision": 1, **_FIGURES}],
    "reading_upload": [
        {"id": 1, "uid": "upload-1", "studio_id": 1, "place_id": 1, "name": "logger.csv", "packed": "H4sI"}
        | {"created_at": _THEN}
    ],
    "sensor_token": [
        {"id": 1, "uid": "token-1", "studio_id": 1, "place_id": 1, "batch_id": 1, "token_hash": "0" * 64}
        | {"created_at": _THEN, "revoked_at": None}
    ],
}

_WITH_SHARING: Rows = _WITH_READINGS | {
    "share_link": [
        _record(
            1,
            "link-1",
            studio_id=1,
            label="For the gallery",
            kind="page",
            scope="panels",
            shows="sizes section",
            expires_at=_THEN + timedelta(days=30),
            embed_origin="https://example.org",
        )
    ],
    "share_link_panel": [{"id": 1, "share_link_id": 1, "panel_id": 1}],
    "share_key": [
        {"id": 1, "share_link_id": 1, "token_hash": "0" * 64, "made_at": _THEN, "last_used_on": date(2026, 11, 20)}
    ],
    "published_event": [
        {
            "id": 1,
            "studio_id": 1,
            "event_uid": "event-1",
            "sequence": 2,
            "when_hash": "1" * 64,
            "content_hash": "2" * 64,
            "created_at": _THEN,
            "changed_at": _THEN + timedelta(days=1),
            "cancelled_at": None,
            "content_json": {"summary": "Two pears"},
        }
    ],
}
_WITH_DOUBTS: Rows = _WITH_SHARING | {
    "touch_test": [row | {"doubt": "unusual", "is_sure": True} for row in _WITH_SHARING["touch_test"]],
}

_WITH_MOVES: Rows = _WITH_DOUBTS | {
    "panel_move": [_record(1, "move-1", studio_id=1, panel_id=1, place_id=1, moved_at=_THEN + timedelta(days=2))],
}

_WITH_NIGHTS: Rows = _WITH_MOVES | {
    "place": [row | {"night_temperature_c": 14.0, "night_relative_humidity_pct": 60.0} for row in _WITH_MOVES["place"]],
    "place_month": [
        row | {"night_temperature_c": 12.0, "night_relative_humidity_pct": 65.0} for row in _WITH_MOVES["place_month"]
    ],
    "place_off": [
        {"id": 1, "place_id": 1, "position": 0, "weekdays": "67", "start_min": 1200, "end_min": 420}
        | {"from_on": None, "until_on": None, "temperature_c": 11.0}
    ],
}

_WITH_TOKENS: Rows = _WITH_NIGHTS | {
    "api_token": [
        {
            "id": 1,
            "uid": "token-1",
            "token_hash": "9" * 64,
            "person_id": 1,
            "studio_id": 1,
            "role": "viewer",
            "label": "A list",
            "made_by_key": "key-1",
            "created_at": _THEN,
            "expires_at": _THEN + timedelta(days=90),
            "used_at": _THEN + timedelta(days=2),
            "revoked_at": None,
        }
    ],
}
_WITH_PROMISES: Rows = _WITH_TOKENS | {
    "panel": [row | {"weight": 1.0, "finish": "", "packing_d": 1, "transit_d": 0} for row in _WITH_TOKENS["panel"]],
    "quote": [
        _record(1, "quote-1", studio_id=1, title="Two boats", for_whom="", content_json={"odds": 0.9}, panel_id=1)
    ],
}

_WITH_UNITS: Rows = _WITH_PROMISES | {
    "studio": [
        row
        | {
            "length_unit": "in",
            "volume_unit": "fl_oz",
            "temperature_unit": "f",
            "film_unit": "mil",
            "week_start": "sunday",
            "date_order": "mdy",
            "clock": "12",
            "decimal_mark": "comma",
        }
        for row in _WITH_PROMISES["studio"]
    ],
}

_WITH_LEFT_AT: Rows = _WITH_UNITS | {
    "paint": [row | {"left_at": _THEN - timedelta(days=1)} for row in _WITH_UNITS["paint"]],
}

_WITH_UNITS_OF_LINKS: Rows = _WITH_LEFT_AT | {
    "share_link": [row | {"units": "imperial"} for row in _WITH_LEFT_AT["share_link"]],
}

_WITH_DAYS_AWAY: Rows = _WITH_UNITS_OF_LINKS | {
    "work_time": [
        *(row | {"until_on": None, "label": ""} for row in _WITH_UNITS_OF_LINKS["work_time"]),
        _record(
            2,
            "away-1",
            studio_id=1,
            painter="",
            weekdays="",
            on_date=_THEN.date() + timedelta(days=30),
            until_on=_THEN.date() + timedelta(days=40),
            rule="",
            start_min=None,
            end_min=None,
            label="Away",
        ),
    ],
}

_WITH_LEARNED_SCALES: Rows = _WITH_DAYS_AWAY | {
    "learned_scales": [
        {
            "id": 1,
            "studio_id": 1,
            "revision": 3,
            "tests": 80,
            "model": "1",
            "scales_json": {
                "settings": [0.2, 0.1, -0.1, 0.15, 0.8],
                "sd": [0.1, 0.2, 0.05, 0.06, 0.2],
                "draws": [[0.21, 0.1, -0.1, 0.15, 0.8], [0.19, 0.1, -0.1, 0.15, 0.8]],
            },
            "learned_at": _THEN,
            "claimed_by": "",
            "claimed_at": None,
        }
    ],
}

_WITH_OWN_FEEDS: Rows = _WITH_LEARNED_SCALES | {
    "own_feed": [
        {
            "id": 1,
            "uid": "own-feed-1",
            "token_hash": "3" * 64,
            "studio_id": 1,
            "person_id": None,
            "painter": "First painter",
            "label": "Telephone",
            "made_by_key": "key-of-a-feed",
            "created_at": _THEN,
            "last_used_on": date(2026, 11, 21),
            "revoked_at": None,
        }
    ],
}

_WITH_LANGUAGE: Rows = _WITH_OWN_FEEDS | {"studio": [row | {"language": "nl"} for row in _WITH_OWN_FEEDS["studio"]]}

_WITH_CHANGES_OF_PEOPLE: Rows = _WITH_LANGUAGE | {
    "people_event": [
        _WITH_PEOPLE["people_event"][0]
        | {"uid": "people-event-1", "what": "role", "subject_uid": "membership-1", "before": "owner", "after": "viewer"}
        | {"undoes_uid": "people-event-0"}
    ]
}

_WITH_WHO_DID_IT: Rows = _WITH_CHANGES_OF_PEOPLE | {
    "change_set": [row | {"person_id": 1} for row in _WITH_CHANGES_OF_PEOPLE["change_set"]]
}

_WITH_FEEDS_OF_PAINTERS: Rows = _WITH_WHO_DID_IT | {
    "own_feed": [row | {"work_time_id": 1} for row in _WITH_WHO_DID_IT["own_feed"]]
}

_WITH_WAITING_TO_SHARE: Rows = _WITH_FEEDS_OF_PAINTERS | {
    "studio": [row | {"share_wait_d": 12.5} for row in _WITH_FEEDS_OF_PAINTERS["studio"]]
}

OLD_ROWS: dict[str, Rows] = {
    "0001": _FIRST,
    "0002": _WITH_RULE_LIMITS,
    "0003": _WITH_THE_FINISH,
    "0004": _WITH_LEARNING,
    "0005": _WITH_STACKS,
    "0006": _WITH_PLANNING,
    "0007": _WITH_PEOPLE,
    "0008": _WITH_READINGS,
    "0009": _WITH_SHARING,
    "0010": _WITH_DOUBTS,
    "0011": _WITH_MOVES,
    "0012": _WITH_NIGHTS,
    "0013": _WITH_TOKENS,
    "0014": _WITH_PROMISES,
    "0015": _WITH_UNITS,
    "0016": _WITH_LEFT_AT,
    "0017": _WITH_UNITS_OF_LINKS,
    "0018": _WITH_DAYS_AWAY,
    "0019": _WITH_LEARNED_SCALES,
    "0020": _WITH_OWN_FEEDS,
    "0021": _WITH_LANGUAGE,
    "0022": _WITH_CHANGES_OF_PEOPLE,
    "0023": _WITH_WHO_DID_IT,
    "0024": _WITH_FEEDS_OF_PAINTERS,
    "0025": _WITH_WAITING_TO_SHARE,
}
REVISIONS = tuple(OLD_ROWS)  # oldest first


def reflected(connection: Connection) -> MetaData:
    # The tables as they are in the database, since today's classes may know other columns.
    metadata = MetaData()
    metadata.reflect(connection)
    return metadata


def insert_rows(connection: Connection, revision: str) -> None:
    """Fill a database at ``revision`` with that revision's rows."""
    for table in reflected(connection).sorted_tables:
        if table.name in OLD_ROWS[revision]:
            connection.execute(insert(table), OLD_ROWS[revision][table.name])


def rows_of(connection: Connection, name: str, like: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What is in a table, cut to the columns that the old rows ``like`` have."""
    table = reflected(connection).tables[name]
    found = connection.execute(select(table).order_by(table.c.id)).mappings()
    return [{column: _aware(row[column]) for column in like[0]} for row in found]


def _aware(value: Any) -> Any:
    return value.replace(tzinfo=timezone.utc) if isinstance(value, datetime) and value.tzinfo is None else value
