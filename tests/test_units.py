"""Numbers as people write them, units that they read in, and what an entry outside its limits was meant to be."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import example, given, strategies as st

from calib.bench import MEASURES, NotRead, inch_fraction, measure, read_number
from calib.units import meant
from tests.counts import FEW


@pytest.mark.parametrize(
    ("unit", "symbol", "typed", "kept"),
    [
        ("mm", "in", 1.125, 28.575),  # 25.4 mm to the inch, exactly
        ("mm", "mm", 28.0, 28.0),
        ("°C", "°F", 68.0, 20.0),  # room temperature of IEC 60028
        ("°C", "°F", -40.0, -40.0),  # where both scales agree
        ("°C", "°F", 212.0, 100.0),  # boiling
        ("K", "°F", 9.0, 5.0),  # a difference has no zero of its own
        ("cm²", "in²", 1.0, 6.4516),  # 25.4 mm squared
        ("kg", "lb", 1.0, 0.45359237),  # NIST SP 811
        ("ohm", "kΩ", 2.611, 2611.0),
    ],
)
def test_what_is_typed_becomes_what_is_kept(unit, symbol, typed, kept):
    assert measure(unit, symbol).kept(typed) == kept
    assert measure(unit, symbol).typed(kept) == pytest.approx(typed, rel=1e-11)


@FEW
@given(st.sampled_from(sorted(MEASURES)), st.floats(-1e4, 1e4), st.data())
def test_there_and_back_is_where_one_was(unit, value, data):
    one = data.draw(st.sampled_from(MEASURES[unit]))
    assert one.typed(one.kept(value)) == pytest.approx(value, rel=1e-9, abs=1e-8)


@pytest.mark.parametrize("unit", sorted(MEASURES))
def test_the_first_of_each_is_the_unit_itself(unit):
    assert MEASURES[unit][0].kept(12.34) == 12.34


def test_a_unit_that_is_not_read_in_names_those_that_are():
    with pytest.raises(ValueError, match="unit is 'cubit': for a quantity kept in mm it must be one of mm, in"):
        measure("mm", "cubit")
    with pytest.raises(ValueError, match="kept in A it must be one of none"):
        measure("A", "mA")


@pytest.mark.parametrize(
    ("inch", "mark"),
    [(1.125, "1 1/8"), (0.875, "7/8"), (1.0, ""), (2.031, "2 1/32"), (1.13, ""), (0.0126, ""), (0.0156, "1/64")],
)
def test_a_rules_mark(inch, mark):
    assert inch_fraction(inch) == mark


VOLTS, OHMS = (0.5, 260.0), (5.0, 10000.0)  # where an excitation and a winding's resistance usually lie


@pytest.mark.parametrize(
    ("typed", "unit", "kept", "aloud"),
    [
        ("4.97", "V", 4.97, ""),
        (" 4.97 V ", "V", 4.97, ""),
        ("-40", "°C", -40.0, ""),
        ("−40", "°C", -40.0, ""),
        ("4,97", "V", 4.97, "Read as 4.97 V."),
        ("4, 97", "V", 4.97, "Read as 4.97 V."),  # a telephone's keyboard puts a blank behind a comma
        (",5", "V", 0.5, "Read as 0.5 V."),
        ("5.", "V", 5.0, "Read as 5 V."),
        ("1.234,5", "V", 1234.5, "Read as 1234.5 V."),
        ("1,234.5", "V", 1234.5, "Read as 1234.5 V."),
        ("1 234,5", "V", 1234.5, "Read as 1234.5 V."),
        ("1\u202f234,5", "V", 1234.5, "Read as 1234.5 V."),
        ("1'234.5", "V", 1234.5, "Read as 1234.5 V."),
        ("1’234.5", "V", 1234.5, "Read as 1234.5 V."),
        ("1,234,567", "", 1234567.0, "Read as 1234567."),
        ("1e3", "V", 1000.0, "Read as 1000 V."),
        ("230 V~", "V", 230.0, "Read as 230 V."),
        ("188,6 Ω", "ohm", 188.6, "Read as 188.6 Ω."),
        ("188.6 Ohm", "ohm", 188.6, "Read as 188.6 Ω."),
        ("1,2 k", "ohm", 1200.0, "1.2 kΩ is 1200 Ω."),
        ("180", "MΩ", 180.0, ""),
        ("2 G", "MΩ", 2000.0, "2 GΩ is 2000 MΩ."),
        ("0.5 A", "mA", 500.0, "0.5 A is 500 mA."),
        ("450 mA", "A", 0.45, "450 mA is 0.45 A."),
        ("28,6 mm", "mm", 28.6, "Read as 28.6 mm."),
        ("1 1/8 in", "mm", 28.575, "1 1/8 in is 28.575 mm."),  # 25.4 mm to the inch
        ("1-1/8 in.", "mm", 28.575, "1 1/8 in is 28.575 mm."),
        ('1½"', "mm", 38.1, "1 1/2 in is 38.1 mm."),
        ("9/8''", "mm", 28.575, "9/8 in is 28.575 mm."),
        ("1.25 in", "mm", 31.75, "1.25 in (1 1/4) is 31.75 mm."),
        ("12.4 thou", "mm", 0.31496, "12.4 mil is 0.31496 mm."),
        ("2 sq. in.", "cm²", 12.9032, "2 in² is 12.9032 cm²."),
        ("68F", "°C", 20.0, "68 °F is 20 °C."),
        ("20 °", "°C", 20.0, "Read as 20 °C."),
        ("9 °F", "K", 5.0, "9 °F is 5 °C."),  # a difference
        ("3 lb", "kg", 1.36077711, "3 lb is 1.36078 kg."),  # NIST SP 811
        ("90 min", "h", 1.5, "90 min is 1.5 h."),
        ("60 c/s", "Hz", 60.0, "Read as 60 Hz."),
        ("31 AWG", "AWG", 31.0, ""),
        ("AWG 31", "wire", 31.0, "Read as 31 AWG."),
        ("30 SWG", "wire", 30.0, "Read as 30 SWG."),
        ("0,224 mm", "wire", 0.224, "Read as 0.224 mm."),
        ("12.4 mil", "wire", 0.0124, "Read as 12.4 mil."),
    ],
)
def test_what_is_typed_is_read_and_said_back_where_it_is_not_plain(
    typed: str, unit: str, kept: float, aloud: str
) -> None:
    one = read_number(typed, unit)
    assert (one.kept, one.aloud) == (kept, aloud)


@pytest.mark.parametrize(
    ("typed", "unit", "symbol", "kept", "aloud"),
    [
        ("1.125", "mm", "in", 28.575, "1.125 in (1 1/8) is 28.575 mm."),
        ("1 1/8", "mm", "in", 28.575, "1 1/8 in is 28.575 mm."),
        ("28.6 mm", "mm", "in", 28.6, "Read as 28.6 mm."),
        ("20 °", "°C", "°F", -6.66666666667, "20 °F is -6.66667 °C."),
        ("2.6", "ohm", "kΩ", 2600.0, "2.6 kΩ is 2600 Ω."),
    ],
)
def test_a_unit_typed_behind_goes_before_the_one_offered(
    typed: str, unit: str, symbol: str, kept: float, aloud: str
) -> None:
    one = read_number(typed, unit, symbol)
    assert (one.kept, one.aloud) == (kept, aloud)


@pytest.mark.parametrize(
    ("typed", "unit", "usual", "kept", "other"),
    [
        ("4,970", "V", VOLTS, 4.97, "If 4970 V was meant, write it without a point or comma."),
        ("1,234", "ohm", OHMS, 1234.0, "If 1.234 Ω was meant, write it with a point."),
        ("2,611 k", "ohm", OHMS, 2611.0, "If 2611 kΩ was meant, write it without a point or comma."),
        ("1.234", "ohm", OHMS, 1.234, "If 1234 Ω was meant, write it without a point or comma."),
    ],
)
def test_a_comma_that_may_part_thousands_is_read_as_usual_and_the_other_way_is_named(
    typed: str, unit: str, usual: tuple[float, float], kept: float, other: str
) -> None:
    one = read_number(typed, unit, "", usual)
    assert one.kept == kept
    assert one.aloud.endswith(other)


@pytest.mark.parametrize("usual", [None, (1.0, 1500.0), (1e6, 1e7)])
def test_where_the_usual_range_does_not_decide_nothing_is_taken(usual: tuple[float, float] | None) -> None:
    with pytest.raises(NotRead, match="may be 1.234 or 1234; write 1.234 or 1234"):
        read_number("1,234", "V", "", usual)


@pytest.mark.parametrize("typed", ["28.575", "0.183", "0,183", "13.876", "1234.567", "12,3456"])
def test_what_cannot_be_thousands_is_not_asked_about(typed: str) -> None:
    assert "meant" not in read_number(typed, "mm", "", (0.05, 65.0)).aloud


@pytest.mark.parametrize(
    ("typed", "unit", "problem"),
    [
        ("", "V", "is not a number; write it in figures"),
        ("abc", "V", "is not a number"),
        ("nan", "V", "is not a number"),
        ("inf", "V", "is not a number"),
        ("~230", "V", "is not a number"),
        ("٣", "V", "is not a number"),
        ("9" * 300, "V", "is not a number"),
        ("1e999", "V", "is beyond what any reading can be"),
        ("4 97", "V", "has a blank inside it; write one number"),
        ("4,9,7", "V", "has points and commas that make no number"),
        ("1.23.45", "V", "has points and commas that make no number"),
        ("350-0-350", "V", "is more than one number"),
        ("5 V 60 Hz", "V", "is more than one number"),
        ("5 V", "ohm", "has 'V' behind it, which is no unit of this reading; write it alone, or with Ω, kΩ, MΩ or mΩ"),
        ("5 V dc", "V", "has 'V dc' behind it"),  # a ratio test is made with ac
        ("30 SWG", "AWG", "has 'SWG' behind it"),
        ("5 V", "", "has 'V' behind it, and this is a number without a unit"),
        ("5 m", "ohm", "may be a thousandth or a million; write mΩ or MΩ"),
        ("5 MOHM", "ohm", "may be a thousandth or a million"),
        ("50/60", "Hz", "is two frequencies; write the one that it was designed for: 50 for a plate of 50/60"),
        ("1 1/8", "mm", "is a fraction; write in behind it if it is inches, such as 1 1/8 in"),
        ("1/2", "V", "is a fraction; write a decimal"),
        ("1 9/8 in", "mm", "is not a fraction"),
        ("1/0 in", "mm", "is not a fraction"),
    ],
)
def test_what_is_no_number_is_refused_with_a_remedy(typed: str, unit: str, problem: str) -> None:
    with pytest.raises(NotRead) as caught:
        read_number(typed, unit)
    assert problem in str(caught.value)


MARKS = st.sampled_from([(" ", ","), (" ", "."), (".", ","), (",", "."), ("'", "."), ("’", ","), ("\u00a0", ",")])


@FEW
@given(st.integers(0, 10**9), st.integers(0, 999999), st.integers(1, 6), MARKS, st.sampled_from(["", "-", "−"]))
def test_every_countrys_way_of_writing_a_number_gives_the_number(
    whole: int, digits: int, places: int, marks: tuple[str, str], sign: str
) -> None:
    """Grouped in threes and with decimals; of below a thousand with three decimals the comma may part thousands."""
    group, decimal = marks
    after = f"{digits % 10**places:0{places}d}"
    value = float(f"{whole}.{after}") * (-1.0 if sign else 1.0)
    text = f"{sign}{whole:,}".replace(",", group) + decimal + after
    if 0 < whole < 1000 and places == 3 and decimal == ",":
        with pytest.raises(NotRead, match="may be"):
            read_number(text, "V")
    else:
        assert read_number(text, "V").kept == value


@FEW
@given(st.text(st.sampled_from("0123456789.,' /-+eEkMmΩVinAWGF°½ \u00a0\"")) | st.text(max_size=20), st.data())
@example("1/" + "9" * 150, None)
def test_whatever_is_typed_is_a_finite_number_or_refused_in_words(typed: str, data: st.DataObject | None) -> None:
    unit = (
        data.draw(st.sampled_from(["V", "ohm", "Ω", "mm", "°C", "wire", "", "Hz", "V dc", "unheard-of"]))
        if data
        else ""
    )
    try:
        one = read_number(typed, unit, "", (1.0, 1000.0))
    except NotRead as error:
        said = error
    else:
        assert math.isfinite(one.kept)
        assert math.isfinite(one.number)
        return
    assert said.problem
    assert said.remedy


STACK = (3.0, 500.0, 10.0, 90.0, "mm")


OHM = (0.001, 1e6, 20.0, 2000.0, "ohm")


MILLIAMPERE = (0.1, 1e5, 10.0, 600.0, "mA")


TEMPERATURE = (-40.0, 200.0, 5.0, 40.0, "°C")


VOLT = (0.0, 1e4, 40.0, 3000.0, "V")


HERTZ = (10.0, 1000.0, 24.0, 62.0, "Hz")


@pytest.mark.parametrize(
    ("value", "limits", "expected", "slip"),
    [
        (4000.0, STACK, 40.0, "slipped by 2 places"),
        (1.5, (3.0, 500.0, 20.0, 90.0, "mm"), 38.1, "typed in inches"),  # 1.5 in x 25.4
        (967.74, STACK, 38.1, "multiplied by 25.4"),
        (0.0381, STACK, 38.1, "typed in metres"),
        (2.8, STACK, 28.0, "typed in cm"),
        (2e6, OHM, 2000.0, "typed in milliohms"),
        (-188.6, OHM, 188.6, "a stray minus sign"),
        (0.092, MILLIAMPERE, 92.0, "typed in amperes"),
        (212.0, (-40.0, 200.0, 5.0, 130.0, "°C"), 100.0, "typed in °F"),  # water boils
        (1e5, VOLT, 1000.0, "slipped by 2 places"),
        (6.5e5, VOLT, 650.0, "typed in millivolts"),
        (6000.0, HERTZ, 60.0, "slipped by 2 places"),
        (6.0, HERTZ, 60.0, "slipped by 1 place"),
        (1.47, (9.0, 2500.0, 9.0, 60.0, "cm²"), 9.4838, "typed in square inches"),  # x 6.4516
    ],
)
def test_slips(value, limits, expected, slip):
    found = meant(value, *limits)
    assert found.value == pytest.approx(expected, rel=1e-4)
    assert slip in found.slip
    assert (found.typed, found.unit) == (value, limits[-1])


@pytest.mark.parametrize(
    ("value", "limits"),
    [
        (40.0, STACK),  # usual
        (300.0, STACK),  # unusual, but within its limits
        (1e9, STACK),  # no change explains it
        (math.nan, STACK),
        (math.inf, STACK),
        (0.0, OHM),
    ],
)
def test_where_there_is_nothing_to_offer(value, limits):
    assert meant(value, *limits) is None


def test_the_smallest_change_comes_first_and_the_next_is_offered_too():
    found = meant(1.5, 3.0, 500.0, 10.0, 60.0, "mm")
    assert (found.value, found.slip) == (pytest.approx(15.0), "typed in cm")  # ten times; an inch would be 25.4 times
    assert found.others[0] == (pytest.approx(38.1), "typed in inches")
    assert found.sentence("a tongue") == (
        "a tongue of 1.5 mm: did you mean 15 mm (typed in cm) or 38.1 mm (typed in inches)?"
    )


def test_the_sentence():
    words = "a stack of 4000 mm: did you mean 40 mm (the decimal point slipped by 2 places)?"
    assert meant(4000.0, *STACK).sentence("a stack") == words
    assert meant(6000.0, 10.0, 1000.0, 24.0, 62.0).sentence() == (
        "an entry of 6000: did you mean 60 (the decimal point slipped by 2 places)?"
    )


@FEW
@given(st.floats(-1e7, 1e7), st.sampled_from([STACK, OHM, MILLIAMPERE, TEMPERATURE, VOLT, HERTZ]))
def test_only_the_usual_is_offered_and_only_for_what_is_refused(value, limits):
    found = meant(value, *limits)
    low, high, usual_low, usual_high, _ = limits
    if low <= value <= high:
        assert found is None
    elif found is not None:
        assert all(usual_low <= one <= usual_high for one in (found.value, *(other for other, _ in found.others)))


@FEW
@example(10.0, 1 / 25.4)
@given(st.floats(10.0, 90.0), st.sampled_from([10.0, 100.0, 1000.0, 0.1, 0.01, 0.001, 25.4, 1 / 25.4]))
def test_a_slip_of_a_usual_stack_is_found_again(true, factor):
    value = true * factor
    if not 3.0 <= value <= 500.0:
        found = meant(value, *STACK)
        assert any(one == pytest.approx(true) for one in (found.value, *(other for other, _ in found.others)))


@FEW
@given(st.floats(-30.0, 40.0))
def test_fahrenheit_is_found_again(celsius):
    limits = (-40.0, 45.0, -30.0, 40.0, "°C")
    fahrenheit = 32.0 + 1.8 * celsius
    if fahrenheit > 45.0:
        assert meant(fahrenheit, *limits).value == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ((3.0, 500.0, 1.0, 90.0, "mm"), "usual range is 1 to 90 mm: it must lie in 3 to 500"),
        ((3.0, 500.0, 90.0, 10.0, "mm"), "usual range is 90 to 10 mm"),
        ((500.0, 3.0, 10.0, 90.0, ""), "usual range is 10 to 90: it must lie in 500 to 3"),
    ],
)
def test_impossible_limits_are_named(limits, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        meant(4000.0, *limits)
