"""What is done to a finished picture, by name."""

from typing import NamedTuple


class ActionWords(NamedTuple):
    """One thing that is done to a finished picture: its name, that it was done, and the tests to make before."""

    name: str
    done: str
    about: str
    tests: tuple[str, ...]


ACTIONS: dict[str, ActionWords] = {
    "temporary_varnish": ActionWords(
        "Temporary varnish",
        "Temporary varnish on",
        "A thinned coat that evens the gloss and comes off later.",
        ("fingertip",),
    ),
    "final_varnish": ActionWords(
        "Final varnish", "Varnished", "The coat that stays, and that a conservator can take off.", ("swab", "nail")
    ),
    "frame": ActionWords("Frame, open", "Framed, open", "In a rebate, without glass.", ("fingertip",)),
    "frame_glazed": ActionWords(
        "Frame under glass", "Framed under glass", "Behind glass, with a spacer.", ("thumb", "nail")
    ),
    "wrap": ActionWords(
        "Wrap", "Wrapped", "Anything that touches the face: glassine, sheet, bubbles.", ("thumb", "nail")
    ),
    "stack": ActionWords("Stack", "Stacked", "Face to face, with boards between.", ("thumb", "nail")),
    "ship": ActionWords("Send", "Sent", "By carrier or in your own car; say how cold or hot it gets.", ("fingertip",)),
    "oil_out": ActionWords("Oil out", "Oiled out", "Oil rubbed over the finished picture.", ()),
}


def action_name(action: str) -> str:
    return ACTIONS[action].name
