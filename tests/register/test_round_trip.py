"""A record comes back the same from a table and from the register, whatever it holds."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from calib.register.fields import BLANK_WORDS, FieldFacts
from calib.register.frame import frame_of, record_of
from calib.register.package import write_table
from calib.register.records import KnownUnit, fields
from calib.register.register import Register
from calib.register.tables import read_known
from tests.counts import share

PRINTABLE = st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufeff\u2028\u2029\x85")
TEXT = st.text(PRINTABLE, max_size=20).map(str.strip).filter(lambda text: text not in BLANK_WORDS)
# What a tag or a name may be: nothing in it that is not seen.
NAME = st.text(st.characters(exclude_categories=("Cs", "Cc", "Cf", "Co", "Cn", "Zl", "Zp")), max_size=20)
NAME = NAME.map(str.strip).filter(lambda text: text not in BLANK_WORDS)
NAMED = ("unit", "contributor", "maker", "transformer")
NOTES = st.text(PRINTABLE | st.sampled_from('\n\r\t",;'), max_size=30).filter(
    lambda text: text.strip() not in BLANK_WORDS
)


def values_of(facts: FieldFacts) -> st.SearchStrategy[Any]:
    """Anything that a field may hold, by what the record says of it."""
    if facts.whole:
        return st.integers(int(facts.low or 0), int(facts.high or 0))
    if facts.kind == "number":
        return st.floats(facts.low, facts.high, exclude_min=facts.low_excluded, allow_subnormal=False)
    if facts.kind == "flag":
        return st.booleans()
    if facts.kind == "date":
        return st.dates()
    if facts.kind == "choice":
        return st.sampled_from(facts.choices)
    if facts.name in NAMED:
        return NAME.filter(bool) if facts.needed else NAME
    return NOTES if facts.name == "notes" else TEXT.filter(bool) if facts.needed else TEXT


def sound(values: dict[str, Any]) -> dict[str, Any]:
    """The same values made to go together."""
    if values["rectifier"] == "none":
        values["filter"] = "none"
    if values["rectifier"] == "doubler":
        values["filter"] = "capacitor"
    if values["rectifier"] == "full-wave":
        values["centre_tapped"] = True
    if values["excitation_v"] is None or values["hv_v"] is None:
        values["no_load_v"] = values["no_load_v"] or 653.5
    if values["stop"]:
        values["stop_cleared"] = values["stop_cleared"] or "explained"
    else:
        values["stop_cleared"] = None
    basis = ("ac",) if values["rectifier"] == "none" else ("dc", "guide")
    values["rating_basis"] = values["rating_basis"] if values["rating_basis"] in basis else None
    values["guide_factor"] = (values["guide_factor"] or 0.62) if values["rating_basis"] == "guide" else None
    if not values["centre_tapped"]:
        values |= {"hv_half_1_ohm": None, "hv_half_2_ohm": None}
    halves = ("hv_half_1_ohm", "hv_half_2_ohm")
    for one, other in (("tongue_mm", "stack_mm"), ("window_width_mm", "window_height_mm"), halves):
        if values[one] is None:
            values[other] = None
        elif values[other] is None:
            values[other] = 30.0
    return {**values, "simulated": False}


RECORDS = st.fixed_dictionaries(
    {facts.name: values_of(facts) if facts.needed else st.none() | values_of(facts) for facts in fields(KnownUnit)}
).map(lambda values: KnownUnit.parse(sound(values)))
SEVERAL = st.lists(RECORDS, min_size=1, max_size=6, unique_by=lambda record: record.record_id)


@given(SEVERAL)
@settings(max_examples=share(12, 200), deadline=None)
def test_through_a_table(records: list[KnownUnit]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "known.csv"
        with open(path, "w", encoding="utf-8", newline="") as file:
            write_table(frame_of(KnownUnit, records), file)
        read = read_known(path)
    assert [record_of(KnownUnit, row) for row in read.to_dict("records")] == records


@pytest.mark.filterwarnings("error::RuntimeWarning")  # which would stand among what a command says
@given(SEVERAL)
@settings(max_examples=share(4, 100), deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_through_the_register(records: list[KnownUnit]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        register = Register(Path(folder) / "club.duckdb")
        assert register.add(records[0]).added == 1
        with open(Path(folder) / "all.csv", "w", encoding="utf-8", newline="") as file:
            write_table(frame_of(KnownUnit, records), file)
        report = register.import_csv(Path(folder) / "all.csv")
        assert (report.added, report.unchanged, report.revised) == (len(records) - 1, 1, 0)
        register.export(folder)
        kept, handed_out = register.known(), read_known(Path(folder) / "known.csv")
    assert {record_of(KnownUnit, row) for row in kept.to_dict("records")} == set(records)
    assert kept.equals(handed_out)
