"""Every rule in every weight: what it says, and what its remedies do. Basis: derived from the rules as written."""

import re

import pytest

from server.science.soundness import RULES, Action, check
from tests.contract.test_words_shown import PROMISES
from tests.soundness.builders import rules_of
from tests.soundness.every_weight import SITUATIONS
from tests.soundness.test_properties import (
    dates_lie_ahead_lower_and_break_nothing,
    more_oil_harms_no_order_and_mends_no_excess,
    waiting_worsens_nothing,
    ways_lower_and_break_nothing,
)

NAMES = [f"{place} {' '.join(rules_of(check(each)))}" for place, each in enumerate(SITUATIONS)]
every_situation = pytest.mark.parametrize("situation", SITUATIONS, ids=NAMES)


def test_every_rule_comes_to_every_weight_it_names():
    found = {(item.rule, item.title, item.severity) for each in SITUATIONS for item in check(each).findings}
    assert found == {(rule.id, rule.title, severity) for rule in RULES for severity in rule.weighs}


@every_situation
def test_a49_nothing_that_is_said_promises(situation):
    for item in check(situation).findings:
        said = [item.title, item.reason, item.source, item.remedy.text if item.remedy else ""]
        if item.remedy is not None and item.remedy.not_before_d is not None:
            said.append(f"{item.remedy.not_before_d}")
        for text in said:
            assert not PROMISES.search(text), text
            assert not re.search(r"\b(inf|nan|None)\b|  ", text), text


@every_situation
def test_every_way_out_lowers_and_breaks_nothing(situation):
    ways_lower_and_break_nothing(situation)


@every_situation
def test_every_date_lies_ahead_lowers_and_breaks_nothing(situation):
    dates_lie_ahead_lower_and_break_nothing(situation)


@every_situation
def test_waiting_worsens_nothing_but_by_age_or_out_of_the_wet(situation):
    if "R04" in rules_of(check(situation)):
        return
    for wait_d in (0.01, 1.0, 5.0, 20.0, 90.0, 400.0):
        waiting_worsens_nothing(situation, wait_d)


@every_situation
def test_more_oil_harms_no_order_and_mends_no_excess(situation):
    if situation.upper is None or situation.action is Action.OIL_OUT:
        return
    for parts in (0.1, 1.0, 10.0):
        more_oil_harms_no_order_and_mends_no_excess(situation, parts, 0)
