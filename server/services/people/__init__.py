"""People of a shared install: how they come in, what they are let into, and how they leave.

None of this goes through a unit of work: the history keeps no image of people, and nothing here may be undone by
somebody who could not do it. What happened is told in ``PeopleEvent`` (``events.py``).
"""
