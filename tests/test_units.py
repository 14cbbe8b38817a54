"""Lengths, times, angles and prices as people write them."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from friezewright.errors import InputError
from friezewright.units import (
    MM_PER_UNIT,
    Price,
    format_duration,
    format_length,
    parse_angle_rad,
    parse_duration_s,
    parse_length_mm,
    parse_price,
)


# The inch is 25.4 mm (NIST Handbook 44, appendix C); pt and px are 1/72 and 1/96 of it (CSS Values and Units, W3C).
@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12 mm", 12),
        ("12mm", 12),
        (" 1.2 cm ", 12),
        ("0.012 m", 12),
        ("1 in", 25.4),
        ('1"', 25.4),
        ("1 inch", 25.4),
        ("2 inches", 50.8),
        ("1/4 in", 6.35),
        ("0.5in", 12.7),
        (".5 IN", 12.7),
        ("2 1/8 in", 53.975),
        ("-1 1/2 in", -38.1),
        ("+3", 3),
        ("72 pt", 25.4),
        ("96px", 25.4),
        ("5.", 5),
        (7, 7),
        (7.5, 7.5),
    ],
)
def test_lengths(text, mm):
    assert parse_length_mm(text) == pytest.approx(mm, rel=1e-15)


def test_bare_numbers_take_the_jobs_unit_and_a_written_unit_outweighs_it():
    assert parse_length_mm(2, default_unit="in") == 50.8
    assert parse_length_mm("1/2", default_unit="in") == 12.7
    assert parse_length_mm("2 mm", default_unit="in") == 2.0


@pytest.mark.parametrize(
    "text",
    ["", "mm", "1,5 mm", "1 2 mm", "1/0 in", "5 ft", "5 furlongs", "nan", "inf", "1e3", "--1", "1/2/3", "1 mm mm"],
)
def test_what_is_no_length_is_one_clear_error(text):
    with pytest.raises(InputError, match=r"write it like|write a length like|use mm, cm, m, in"):
        parse_length_mm(text)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_no_length_time_or_angle(value):
    for parse in (parse_length_mm, parse_duration_s, parse_angle_rad):
        with pytest.raises(InputError, match="not a finite"):
            parse(value)
    with pytest.raises(InputError, match="not a price"):
        parse_price(value)


@given(whole=st.integers(0, 200), top=st.integers(0, 63), unit=st.sampled_from(sorted(MM_PER_UNIT)))
def test_mixed_fractions_are_exact(whole, top, unit):
    expected = float(Fraction(whole) + Fraction(top, 64)) * MM_PER_UNIT[unit]

    assert parse_length_mm(f"{whole} {top}/64 {unit}") == expected


@given(st.text(max_size=20))
def test_any_text_is_a_length_or_one_error(text):
    try:
        value = parse_length_mm(text)
    except InputError as error:
        assert "\n" not in str(error)  # noqa: PT017 - the message is what is tested
    else:
        assert math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "seconds"), [("25 min", 1500), ("90 s", 90), ("90sec", 90), ("1/2 h", 1800), ("1 1/2 h", 5400), (25, 1500)]
)
def test_times(text, seconds):
    assert parse_duration_s(text) == pytest.approx(seconds)


def test_an_unknown_unit_of_time_is_named():
    with pytest.raises(InputError, match=r"'day'.*use s, min or h"):
        parse_duration_s("2 day")


def test_angles_are_given_in_degrees():
    assert parse_angle_rad(180) == pytest.approx(math.pi)
    assert parse_angle_rad(-90.0) == pytest.approx(-math.pi / 2)


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("1.20 EUR", Price(1.2, "EUR")),
        ("1.20eur", Price(1.2, "EUR")),
        ("3", Price(3, "")),
        (0.5, Price(0.5, "")),
        (0, Price(0, "")),
    ],
)
def test_prices(text, price):
    assert parse_price(text) == price


@pytest.mark.parametrize("text", ["", "EUR", "-1 EUR", "1,20 EUR", "1.20 EUROS AND CENTS", -0.5])
def test_what_is_no_price_is_refused(text):
    with pytest.raises(InputError, match="write it like"):
        parse_price(text)


def test_a_price_many_times_over():
    assert str(parse_price("1.20 EUR").times(12.5)) == "15.00 EUR"
    assert str(Price(2.0, "")) == "2.00"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (425.4, "7 min 05 s"),
        (3599.6, "1 h 00 min"),
        (7384, "2 h 03 min"),
    ],
)
def test_times_for_people(seconds, text):
    assert format_duration(seconds) == text


def test_lengths_for_people():
    assert format_length(6.35) == "6.35 mm"
    assert format_length(6.35, "in") == "0.250 in"
