"""A studio's records as lists for people: written for spreadsheets, read from notebooks that were typed in."""
