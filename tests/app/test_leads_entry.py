"""Lead-pair readings as they are typed on the page: tags, the grid, and the table that is handed out."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from calib.app.pages import which_lead_is_which as leads_entry
from calib.charts import bench_charts

TAGS = ("1", "2", "3", "4")
READ = {("1", "2"): "148.2", ("2", "3"): "171.9", ("1", "3"): "320.4", ("1", "4"): "open"}


@pytest.mark.parametrize(
    ("typed", "tags"),
    [
        ("1, 2, 3", ("1", "2", "3")),
        ("1 2 3", ("1", "2", "3")),
        ("red 1,red  2, red/yellow", ("red 1", "red 2", "red/yellow")),
        (" ,, ", ()),
        ("A\nB\nC", ("A", "B", "C")),
    ],
)
def test_tags_are_parted_by_commas_or_else_by_blanks(typed, tags):
    assert leads_entry.tags_of(typed) == (tags, ())


@pytest.mark.parametrize(
    ("typed", "fault"),
    [
        ("1, 2, 1", "'1' stands twice: give every lead a tag of its own"),
        ("1, " + 30 * "x", "is longer than 24 characters: shorten it"),
        (", ".join(map(str, range(61))), "61 leads are more than the 60 that this page takes"),
    ],
)
def test_what_is_wrong_with_tags_is_said(typed, fault):
    _, faults = leads_entry.tags_of(typed)
    assert len(faults) == 1
    assert fault in faults[0]


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("OL", "open"),
        ("O.L.", "open"),
        ("∞", "open"),
        ("Open", "open"),
        ("0.18 kΩ", "180"),
        ("1.2M", "1200000"),
        (" 5.70 ", "5.70"),
        ("", ""),
        (None, ""),
        (math.nan, ""),
        ("·", ""),
        ("12,5", "12.5"),
        ("1.234,5 Ω", "1234.5"),
        ("250 mΩ", "0.25"),
        ("1,234", "1,234"),  # may be 1.234 or 1234 ohm, both usual: asked
        ("5 m", "5 m"),  # milliohm or megohm: asked
        ("k", "k"),
    ],
)
def test_a_cell_is_read_as_meters_show_it(typed, kept):
    assert leads_entry.typed_ohm(typed) == kept


@given(
    st.dictionaries(
        st.sampled_from([(a, b) for n, a in enumerate(TAGS) for b in TAGS[n + 1 :]]),
        st.sampled_from(["open", "5.7", "1200"]),
    )
)
def test_the_grid_gives_back_what_was_put_into_it(readings):
    found, faults = leads_entry.readings_in(leads_entry.grid_of(TAGS, readings), TAGS)
    assert (found, faults) == (readings, ())
    assert leads_entry.from_rows(leads_entry.rows_of(readings), TAGS) == readings


def test_a_reading_below_the_diagonal_is_that_of_the_same_pair():
    grid = leads_entry.grid_of(TAGS, {})
    grid.at["3", "2"] = "5.7"
    assert leads_entry.readings_in(grid, TAGS) == ({("2", "3"): "5.7"}, ())


def test_a_pair_that_stands_twice_or_against_itself_is_said():
    grid = leads_entry.grid_of(TAGS, {("2", "3"): "5.7"})
    grid.at["3", "2"], grid.at["3", "3"] = "5.9", "1"
    found, faults = leads_entry.readings_in(grid, TAGS)
    assert found == {("2", "3"): "5.7"}
    assert faults == (
        "2 to 3: stands twice, as 5.7 and as 5.9; keep one",
        "3 to 3: a lead is not read against itself; put the reading where it belongs",
    )


def test_readings_of_a_lead_that_is_tagged_no_more_are_left_out():
    assert leads_entry.from_rows([["1", "2", "5.7"], ["1", "9", "5"], ["2", "2", "1"], ["1"]], TAGS) == {
        ("1", "2"): "5.7"
    }


def test_faults_name_the_pair_the_value_and_the_remedy():
    found, faults = leads_entry.identified(TAGS, {("1", "3"): "12,5", ("2", "4"): "-3"})
    assert found is None
    assert faults[0].startswith("1 to 3: '12,5' is no resistance; write a resistance in ohm")
    assert faults[1].startswith("2 to 4: '-3' is outside the limits, 0.001 to 1e+06 ohm")


def test_a_lead_that_was_not_read_is_known_all_the_same():
    found, _ = leads_entry.identified((*TAGS, "5"), READ)
    assert found.windings[0].leads == ("1", "2", "3")
    assert set(found.isolated) == {"4", "5"}
    assert "5" in found.unplaced


def test_nothing_read_is_no_fault():
    assert leads_entry.identified(TAGS, {}) == (None, [])
    assert leads_entry.unread(TAGS, {}) == ("1", "2")


def test_the_table_that_is_handed_out_has_a_row_for_every_pair():
    lines = leads_entry.lead_table(TAGS, READ).splitlines()
    assert lines[0] == "lead_a,lead_b,ohm"
    assert lines[1:4] == ["1,2,148.2", "1,3,320.4", "1,4,open"]
    assert len(lines) == 1 + 6
    assert lines[-1] == "3,4,"


@pytest.mark.parametrize(
    ("value", "null", "understood", "said"),
    [
        (None, 0.0, "", ""),
        ("0.3", 0.3, "", ""),
        ("0,3 Ω", 0.3, "Read as 0.3 Ω.", ""),
        ("-1", 0.0, "", "of -1 Ω is not from 0 to 100 Ω"),
        ("0.3.1", 0.0, "", "of 0.3.1: has points and commas that make no number"),
    ],
)
def test_a_lead_null_is_understood_or_said_to_be_wrong(value, null, understood, said):
    found, aloud, wrong = leads_entry.null_in(value)
    assert (found, aloud) == (null, understood)
    assert said in wrong
    assert bool(wrong) == bool(said)


def test_the_picture_places_leads_by_resistance_and_keeps_their_tags_apart():
    """148.2 of 320.1 ohm, the sum of both sections, is 0.463 of the way."""
    winding = leads_entry.identified(TAGS, READ)[0].windings[0]
    places = bench_charts.places_of(winding)
    assert places == pytest.approx([0.0, 148.2 / 320.1, 1.0], abs=0.002)
    near, _ = leads_entry.identified(("1", "2", "3"), {("1", "2"): "1.0", ("2", "3"): "300", ("1", "3"): "301"})
    places = bench_charts.places_of(near.windings[0])
    assert min(b - a for a, b in zip(places, places[1:], strict=False)) >= bench_charts.LEAST_GAP


def test_the_picture_says_in_words_what_it_draws():
    found, _ = leads_entry.identified(TAGS, READ)
    told = bench_charts.windings(found).description
    assert "1 to 2 to 3: 320 Ω, high voltage (centre-tapped), probable." in told
    assert "Alone: 4." in told
