"""The languages of the pages: every message is told, each place keeps its value, and what was typed stays."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.services.studios import Choices
from server.store.tables.base import Language
from server.web.language import gathering, template_texts
from server.web.language.catalogue import ENGLISH, LANGUAGES, file_of
from server.web.language.sentences import Sentences, sentences
from server.web.locales import language_asked, manner_of
from server.web.manner import Manner, told_as
from server.web.render import environment, told

OTHERS = tuple(language for language in LANGUAGES if language != ENGLISH)


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_has_its_translation(language: str):
    assert gathering.missing(language) == []


@pytest.mark.parametrize("language", OTHERS)
def test_the_file_of_a_language_is_in_step_with_the_sources(language: str):
    assert file_of(language).read_bytes() == gathering.written(language), "run ./umberday texts"


@pytest.mark.parametrize("language", OTHERS)
def test_every_translation_keeps_the_places_of_its_message(language: str):
    assert gathering.ill_formed(language) == []


def test_a_studio_may_choose_the_languages_that_are_spoken():
    assert set(Language.__args__) == {"auto", *LANGUAGES}  # type: ignore[attr-defined]


TEMPLATES = {
    "<p>Two words</p>": ["Two words"],
    "<p>Left: {{ left_ml | ml }} of it</p>": ["Left: {left_ml} of it"],
    '<p>See <a href="/x">the list</a> and <a href="/y">the rest</a>.</p>': [
        "See <a>the list</a> and <a2>the rest</a2>."
    ],
    "<p>{% if x %}One{% else %}Other{% endif %} way</p>": ["One", "Other", "way"],
    '<button title="{{ n }} ways">Go</button>': ["{n} ways", "Go"],
    '{{ button("Keep it", "plain", name="_keep") }}': ["Keep it"],
    '<b class="is-{{ "Wet" if x == "Wet" else "dry" }}">{{ figure }}</b>': [],
    '{{ {"a": "on a tray", "b": _("sealed")}[kept] }}': ["on a tray", "sealed"],
    "<strong>All of it</strong>": ["All of it"],
}


@pytest.mark.parametrize(("source", "messages"), TEMPLATES.items())
def test_what_is_read_of_a_template(source: str, messages: list[str]):
    assert template_texts.texts(source) == messages


def test_a_translation_may_turn_the_places_round_but_needs_each():
    source = '<p>{{ panel.title }} waits for <a href="/x">{{ day | day }}</a></p>'
    assert template_texts.told_in(source, lambda _: "Op <a>{day}</a> wacht {title}") == (
        '<p>Op <a href="/x">{{ day | day }}</a> wacht {{ panel.title }}</p>'
    )
    with pytest.raises(ValueError, match="needs the places"):
        template_texts.told_in(source, lambda _: "Op {day} wacht {title}")


def test_a_template_in_its_own_language_stays_letter_by_letter():
    for path in (gathering.ROOT / "templates").rglob("*.html"):
        source = path.read_text(encoding="utf-8")
        # Runs of white space within a sentence are the only thing that may differ.
        assert template_texts.told_in(source, str).split() == source.split(), path


@pytest.mark.parametrize("language", OTHERS)
def test_every_template_can_be_compiled(language: str, app):
    env = environment(gathering.ROOT / "templates", app.state.static_files, language)
    for name in env.list_templates():
        env.get_template(name)


MESSAGES = {
    "likely {span}": "waarschijnlijk {span}",
    "{low} to {high}": "{low} tot {high}",
    "Thursday": "donderdag",
    "Saturday": "zaterdag",
    "layers": "lagen",
    "Most likely it is {word} at an age of {days}.": "Met {days} is het waarschijnlijk {word}.",
    "dry through": "doorgedroogd",
    "days": "dagen",
    "wait until {what} is dry": "wacht tot {what} droog is",
    "the ground": "de grondering",
    "is it dry.": "is ze droog geworden.",
    "is it dry": "is ze droog",
    "leave out {what}": "laat {what} weg",
    "the wax": "de was",
    "nobody works until {day}": "tot {day} werkt er niemand",
    "or": "of",
}
TOLD = {
    "likely Thursday to Saturday": "waarschijnlijk donderdag tot zaterdag",
    "3 layers": "3 lagen",
    "is it dry": "is ze droog",  # what stands in the catalogue comes before what is cut from another
    "Most likely it is dry through at an age of 12 days.": "Met 12 dagen is het waarschijnlijk doorgedroogd.",
    "Leave out the wax, or wait until the ground is dry.": "Laat de was weg, of wacht tot de grondering droog is.",
    "Nobody works until Thursday.": "Tot donderdag werkt er niemand.",
    "Boats at dusk": "Boats at dusk",
    "“Thursday” to “Saturday”": "“Thursday” tot “Saturday”",
    "Wait until “the ground” is dry. 3 layers": "Wacht tot “the ground” droog is. 3 lagen",
    "": "",
    "50 µm": "50 µm",
}


@pytest.mark.parametrize(("english", "other"), TOLD.items())
def test_a_finished_sentence_is_taken_apart(english: str, other: str):
    assert Sentences(MESSAGES).told(english) == other


@pytest.mark.parametrize(
    ("english", "other"),
    [
        ("likely 1.5 to 2 days", "waarschijnlijk 1,5 tot 2 dagen"),
        ("3.0 layers", "3,0 lagen"),
        ("“0.5” to “1.5”", "“0.5” tot “1.5”"),
        ("1.2.2026", "1.2.2026"),
    ],
)
def test_figures_in_a_sentence_have_the_mark_of_the_language(english: str, other: str):
    """CLDR, Dutch: 1,5. Names and dates stay."""
    assert Sentences(MESSAGES, ",").told(english) == other


@settings(deadline=None)  # the first reads the file
@given(st.text(max_size=200))
def test_whatever_was_typed_never_breaks_a_page(text: str):
    """What is not recognised comes back as it was."""
    spoken = sentences("nl")
    assert spoken is not None
    assert isinstance(spoken.told(text), str)


@settings(deadline=None)
@given(st.text(alphabet="bcdfghjklmnpqrstvwxz ", min_size=1, max_size=60))
def test_what_is_no_english_stays(text: str):
    spoken = sentences("nl")
    assert spoken is not None
    assert spoken.told(text) == text


def test_english_is_told_as_it_stands():
    assert sentences(ENGLISH) is None
    with told_as(Manner(language=ENGLISH)):
        assert told("likely Thursday") == "likely Thursday"


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        ("", "en"),
        ("nl-BE,nl;q=0.9,en;q=0.8", "nl"),
        ("fr;q=0.9,nl;q=0.5,en;q=0.4", "nl"),
        ("en-US,nl;q=0.9", "en"),
        ("nl;q=0,en", "en"),
        ("*", "en"),
        ("nl;q=x", "nl"),
    ],
)
def test_the_device_asks_for_a_language(accepted: str, language: str):
    """Weights after RFC 9110, section 12.5.4; a weight that is none counts as full."""
    assert language_asked(accepted) == language


def test_a_language_that_was_chosen_brings_its_decimal_mark():
    """CLDR, Dutch: 1,5, day before month, 24 hours."""
    chosen = manner_of(Choices(language="nl"), "en-US")
    assert (chosen.language, chosen.decimal, chosen.date_order, chosen.clock) == ("nl", "comma", "dmy", "24")
    left = manner_of(Choices(), "nl")
    assert (left.language, left.decimal) == ("nl", "comma")
    assert manner_of(Choices(language="en"), "nl").decimal == "point"
