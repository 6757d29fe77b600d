"""Colours as a hint, and roles by resistance."""

from __future__ import annotations

import json

import pytest
from frictionless import validate

from calib import leads
from calib.leads.roles import AUXILIARY, COLOUR_TABLE, HEATER, HV, PRIMARY, RoleFacts, role_odds
from calib.paths import shipped, shipped_rows


def test_the_data_package_holds(monkeypatch):
    package = shipped("datasets/leads/datapackage.json")
    monkeypatch.chdir(package.parent)
    report = validate("datapackage.json")
    assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])
    told = {resource["path"] for resource in json.loads(package.read_text(encoding="utf-8"))["resources"]}
    assert told == {path.name for path in package.parent.glob("*.csv")}


def test_the_colour_code_has_all_its_rows():
    """Seven windings of the code: untapped ends alike, the tapped primary with three, a tap for each of the others."""
    rows = shipped_rows(COLOUR_TABLE)
    assert len({row["winding"] for row in rows}) == 7
    assert len(rows) == 1 + 3 + 5 * 2
    assert (leads.CODED_WEIGHT, leads.OTHER_WEIGHT) == (0.8, 0.3)


@pytest.mark.parametrize(
    ("text", "colour"),
    [
        ("red", ("red", "")),
        ("Red/Yellow 2", ("red", "yellow")),
        ("black with red tracer", ("black", "red")),
        ("grey-yellow", ("slate", "yellow")),
        ("red red", ("red", "")),
        ("7", ("", "")),
        ("T12b", ("", "")),
    ],
)
def test_a_colour_is_read_from_a_name(text, colour):
    assert leads.colour_of(text) == colour


@pytest.mark.parametrize(
    ("tags", "winding", "share", "misplaced"),
    [
        (("black 1", "black 2"), "primary, untapped", 1.0, ()),
        (("black", "black/yellow", "black/red"), "primary, tapped", 1.0, ()),
        (("red a", "red/yellow", "red b"), "high voltage, to the rectifier's plates", 1.0, ()),
        (("red a", "red b", "red/yellow"), "high voltage, to the rectifier's plates", 1.0, ("red b", "red/yellow")),
        (("yellow 1", "yellow 2"), "rectifier filament", 1.0, ()),
        (("slate", "slate/yellow", "white"), "filament or heater 3", 2 / 3, ()),
    ],
)
def test_what_colours_hint_at(tags, winding, share, misplaced):
    hint = leads.colour_hint(tags, {})
    assert (hint.winding, hint.share, hint.misplaced) == (winding, pytest.approx(share), misplaced)


@pytest.mark.parametrize("tags", [("1", "2"), ("white", "orange"), ("green", "4", "5"), ("green", "red")])
def test_colours_that_say_nothing(tags):
    assert leads.colour_hint(tags, {}) is None


def test_a_colour_given_beside_the_name_counts():
    assert leads.colour_hint(("1", "2"), {"1": "brown", "2": "brown"}).role == "heater"
    found = leads.identify_leads(leads.lead_readings([
        {"lead_a": "1", "lead_b": "2", "ohm": "0.2", "u_ohm": "0.01", "colour_a": "yellow", "colour_b": "yellow"}
    ]))  # fmt: skip
    assert found.windings[0].colour_hint.startswith("North American code: rectifier filament; a hint of weight 0.3")


def test_colours_never_outvote_a_clear_resistance():
    rows = [("green", "green 2", 320.0), ("red", "red 2", 5.0), ("green", "red", "open")]
    found = leads.identify_leads(rows, colour_weight=0.8)
    assert [one.family for one in found.windings] == [HV, PRIMARY]
    assert (
        "its colours say heater, its resistance high voltage: never energise on colour alone" in found.windings[0].note
    )


def facts(*sections, u=0.01, **more):
    return RoleFacts(sum(sections), u, sections, **more)


@pytest.mark.parametrize(
    ("windings", "families"),
    [
        ((facts(148.2, 171.9), facts(5.4), facts(0.12), facts(0.3)), (HV, PRIMARY, HEATER, HEATER)),
        ((facts(320.0), facts(22.0, 2.0, 3.0), facts(0.15)), (HV, PRIMARY, HEATER)),
        ((facts(20.0), facts(0.1)), (PRIMARY, HEATER)),
        ((facts(150.0), facts(165.0), facts(5.0)), (HV, HV, PRIMARY)),
        ((facts(300.0), facts(7.1), facts(1.1), facts(0.2)), (HV, PRIMARY, AUXILIARY, HEATER)),
        ((), ()),
    ],
)
def test_families_of_usual_units(windings, families):
    """Resistances as the order of V²/VA has them: high voltage, primary, auxiliary, heaters."""
    odds = role_odds(windings)
    assert tuple(one.family for one in odds) == families
    for one in odds:
        assert 0.25 < one.probability + sum(value for _, value in one.others) <= 1.0 + 1e-9


def test_a_colour_tips_what_resistance_leaves_open():
    """Of 6 and 9 ohm either may be the primary; black leads speak for the 6, the louder the greater their weight."""
    black = leads.colour_hint(("black", "black 2"), {})

    def primary(weight):
        one = role_odds((facts(300.0), facts(6.0, colour=black, colour_weight=weight), facts(9.0)))[1]
        return {one.family: one.probability, **dict(one.others)}[PRIMARY]

    assert primary(0.0) < 0.5 < primary(0.3) < primary(0.8) < 1.0


def test_very_many_windings_are_weighed():
    odds = role_odds([facts(float(ohm)) for ohm in range(1, 151)])
    assert len(odds) == 150
    for one in odds:
        assert 0.0 < one.probability <= 1.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        ((0.0, 64.0, 117.0, 80.0), "voltage of the first winding is 0.0 V"),
        ((653.0, 0.0, 117.0, 80.0), "load of the first winding is 0.0 VA"),
        ((653.0, 64.0, -1.0, 80.0), "voltage of the second winding is -1.0 V"),
        ((653.0, 64.0, 117.0, -2.0), "load of the second winding is -2.0 VA"),
    ],
)
def test_impossible_voltages_are_named(call, message):
    with pytest.raises(ValueError, match=message):
        leads.expected_ohm_ratio(*call)
