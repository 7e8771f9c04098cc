"""What is wrong with a form, each by the name that its field has on the page.

A form tells its faults before its fields, so while the template tells them it does not know yet what the fields are
called. It leaves places, ``[[parts-0-label]]``, that are filled here from the page as it came out: by the label, the
legend, or the name that is only read aloud, in the page's own language.
"""

import re
from collections.abc import Mapping
from html import escape
from html.parser import HTMLParser

MARK = "data-called="
_LINK = re.compile(r'(<a href="#f-([^"]*)") data-called="([^"]*)">([^<]*)</a>(:?)')
_PLACE = re.compile(r"\[\[([A-Za-z0-9_-]+)\]\]")
_STEM = "f-"


def with_names(text: str) -> str:
    """The page with every fault by its field's name. A field that is not on the page keeps the name that the template
    gave it."""
    if MARK not in text:
        return text
    names = names_of_fields(text)
    return _LINK.sub(lambda found: _named(found, names), text)


def _named(found: re.Match[str], names: Mapping[str, str]) -> str:
    """The link with its name; a question needs no colon before its answer."""
    called = _called(found[2], found[4], names) or found[3]
    return f"{found[1]}>{called}</a>{'' if called.endswith('?') else found[5]}"


def _called(field: str, pattern: str, names: Mapping[str, str]) -> str:
    """The pattern filled; only the field's own name where its list has none; "" where the field has none."""
    if field not in names:
        return ""
    if any(name not in names for name in _PLACE.findall(pattern)):
        return escape(names[field])
    return _PLACE.sub(lambda found: escape(names[found[1]]), pattern)


def names_of_fields(text: str) -> dict[str, str]:
    """What each field of a page (``f-…`` without its beginning) is called there, as plain text."""
    reader = _Names()
    reader.feed(text)
    reader.close()
    return reader.aloud | reader.seen | reader.legends


class _Names(HTMLParser):
    """Collects labels and legends. What is small beside a label (“if you like”) is no part of the name."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.aloud: dict[str, str] = {}
        self.seen: dict[str, str] = {}
        self.legends: dict[str, str] = {}
        self._fieldsets: list[str] = []  # the open ones; "" is no field of its own
        self._legend = ""  # of the innermost one
        self._within = ""  # label or legend, while one is open
        self._is_small = False
        self._words: list[str] = []
        self._for = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        kinds = given.get("class", "").split()
        name = given["id"].removeprefix(_STEM) if given.get("id", "").startswith(_STEM) else ""
        if tag == "fieldset":
            self._legend = ""
            self._fieldsets.append(name)
        elif tag == "legend" or (tag == "label" and ("field-label" in kinds or "tick" in kinds)):
            self._within, self._words = tag, []
            self._for = given.get("for", "").removeprefix(_STEM)
        elif tag == "small":
            self._is_small = True
        elif name:
            self._field(name, given)

    def _field(self, name: str, given: dict[str, str]) -> None:
        if given.get("aria-label"):
            self.aloud[name] = given["aria-label"]
        if self._within == "label":
            self._for = name
        elif given.get("type") in {"radio", "checkbox"} and self._legend:
            self.legends[name] = self._legend

    def handle_endtag(self, tag: str) -> None:
        if tag == "small":
            self._is_small = False
        elif tag == "fieldset" and self._fieldsets:
            self._fieldsets.pop()
            self._legend = ""
        elif tag == self._within:
            words = " ".join("".join(self._words).split())
            if tag == "legend":
                self._legend = words
                if self._fieldsets and self._fieldsets[-1]:
                    self.legends[self._fieldsets[-1]] = words
            elif self._for and words:
                self.seen.setdefault(self._for, words)
            self._within = ""

    def handle_data(self, data: str) -> None:
        if self._within and not self._is_small:
            self._words.append(data)
