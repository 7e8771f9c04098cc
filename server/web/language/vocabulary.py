"""Words that people read and that no literal shows to be words: names of days and months, and what data files say."""

import csv
import tomllib
from collections.abc import Iterator
from pathlib import Path

MONTHS = (
    "January February March April May June July August September October November December "
    "Jan Feb Mar Apr Jun Jul Aug Sep Oct Nov Dec"
)
DAYS = "Monday Tuesday Wednesday Thursday Friday Saturday Sunday Mon Tue Wed Thu Fri Sat Sun"
# Single words that the program puts into its sentences.
SINGLE = (
    "today tomorrow yesterday noon morning afternoon evening night more next detail dry learned on off and or to "
    "earlier later slower faster quicker longer shorter thin normal thick is are was were"
)
DAYS_AND_MONTHS = frozenset(f"{MONTHS} {DAYS}".split())
# Pieces that sentences are put together from.
PIECES = (
    *("by {day}", "from {day}", "until {day}", "since {day}", "about {day}", "likely {days}"),
    "against the reference room",
    "the {kind} of “{title}”",
    "{kind} of “{title}”",
    "Did for “{title}”: {what}",
    "Planned for “{title}”: {what}",
    "{share} in “{mix}” for “{layer}”",
    *("Agree on {day} instead", "Work on {day}", "Work every free Saturday until {day}"),
    "the plan counts what is on the panel as ready only from {when}",  # in plans kept from before
    "what is on the panel may be painted over from {when}",  # in plans kept from before
    "pinned to this time",  # in plans kept from before
    *("Leave out “{kind}”, {wet_thickness_um} µm", "Lay “{kind}” {thin} µm thick instead of {now} µm"),  # kept so too
    "{quicker_pct} % {label} in “{label2}” for “{kind}”",  # in plans kept from before
    "any sooner, and {names} would come too late for its paint",
    "as soon as {name} is ready",
    "too little time",
    "Drying speed {low} to {high} against the reference room so far.",
)
# Labels of the history, and what the demo's own tell.
LABELS = (
    *(f"{did} the {{kind}} of “{{title}}”" for did in ("Planned", "Painted")),
    *(f"{did} “{{kind}}” on “{{title}}”" for did in ("Planned", "Recorded")),
    *(f"{did}: {{what}}" for did in ("Put back to planned", "Marked as mistaken", "Counts again")),
    *(f"{did} “{{title}}” to “{{place}}”" for did in ("Moved", "Corrected a move:", "Took back a move:")),
    "Moved after all: “{title}” to “{place}”",
    "Moved the {kind} of “{title}” to {day} and pinned it there",  # in histories kept from before
    "Moved the {kind} of “{title}” to a day that is {way}",  # in histories kept from before
    *("Pinned a sitting", "Let a sitting move again", "Left a day free: set the plan right"),  # kept from before
    "Took away hours of {painter}: {hours}",  # in histories kept from before
    *("Moved “{kind}” on “{title}” later", "Moved “{kind}” on “{title}” sooner"),
    *("Planned {step} of “{title}”", "Added “{title}”", "Tested “{title}”: {what}"),
    *("Set up the rooms and the shelf", "frame", "ship", "nail"),
    *("Took back the invitation for {meant_for}", "Let the invitation for {meant_for} open again"),
    *(f"{{name}} is now {role}" for role in ("owner", "painter", "assistant", "viewer")),
    *(f"{{name}} came in as {role}" for role in ("owner", "painter", "assistant", "viewer")),
)
# Days that repeat, and the parts of one.
REPEATED = (
    *(f"{day}s" for day in DAYS.split()[:7]),
    *(f"{every} {{days}}" for every in ("every", "every second", "every third", "every fourth")),
    *(f"{every} {{days}} until {{day}}" for every in ("every", "every second", "every third", "every fourth")),
    *(f"the {nth} {{weekday}}" for nth in ("first", "second", "third", "fourth", "last")),
    "A press this {part} tells most: {odds} then",
    "{day} at {clock}, with {whom}",
)
# Figures with their words, and words at drawings and tables.
TOLD_FIGURES = (
    *("{pct} % slower", "{pct} % faster", "{pct} % thinner", "1 in 2", "9 in 10"),
    *("{layer} µm wet", "{layer} mil wet", "{figure}\N{NO-BREAK SPACE}of\N{NO-BREAK SPACE}that", "{one}, then {other}"),
    *("times", "smooth", "within", "outside", "skin", "brush", "cover"),
    *("Next, once it is touch-dry ({gate}): {layer}", "9 in 10 between {low} and {high}"),
    *("swab: colour on it", "Swab: colour on it"),
)
# Sources of the rules that are no titles, and one title that holds words of the program.
CITED = (
    *("limits are our own choice", "common studio practice, no measurement found"),
    *("painters' handbook extracts (rules of layering)", "framers' forum threads", "technical note on soft wrapping"),
    *("painters' own accounts of moving wet work", "Parkhurst, The Painter in Oil, 1898"),
)
# File in the science's data -> its columns of words; a semicolon separates several names.
COLUMNS = {
    "grounds.csv": ("label",),
    "light.csv": ("label",),
    "oils.csv": ("label",),
    "parameters.csv": ("meaning",),
    "pigments.csv": (
        "trade_names",
        "variant",
        *("density_confidence", "drying_basis", "drying_confidence", "hazard_confidence"),
        *("oil_absorption_basis", "oil_absorption_confidence"),
    ),
    "solvents.csv": ("label",),
    "thickness_presets.csv": ("label",),
}


def texts(data: Path) -> Iterator[tuple[str, str]]:
    """(file, words) of every cell that is read; of days and months without a file."""
    for word in f"{MONTHS} {DAYS} {SINGLE}".split():
        yield "", word
    for piece in (*PIECES, *LABELS, *REPEATED, *TOLD_FIGURES, *CITED):
        yield "", piece
    named = tomllib.loads((data / "sources.toml").read_text(encoding="utf-8"))
    for words in (*named["confidence"].values(), *named["words"]):
        yield "sources.toml", words
    for name, columns in COLUMNS.items():
        with (data / name).open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                cells = (row[column].split(";") for column in columns)
                for words in filter(None, (word.strip() for cell in cells for word in cell)):
                    yield name, words.replace(" um ", " µm ")
