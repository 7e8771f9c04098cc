"""Planning a studio's time: sittings into windows of working time, so that panels are dry and gone by their dates.

A resource-constrained project scheduling problem with minimum and maximum time lags, calendars, set-ups shared by the
sittings of a day, and weighted tardiness. ``problem`` holds the question, ``plan`` the answer, ``tables`` turns days
and drying into window numbers, ``kernel`` searches, ``check`` proves an answer without knowing how it was found,
``explain`` and ``options`` say why and what else. No web, no database, no clock of its own, no unseeded randomness.
"""
