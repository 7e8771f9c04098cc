"""What a rule says of itself is what it does: the limits it looks at, the severities it comes to, what goes wrong."""

import ast
import inspect
from types import ModuleType

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from server.science.soundness import DEFAULT, FAMILIES, ROWS, RULES, Fault, Severity, Thresholds, check, is_stopped
from server.science.soundness import facts as facts_module
from server.science.soundness.check import BY_ACTION, asked
from server.science.soundness.rule import ORDER
from server.science.soundness.rules import speed
from server.science.soundness.thresholds import ORDERED
from server.science.soundness.topics import topics_of
from tests.soundness.strategies import situations

# What the richness of every mix rests on, and the amounts of remedies: not looked at by name in the rules' files.
BEHIND_RICHNESS = {"base_binder_fraction", "remedy_oil_density_g_ml"}
IDS = sorted({rule.id for rule in RULES})


def functions_of(module: ModuleType) -> dict[str, ast.FunctionDef]:
    tree = ast.parse(inspect.getsource(module))
    return {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}


SHARED = {"speed_severity": functions_of(speed)["speed_severity"], "couch_um": functions_of(facts_module)["couch_um"]}


def looked_at(name: str, functions: dict[str, ast.FunctionDef], seen: set[str]) -> set[str]:
    """The thresholds that a function looks at, and those that it calls."""
    if name in seen or name not in functions:
        return set()
    seen.add(name)
    found: set[str] = set()
    for node in ast.walk(functions[name]):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.value.id in {"limits", "thresholds"}:
                found.add(node.attr)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            found |= looked_at(node.func.id, functions, seen)
    return found


def test_the_table_names_the_rules_that_look_at_each_threshold():
    by_rule: dict[str, set[str]] = {rule_id: set() for rule_id in IDS}
    for rule in RULES:
        module = inspect.getmodule(rule.judge)
        assert module is not None
        by_rule[rule.id] |= looked_at(rule.judge.__name__, SHARED | functions_of(module), set())
    for row in ROWS:
        assert row.rules and set(row.rules) <= set(IDS), row.name
        if row.name not in BEHIND_RICHNESS:
            assert set(row.rules) == {rule_id for rule_id in IDS if row.name in by_rule[rule_id]}, row.name


def test_every_rule_stands_in_one_family_and_there_in_order():
    told = [rule for family in FAMILIES for rule in family.rules]
    assert sorted(told, key=lambda rule: rule.id) == list(RULES)
    for family in FAMILIES:
        assert [rule.id for rule in family.rules] == sorted(rule.id for rule in family.rules)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.id} {rule.title}")
def test_a_rule_says_what_it_looks_at_and_what_goes_wrong(rule):
    assert rule.looks_at.endswith(".") and rule.looks_at[0].isupper()
    assert isinstance(rule.fault, Fault)
    assert rule.weighs and list(rule.weighs) == sorted(set(rule.weighs), key=ORDER.index)
    assert Severity.SOUND not in rule.weighs


def test_every_fault_is_some_rule_s():
    assert {rule.fault for rule in RULES} == set(Fault)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(situations())
def test_no_finding_weighs_what_its_rule_does_not_name(situation):
    weights = {(rule.id, rule.title): rule.weighs for rule in RULES}
    for found in check(situation).findings:
        assert found.severity in weights[found.rule, found.title], found


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(situations())
def test_whether_a_rule_stops_is_what_the_verdict_says(situation):
    assert is_stopped(situation) == (check(situation).verdict is Severity.STOP)


def with_values(values: dict[str, float]) -> Thresholds:
    return Thresholds(**{row.name: values.get(row.name, row.value) for row in ROWS})


@st.composite
def edits(draw) -> dict[str, float]:
    """Some thresholds anywhere within their bounds, often at them, in an order that makes sense."""
    rows = draw(st.lists(st.sampled_from(ROWS), max_size=12, unique_by=lambda row: row.name))
    values = {r.name: draw(st.one_of(st.just(r.low), st.just(r.high), st.floats(r.low, r.high))) for r in rows}
    while with_values(values).out_of_order():
        for pair in with_values(values).out_of_order():
            for name in pair:
                values.pop(name, None)
    return values


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(situations(), edits())
def test_no_edit_within_the_bounds_breaks_a_rule(situation, values):
    verdict = check(situation, DEFAULT.edited(values))
    for found in verdict.findings:
        text = f"{found.reason} {found.remedy.text if found.remedy else ''}"
        assert "nan" not in text.split() and "inf" not in text.split()


def test_thresholds_out_of_order_are_refused():
    assert DEFAULT.out_of_order() == []
    for chain in ORDERED:
        assert len({row.unit for row in ROWS if row.name in chain}) == 1, chain
    with pytest.raises(ValueError, match="fat_gap_pass: must not be more than fat_gap_stop"):
        DEFAULT.edited({"fat_gap_pass": 0.5})
    assert DEFAULT.edited({"fat_gap_pass": 0.5, "fat_gap_stop": 0.5}).fat_gap_pass == 0.5


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(situations())
def test_a_rule_that_is_not_asked_would_have_said_nothing(situation):
    """Rules about what is not there are left out; asking every one of them gives the same."""
    facts = facts_module.read_facts(situation, DEFAULT)
    chosen = asked(situation.action, situation.upper is not None, topics_of(facts))
    for rule in BY_ACTION[situation.action, situation.upper is not None]:
        if rule not in chosen:
            assert rule.judge(facts, DEFAULT) is None, rule.id
