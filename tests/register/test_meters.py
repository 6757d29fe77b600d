"""The user's own meters in the register: each range by name, the latest figures count, nothing is lost."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from calib.bench import MeterClass
from calib.errors import InputError, RegisterError
from calib.register.bench_book import COLUMNS, Meter, meter_fields
from calib.register.register import Register

# An ordinary voltmeter and ohmmeter.
BLUE = {"name": "Blue", "reads": "volt", "range_label": "20 V", "percent": 1.0, "counts": 3, "resolution": 0.01}
OHMS = {"name": "Blue", "reads": "ohm", "percent": "0.8", "counts": "2", "resolution": "0.1"}


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return Register(tmp_path / "club.duckdb")


def test_a_kept_meter_is_there_and_survives_a_restart(register: Register) -> None:
    before = datetime.now(UTC)
    assert register.keep_meter(Meter.parse(BLUE))
    (row,) = Register(register.path).meters().to_dict("records")
    assert {name: row[name] for name in COLUMNS} == BLUE
    assert row["revision"] == 1
    assert before <= row["kept_at"] <= datetime.now(UTC)


def test_a_meter_as_typed_is_a_meter_class() -> None:
    meter = Meter.parse(OHMS)
    assert meter.accuracy == MeterClass(percent=0.8, counts=2.0, resolution=0.1)
    assert (meter.label, Meter.parse(BLUE).label) == ("Blue", "Blue, 20 V")


def test_the_same_again_writes_nothing_and_other_figures_are_a_later_revision(register: Register) -> None:
    register.keep_meter(Meter.parse(BLUE))
    assert not register.keep_meter(Meter.parse(BLUE))
    assert register.keep_meter(Meter.parse({**BLUE, "percent": 0.5}))
    assert register.meters()[["percent", "revision"]].values.tolist() == [[0.5, 2]]
    history = register.meter_revisions()
    assert history["percent"].tolist() == [1.0, 0.5]
    assert history["meter_id"].nunique() == 1


def test_one_meter_has_many_ranges_and_quantities_the_finest_first(register: Register) -> None:
    for changed in ({"range_label": "200 V", "resolution": 0.1}, {}, {"range_label": "6 V", "resolution": 0.001}):
        register.keep_meter(Meter.parse({**BLUE, **changed}))
    register.keep_meter(Meter.parse(OHMS))
    table = register.meters()
    assert table["reads"].tolist() == ["ohm", "volt", "volt", "volt"]
    assert table["range_label"].tolist() == ["", "6 V", "20 V", "200 V"]


def test_a_dropped_meter_is_off_the_list_keeps_its_history_and_can_come_back(register: Register) -> None:
    register.keep_meter(Meter.parse(BLUE))
    register.keep_meter(Meter.parse(OHMS))
    register.drop_meter("Blue", "volt", "20 V")
    assert register.meters()["reads"].tolist() == ["ohm"]
    with pytest.raises(InputError, match=r"name 'Blue': the register has no such meter for volts, range '20 V'"):
        register.drop_meter("Blue", "volt", "20 V")
    assert register.keep_meter(Meter.parse(BLUE))
    history = register.meter_revisions()
    assert history[history["reads"] == "volt"]["action"].tolist() == ["keep", "drop", "keep"]
    assert len(register.meters()) == 2


def test_names_that_run_into_one_another_are_two_meters(register: Register) -> None:
    for name, label in (("A", "B"), ("AB", "")):
        register.keep_meter(Meter.parse({**BLUE, "name": name, "range_label": label}))
    assert len(register.meters()) == 2


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"name": " "}, r"name \(empty\): is needed; fill it in: what you call it"),
        ({"reads": "watt"}, r"reads 'watt': is not one of the choices; write one of: volt, ohm"),
        ({"percent": "1 %"}, r"percent '1 %': is not a number"),
        ({"percent": 80}, r"percent '80': is outside the limits, 0 to 50 %"),
        ({"counts": -1}, r"counts '-1': is outside the limits, 0 to 1000;"),
        ({"resolution": 0}, r"resolution '0': is outside the limits, above 0 to 1000 V or ohm"),
        ({"percent": 0, "counts": 0}, r"counts '0': no meter is without error"),
        ({"range_label": "20\nV"}, r"range_label .*: runs over more than one line"),
        ({"colour": "blue"}, r"colour 'blue': is not a column of this table"),
    ],
)
def test_what_no_meter_can_be_is_refused_with_its_limit(changed: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        Meter.parse({**BLUE, **changed}, where="the form")


def test_every_fault_of_a_meter_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        Meter.parse({"reads": "ohm", "percent": "x", "counts": 2})
    assert [fault.column for fault in caught.value.faults] == ["name", "percent", "resolution"]


def test_the_facts_of_a_meter_carry_limits_and_a_usual_range() -> None:
    facts = {each.name: each for each in meter_fields()}
    assert tuple(facts) == COLUMNS
    for name in ("percent", "counts", "resolution"):
        each = facts[name]
        assert each.low is not None
        assert each.high is not None
        assert each.usual is not None
        assert each.low <= each.usual[0] < each.usual[1] <= each.high


def test_a_backup_holds_the_meters(register: Register, tmp_path: Path) -> None:
    register.keep_meter(Meter.parse(BLUE))
    copy = Register(register.backup(tmp_path / "copy.duckdb"), create=False)
    assert copy.meters().equals(register.meters())
    assert copy.keep_meter(Meter.parse(OHMS))


def test_a_register_that_is_gone_is_said(register: Register) -> None:
    register.path.unlink()
    with pytest.raises(RegisterError, match="there is no such register"):
        register.keep_meter(Meter.parse(BLUE))
