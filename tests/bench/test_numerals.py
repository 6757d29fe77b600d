"""A number as people write it: commas and points, thousands, fractions, units; nothing is guessed in silence."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, strategies as st

from calib.bench import NotRead, read_number

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
