"""What would become of a list: it is taken in on a copy of the studio, while others go on writing."""

from dataclasses import replace

from server.services.lists.kinds import run
from server.services.lists.take_in import At, Outcome, Reading, Words
from server.services.unit import unit
from server.store.scratch import scratch_of


def look_over(at: At, reading: Reading, worded: Words) -> Outcome:
    """What ``run`` would answer; nothing is kept. Of ``at`` only a session that reads is needed."""
    copy = scratch_of(at.session, at.actor.studio_id)
    try:
        with unit(copy, at.actor, label="Looked at a list", now=at.now) as work:
            return run(replace(at, session=work.session), reading, worded)
    finally:
        copy.close()
