"""Findings: how they read, which of them stop a job, and in which order they are shown."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.findings import Finding, Severity, stops, worst_first

FINDING = st.builds(
    Finding,
    code=st.sampled_from(["thin-line", "narrow-gap", "over-cut"]),
    severity=st.sampled_from(Severity),
    message=st.sampled_from(["a line of 0.08 mm", "a gap of 0.10 mm"]),
    where_mm=st.none() | st.tuples(st.sampled_from([1.0, 2.0]), st.just(3.0)),
    ornament=st.none() | st.just("edge"),
)


def test_a_finding_reads_as_one_line():
    finding = Finding(
        code="thin-line", severity=Severity.WARNING, message="a line of 0.08 mm", where_mm=(1.234, 5), ornament="edge"
    )

    assert str(finding) == "warning thin-line: edge: a line of 0.08 mm near (1.23, 5.00) mm"
    assert str(Finding(code="a", severity=Severity.NOTE, message="b")) == "note a: b"


@pytest.mark.parametrize("code", ["", "Thin-line", "thin line"])
def test_codes_are_lower_case_words(code):
    with pytest.raises(ValueError, match="lower case"):
        Finding(code=code, severity=Severity.NOTE, message="x")


@given(st.lists(FINDING))
def test_the_worst_come_first_once_each_and_equal_ones_keep_their_order(findings):
    ordered = worst_first(findings)

    assert set(ordered) == set(findings)
    assert len(ordered) == len(set(findings))
    for first, second in pairwise(ordered):
        assert first.severity >= second.severity
        if first.severity == second.severity:
            assert findings.index(first) < findings.index(second)


@given(st.lists(FINDING))
def test_only_a_stop_stops(findings):
    assert stops(findings) == (Severity.STOP in [finding.severity for finding in findings])
