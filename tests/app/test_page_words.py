"""How numbers are said: the digits of an estimate, shares, odds and lists of readings."""

from __future__ import annotations

import math

import pytest

from calib import words


@pytest.mark.parametrize(
    ("value", "said"),
    [(82.4, "82"), (9.94, "9.9"), (9.96, "10"), (0.26, "0.3"), (116.3, "116"), (1234.0, "1230"), (math.nan, "–")],
)
def test_a_current_has_the_digits_that_an_estimate_deserves(value: float, said: str) -> None:
    assert words.milliamps(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(3.465032, "3.47"), (188.6, "189"), (0.0123, "0.0123"), (0.0, "0"), (-2.5, "-2.50"), (math.inf, "–")],
)
def test_a_figure_has_three_significant_digits(value: float, said: str) -> None:
    assert words.figure(value) == said


@pytest.mark.parametrize(
    ("level", "said"), [(0.9, "nine units in ten"), (0.5, "five units in ten"), (0.95, "95 units in 100")]
)
def test_a_level_is_said_as_people_say_it(level: float, said: str) -> None:
    assert words.share(level) == said


@pytest.mark.parametrize(
    ("chance", "said"), [(0.664, "66 in 100"), (0.999, "more than 99 in 100"), (0.0, "less than 1 in 100")]
)
def test_no_odds_are_called_certain(chance: float, said: str) -> None:
    assert words.odds(chance) == said


@pytest.mark.parametrize(
    ("joined", "said"),
    [("v_over_r", "V/R"), ("gauge+core", "gauge and core"), ("v_over_r+core+gauge", "V/R, core and gauge")],
)
def test_the_readings_behind_an_estimate_are_named(joined: str, said: str) -> None:
    assert words.predictors(joined) == said


def test_nothing_in_plain_text_is_read_as_formatting() -> None:
    assert words.plain("P_1 *new* [x](y) $a$") == r"P\_1 \*new\* \[x\]\(y\) \$a\$"
    assert words.plain("two\n\n    lines") == "two lines"


@pytest.mark.parametrize("text", ["http://a.example", "www.a.example", "WWW.a.org", "me@a.org", ":smile:", "a -> b"])
def test_what_a_page_searches_for_in_finished_text_is_parted_unseen(text: str) -> None:
    """Escaping does not hold it: addresses, names of emoji and icons, arrows."""
    seen = words.plain(text).replace("\\", "")
    assert seen != text
    assert seen.replace(words.JOINER, "") == text


def test_working_is_written_with_the_pages_symbols() -> None:
    assert words.symbols("461.5 ohm at 20 °C") == "461.5 Ω at 20 °C"
    assert words.symbols("V per ohm") == "V/Ω"


def test_flags_are_told_as_sentences_and_the_band_tells_of_simulation() -> None:
    said = words.flags("few-records;suspect-reading;simulated")
    assert len(said) == 2
    assert "Few known units" in said[0]
    assert "look for a slip" in said[1]


def test_every_flag_of_an_estimate_has_its_sentence() -> None:
    import inspect

    from calib.fitting import tables

    source = inspect.getsource(tables)
    assert words.FLAGS
    assert [flag for flag in words.FLAGS if f'"{flag}"' not in source] == []


def test_an_ac_load_has_an_rms_current() -> None:
    assert words.current_title("none") == "rated current, mA rms"
    assert words.current_title("bridge") == "rated direct current, mA"
