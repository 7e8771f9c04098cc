"""One file with everything a studio holds: its own format, read and written here alone.

A zip. ``tables/<table>.jsonl`` has a line of JSON for each row, in the order of its key, columns in the table's order,
instants in UTC, so that the same content is the same bytes whichever engine it came from. Lists, drawings and sheets
for people lie beside them and are not read back. ``manifest.json`` comes last and vouches for all the others.
"""
