"""Findings: which of them forbid a verdict, and how what was seen is said."""

from heavyspot.quantities.finding import Finding, blocking_of, finding_said, worst_of_each
from heavyspot.quantities.said import as_it_is, in_words

SEEN = "The reference was lost at 80,000 rpm for 0.40 s."


def lost(evidence, severity="block"):
    return Finding("reference.lost_above", severity, SEEN, "Spin again.", evidence)


def test_only_a_block_forbids_a_verdict_and_the_order_stays():
    first, second = lost({}), Finding("sensor.dead", "block", "Dead.", "Look.")
    others = [lost({}, severity) for severity in ("note", "warn")]
    assert blocking_of([others[0], first, others[1], second]) == (first, second)
    assert blocking_of(others) == ()
    assert second.evidence == {}


def test_a_finding_is_said_by_its_code_with_its_numbers():
    said = finding_said(lost({"speed_rpm": 80_000.0, "duration_s": 0.4}))
    assert said.code == "finding.reference.lost_above"
    assert said.values == {"speed_rpm": 80_000.0, "duration_s": 0.4}
    assert "80,000" in in_words(said) and "0.40" in in_words(said)


def test_a_number_that_is_none_leaves_the_finding_its_own_words():
    for missing in (float("nan"), float("inf")):
        assert finding_said(lost({"speed_rpm": missing, "duration_s": 0.4})) == as_it_is(SEEN)
    assert finding_said(lost({"duration_s": 0.4})) == as_it_is(SEEN)


def test_one_sensor_says_what_it_said():
    said = [lost({}), lost({}, "note")]
    assert worst_of_each({"housing": said}) == said
    assert worst_of_each({"housing": []}) == []


def test_of_several_sensors_the_gravest_is_named_once_for_each_kind():
    dead = Finding("sensor.dead", "block", "Dead.", "Look.")
    found = {
        "one": [lost({}, "note")],
        "two": [dead, lost({"speed_rpm": 1.0}, "warn")],
        "three": [lost({}, "warn"), lost({"speed_rpm": 2.0}, "block")],
        "four": [lost({}, "block"), lost({}, "note")],
    }
    assert worst_of_each(found) == [
        Finding(
            "reference.lost_above", "block", f"three: {SEEN}", "Spin again.", {"speed_rpm": 2.0}
        ),
        Finding("sensor.dead", "block", "two: Dead.", "Look."),
    ]
    two = {name: found[name] for name in ("one", "two")}
    assert [(f.severity, f.text) for f in worst_of_each(two)] == [
        ("warn", f"two: {SEEN}"),
        ("block", "two: Dead."),
    ]
