"""Who may do what is a table: whole, printed in DEVELOPERS.md, and the one that holds the addresses.

``python -m tests.contract.test_who_may`` prints the tables of DEVELOPERS.md anew, between their marks.
"""

import sys
from pathlib import Path

from fastapi.routing import APIRoute

from server.services.roles import MAY, MEANING, OF_TABLE, PERMISSIONS, ROLE_WORDS, ROLES
from server.web.api import ROUTERS as API_ROUTERS
from server.web.pages import ROUTERS as PAGE_ROUTERS
from server.web.security.who_may import NEEDS, TABLE, needed

ROOT = Path(__file__).resolve().parents[2]
DEVELOPERS = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- who may do what: printed -->\n", "<!-- end of what is printed -->\n"
PLAIN_ROUTES = {("GET", "/api/v1/openapi.json")}  # made by the framework
OPEN_WORDS = {
    "open": "anybody; nothing of a studio is there",
    "token": "whoever has the address's own token",
    "signed_in": "anybody with an account",
}


def routes() -> set[tuple[str, str]]:
    found = {
        (method, prefix + route.path)
        for routers, prefix in ((PAGE_ROUTERS, ""), (API_ROUTERS, "/api/v1"))
        for router in routers
        for route in router.routes
        if isinstance(route, APIRoute)
        for method in route.methods or ()
    }
    return found | PLAIN_ROUTES


def printed() -> str:
    """The tables as DEVELOPERS.md has them."""
    heads = " | ".join(ROLE_WORDS[role].lower() for role in ROLES)
    lines = [f"| permission | {heads} | what it is |", f"|---|{'---|' * len(ROLES)}---|"]
    for permission in PERMISSIONS:
        marks = " | ".join("yes" if permission in MAY[role] else "–" for role in ROLES)
        lines.append(f"| `{permission}` | {marks} | {MEANING[permission]} |")
    of_tables = ", ".join(f"`{table}` takes `{permission}`" for table, permission in OF_TABLE.items())
    lines += ["", f"To change rows of {of_tables}; any other table takes `paint`.", ""]
    lines += ["| takes | addresses |", "|---|---|"]
    for need, addresses in NEEDS.items():
        told = f"`{need}`" + (f" ({OPEN_WORDS[need]})" if need in OPEN_WORDS else "")
        lines.append(f"| {told} | {', '.join(f'`{address}`' for address in addresses) or 'none yet'} |")
    return "\n".join(lines) + "\n"


def with_tables(text: str) -> str:
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}{printed()}{END}{after}"


def test_every_address_is_in_the_table():
    missing = sorted(f'"{method} {path}",' for method, path in routes() - set(TABLE))
    assert not missing, (
        "Refused to everybody on a shared install until the table says what it takes.\n"
        "Add to server/web/security/who_may.py, of an interface to who_may_call.py, under what it takes "
        "(or open, token, signed_in):\n    "
        + "\n    ".join(missing)
        + "\nThen print DEVELOPERS.md anew: python -m tests.contract.test_who_may"
    )


def test_the_table_names_no_address_that_is_gone():
    gone = sorted(f"{method} {path}" for method, path in set(TABLE) - routes())
    assert not gone, f"Take out of server/web/security/who_may.py or who_may_call.py: {', '.join(gone)}"


def test_no_address_is_in_the_table_twice():
    named = [(method, line.split()[-1]) for lines in NEEDS.values() for line in lines for method in line.split()[:-1]]
    assert len(named) == len(set(named))


def test_the_developers_page_prints_the_table():
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert BEGIN in text
    assert text == with_tables(text), "Print DEVELOPERS.md anew: python -m tests.contract.test_who_may"


def test_an_address_takes_what_its_own_line_says():
    """A word before a parameter: /panels/new is not the panel "new"."""
    for (method, path), need in TABLE.items():
        filled = path.replace("{uid}", "abcDEF_-12345678").replace("{token}", "t" * 43)
        filled = (
            filled.replace("{kind}", "paints")
            .replace("{name}", "fat_gap_pass")
            .replace("{layer_uid}", "x1")
            .replace("{ref}", "r1")
        )
        assert needed(method, filled) == need, path


def test_what_is_not_in_the_table_is_nobodys():
    assert needed("GET", "/no-such-page") is None
    assert needed("DELETE", "/panels/new") is None
    assert needed("GET", "/panels/a/b/c") is None
    assert needed("GET", "/panels/a%2Fedit") == "look"  # one piece, and no panel
    assert needed("GET", "/panels/") is None


if __name__ == "__main__":
    DEVELOPERS.write_text(with_tables(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
    sys.stdout.write("DEVELOPERS.md is printed anew.\n")
