"""Slips in records and in unknown units' readings: named with their cause and repaired, sound ones left alone."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd
import pytest

from calib.fitting import fit
from tests.counts import share
from tests.fitting.making import (
    ln_width,
    practice_fit,
    prior_fit,
    scene_asked,
    scene_fit,
    scene_known,
    unknown,
    without_core,
    without_gauge,
)
from tests.scenes.missing import Missing, read
from tests.scenes.population import SCENES, recorded, units, without_wire

HIT = 12
# What is done to a record, and words of the cause that the fit should name.
SLIPS = [
    ("hv_resistance_ohm", 0.5, "resistance of half the winding"),
    ("no_load_v", 0.5, "voltage of half the winding"),
    ("hv_resistance_ohm", 0.1, "resistance ten times too low"),
    ("hv_resistance_ohm", 10.0, "resistance ten times too high"),
    ("hv_resistance_ohm", 0.001, "kilohm"),
    ("no_load_v", 10.0, "voltage ten times too high"),
    ("no_load_v", 0.1, "voltage ten times too low"),
    ("rated_current_ma", 10.0, "current ten times too high"),
    ("rated_current_ma", 0.1, "current ten times too low"),
]


def spoil(known: pd.DataFrame, column: str, factor: float) -> tuple[pd.DataFrame, set[str]]:
    """The register with twelve full-wave records spoiled in one way, and the tags of those."""
    rng = np.random.default_rng(21)
    hit = rng.choice(np.flatnonzero(known["rectifier"] == "full-wave"), HIT, replace=False)
    values = known[column].to_numpy().copy()
    values[hit] *= factor
    return known.assign(**{column: values}), set(known["unit"].iloc[hit])


@pytest.mark.parametrize(("column", "factor", "cause"), SLIPS)
def test_a_slip_is_named_with_its_cause(column, factor, cause):
    """Measured over three registers: 35 to 36 of 36 of each kind named rightly, no sound record accused."""
    table, hit = spoil(scene_known(), column, factor)
    suspects = fit(table).suspects()
    named = suspects[suspects["unit"].isin(hit)]
    right = named["likely_slip"].str.contains(cause)
    assert right.sum() >= 10
    assert len(suspects) - len(named) <= 3  # of 228 sound ones


def test_a_person_s_word_divides_the_odds_of_a_slip_by_ten():
    """The record's own odds, since one word of 240 hardly moves what the others teach; a slip of digits stays found."""
    table, hit = spoil(scene_known(), "hv_resistance_ohm", 0.5)
    before = fit(table)
    points = before.points("full-wave", "capacitor").set_index("unit")["odds_sound"]
    tag = points[points.index.isin(hit)].idxmax()
    said = np.where(table["unit"] == tag, "read again on another meter", "")
    after = fit(table.assign(kept=said)).points("full-wave", "capacitor").set_index("unit")["odds_sound"]
    odds = (1 - points[tag]) / points[tag], (1 - after[tag]) / after[tag]
    assert odds[1] == pytest.approx(odds[0] / 10, rel=0.2)


def test_a_clean_register_accuses_hardly_anyone():
    """Measured over three registers of 240: none."""
    assert len(scene_fit().suspects()) <= 2


def test_a_swapped_filter_seldom_shows_but_is_not_taken_for_another_slip():
    """The factor is about 1.6 where sound records scatter by 1.25: one in ten was named, none as a slip of V or R."""
    known = scene_known()
    rng = np.random.default_rng(22)
    hit = rng.choice(np.flatnonzero(known["rectifier"] == "full-wave"), HIT, replace=False)
    filters = known["filter"].to_numpy().copy()
    filters[hit] = np.where(filters[hit] == "choke", "capacitor", "choke")
    suspects = fit(known.assign(filter=filters)).suspects()
    assert all("filter" in cause or "current is off" in cause for cause in suspects["likely_slip"])
    assert set(suspects["unit"]) <= set(known["unit"].iloc[hit])


def test_a_swapped_filter_lowers_the_odds():
    """What does not pass for spoiled is still doubted more: the swapped ones' median odds lie under the others'."""
    known = scene_known()
    full = np.flatnonzero((known["rectifier"] == "full-wave") & (known["filter"] == "choke"))[:8]
    filters = known["filter"].to_numpy().copy()
    filters[full] = "capacitor"
    model = fit(known.assign(filter=filters))
    points = model.points("full-wave", "capacitor").set_index("unit")["odds_sound"]
    swapped = points.index.isin(known["unit"].iloc[full])
    assert points[swapped].median() < points[~swapped].quantile(0.25)


def test_a_mixed_register_names_most_spoiled_records_and_few_sound_ones():
    """Three registers of 400, a tenth spoiled in six ways; swapped filters and small errors of the current hide.

    Over twelve registers 1.3 % of the sound records were accused, 0.3 to 2.3 % of one register's.
    """
    accused = []
    for seed in (4, 5, 6):
        known = scene_known(count=400, spoiled=0.1, seed=seed)
        suspects = set(scene_fit(count=400, spoiled=0.1, seed=seed).suspects()["unit"])
        plain = known["slip"].isin(["half resistance", "half voltage", "decimal resistance", "decimal current"])
        assert plain.sum() > 20
        assert known.loc[plain, "unit"].isin(suspects).mean() >= 0.9
        accused.append(known.loc[known["slip"] == "", "unit"].isin(suspects).mean())
    assert np.mean(accused) <= 0.015


def test_the_odds_add_up_to_the_number_spoiled():
    """Three registers of 400, a tenth spoiled: probabilities of being unsound add to 0.123 of the records a head, and
    0.106 were spoiled; the share that swapped filters are given errs on the side of doubt."""
    reckoned, true = [], []
    for seed in (1, 2, 4):
        odds = scene_fit(count=400, spoiled=0.1, seed=seed).points("full-wave", "capacitor")["odds_sound"]
        reckoned.append(1 - odds.mean())
        true.append((scene_known(count=400, spoiled=0.1, seed=seed)["slip"] != "").mean())
    assert np.mean(reckoned) == pytest.approx(np.mean(true), abs=0.025)


def test_a_spoiled_record_is_found_among_a_dozen():
    known = scene_known(count=12, seed=6)
    values = known["hv_resistance_ohm"].to_numpy().copy()
    values[4] *= 0.1
    suspects = fit(known.assign(hv_resistance_ohm=values)).suspects()
    assert list(suspects["unit"]) == [known["unit"].iloc[4]]
    assert "resistance ten times too low" in suspects["likely_slip"].iloc[0]


def test_the_picture_s_doubtful_points_are_the_suspects():
    model = scene_fit(count=400, spoiled=0.1, seed=4)
    points = model.points("full-wave", "capacitor")
    marked = points.loc[points["doubtful"], ["contributor", "unit"]].itertuples(index=False, name=None)
    named = model.suspects()[["contributor", "unit"]].itertuples(index=False, name=None)
    assert set(marked) == set(named)
    assert points["doubtful"].sum() > 20


# How many slips are named in a register of 100 records of which 8 in 100 are spoiled, over forty draws or the first
# five of them. The shares and the threshold of gross_errors.py were settled on these draws among others, so the test
# guards what they reach and is no proof of it. On 160 draws taken once that was settled: 97 % of slips named with the
# gauge known and 80 % without, 96 % and 93 % of them with the right cause, swapped filters 50 of 112 and 43 of 112,
# sound records accused 0.6 % and 0.9 %.
DRAWS, RECORDS, SPOILED = share(5, 40), 100, 0.08
CAUSE = {
    "half resistance": "resistance of half",
    "half voltage": "voltage of half",
    "decimal resistance": "resistance ten",
    "decimal current": "rated current ten",
    "filter": "filter swapped",
    "other current": "the rated current is off",
}


def tally(*, wire: bool) -> Counter:
    """Slips made, named and rightly named, swapped filters apart; sound records, and those accused."""
    found: Counter = Counter()
    scene = SCENES["ordinary"]
    for draw in range(DRAWS):
        rng = np.random.default_rng([7, draw])
        known = recorded(scene, units(scene, RECORDS, rng), SPOILED, rng)
        suspects = (
            fit(known if wire else without_wire(known)).suspects().set_index(["contributor", "unit"])["likely_slip"]
        )
        for record in known.to_dict("records"):
            said = suspects.get((record["contributor"], record["unit"]))
            kind = {"": "sound", "filter": "filter"}.get(record["slip"], "slip")
            found[kind] += 1
            found[f"{kind} named"] += said is not None
            found[f"{kind} right"] += said is not None and said.startswith(CAUSE.get(record["slip"], "-"))
    return found


@pytest.mark.parametrize(("wire", "least"), [(True, 0.90), (False, 0.70)])
def test_most_slips_are_named_with_their_cause_and_few_sound_records_accused(wire, least):
    found = tally(wire=wire)
    assert found["slip named"] >= least * found["slip"]
    assert found["slip right"] >= 0.8 * found["slip named"]
    assert found["filter named"] >= 0.3 * found["filter"]
    assert found["sound named"] <= 0.02 * found["sound"]


# Unknown units whose readings do not go together: said, with the likely slip and what its repair gives.
READING_SLIPS = [
    ({"hv_resistance_ohm": 0.5}, "resistance of half the winding"),
    ({"no_load_v": 0.5}, "voltage of half the winding"),
    ({"hv_resistance_ohm": 0.1}, "resistance ten times too low"),
    ({"hv_resistance_ohm": 10.0}, "resistance ten times too high"),
    ({"hv_resistance_ohm": 0.001}, "kilohm taken for ohm"),
    ({"no_load_v": 10.0}, "voltage ten times too high"),
    ({"no_load_v": 0.1}, "voltage ten times too low"),
    ({"wire_diameter_mm": 10.0}, "wire diameter ten times too high"),
    ({"tongue_mm": 0.1, "stack_mm": 0.1}, "tongue and stack in cm"),
]
LIMITS = {
    "no_load_v": (0, 1e4),
    "hv_resistance_ohm": (0.001, 1e6),
    "wire_diameter_mm": (0.01, 10),
    "tongue_mm": (3, 500),
    "stack_mm": (3, 500),
}
FULL = {"tongue_mm": 28, "stack_mm": 30, "wire_diameter_mm": 0.23}


def moved(units: pd.DataFrame, changes: dict[str, float]) -> pd.DataFrame:
    """The units with readings multiplied; those that no door lets in are left out."""
    units = units.assign(**{name: units[name] * factor for name, factor in changes.items()})
    inside = [units[name].isna() | units[name].between(*limits) for name, limits in LIMITS.items()]
    return units[np.all(inside, axis=0)]


def flagged(made: pd.DataFrame, flag: str = "suspect-reading") -> np.ndarray:
    return np.array([flag in cell.split(";") for cell in made["flags"]])


@pytest.mark.parametrize(("changes", "cause"), READING_SLIPS)
def test_a_slip_of_a_reading_is_named_and_its_repair_is_the_estimate_without_it(changes, cause):
    """200 units with core and wire, all read wrongly: measured 98 in 100 of them and more."""
    asked = moved(scene_asked(), changes)
    made = scene_fit().estimate(asked)
    assert flagged(made).mean() > 0.97
    named = np.array([cause in slip for slip in made["likely_slip"]])
    assert named.mean() > 0.9
    sound = scene_fit().estimate(scene_asked().loc[asked.index], as_read=True)["rated_current_ma"]
    repaired = made["repaired_ma"].to_numpy()[named]
    assert repaired == pytest.approx(sound.to_numpy()[named], rel=1e-6)


@pytest.mark.parametrize("part", [lambda units: units, without_gauge, without_core], ids=["wire", "core", "v_over_r"])
def test_sound_readings_are_seldom_questioned_and_hardly_ever_withheld(part):
    """Of all scenes, by a register of 30 records of the scene and by the prior alone. Measured below 1 in 100."""
    of_scene, of_prior = [], []
    for scene in list(SCENES)[:: share(2, 1)]:
        asked = part(scene_asked(scene))
        for made, kept in (
            (scene_fit(scene, 30, 0.05).estimate(asked), of_scene),
            (prior_fit().estimate(asked), of_prior),
        ):
            kept.append([flagged(made).mean(), flagged(made, "withheld").mean()])
    for kept in (of_scene, of_prior):
        suspect, withheld = np.mean(kept, axis=0)
        assert suspect < 0.02
        assert withheld < 0.001


# Slips of a unit with a core and no wire: factors of its readings, sd of a further unknown one, and share of all slips
# but those of half a winding, as the weighing assumes them.
HOT = (234.5 + 70) / (234.5 + 20)
ASSUMED = [
    ({"hv_resistance_ohm": 0.001}, 0, 0.25),
    ({"hv_resistance_ohm": 1000.0}, 0, 0.05),
    ({"hv_resistance_ohm": 0.1}, 0, 0.15),
    ({"hv_resistance_ohm": 10.0}, 0, 0.15),
    ({"no_load_v": 10.0}, 0, 0.10),
    ({"no_load_v": 0.1}, 0, 0.10),
    ({"hv_resistance_ohm": HOT}, 0, 0.25),
    ({"tongue_mm": 0.1, "stack_mm": 0.1}, 0, 0.05),
    ({"hv_resistance_ohm": 1.0}, 1.0, 0.15),
    ({"stack_mm": 1.0}, 0.7, 0.10),
]
Slipped = tuple[pd.DataFrame, np.ndarray, np.ndarray]


def slipped(units: pd.DataFrame, rng: np.random.Generator) -> Slipped:
    """Units of which 6 in 100 bear a slip, in the shares that are assumed; which are sound; and the true ratings."""
    total = sum(share for *_, share in ASSUMED)
    kinds = [({}, 0, 0.94), ({"hv_resistance_ohm": 0.5}, 0, 0.02), ({"no_load_v": 0.5}, 0, 0.02)]
    kinds += [(changes, sd, 0.02 * share / total) for changes, sd, share in ASSUMED]
    chosen, read = rng.choice(len(kinds), len(units), p=[share for *_, share in kinds]), units.copy()
    for place, (changes, sd, _) in enumerate(kinds):
        here = chosen == place
        for name, factor in changes.items():
            read.loc[here, name] *= factor * np.exp(sd * rng.normal(size=here.sum()))
    inside = np.all([read[name].isna() | read[name].between(*limits) for name, limits in LIMITS.items()], axis=0)
    return read[inside], (chosen == 0)[inside], units["rated_current_ma"].to_numpy()[inside]


def test_odds_of_soundness_are_those_that_come_true():
    """1000 units each of several scenes: of those whose odds lie in a band about so many are sound. And the intervals,
    mixed over all slips, hold the truth about as often as they claim.

    Of 16 scenes, 3000 units each, by 120 records: stated 0.20, 0.41, 0.70, 0.86 and 0.95, seen 0.10, 0.32, 0.62, 0.81
    and 0.94; with the primary's resistance in place of the core 0.19, 0.41, 0.67, 0.86 and 0.95, seen 0.24, 0.42, 0.68,
    0.84 and 0.96. A single scene's are off by 0.2 either way.
    """
    rng, parts = np.random.default_rng(5), []
    scenes = [one for one in SCENES if one != "toroidal"][:: share(2, 1)]
    for seed, scene in enumerate(scenes, 30):  # registers of one seed are alike
        read, sound, true = slipped(without_gauge(scene_asked(scene, 1000, seed=seed)), rng)
        made, as_read = (scene_fit(scene, 120, 0.05, seed).estimate(read, as_read=flag) for flag in (False, True))
        held, held_as_read = ((one["low_ma"] < true) & (true < one["high_ma"]) for one in (made, as_read))
        told = made["low_ma"].notna()
        parts.append(pd.DataFrame({"odds": made["odds_sound"], "sound": sound, "told": told, "held": held}))
        parts[-1]["held_as_read"] = held_as_read
    every = pd.concat(parts)
    for low, high in ((0.0, 0.1), (0.1, 0.8), (0.8, 0.97), (0.97, 1.0)):
        band = every[every["odds"].between(low, high)]
        assert len(band) > 50
        assert band["sound"].mean() == pytest.approx(band["odds"].mean(), abs=0.12)
    told = every[every["told"]]
    wrong = told[~told["sound"]]
    assert 0.88 < told["held"].mean() < 0.985
    assert wrong["held"].mean() > wrong["held_as_read"].mean() + 0.1


def test_a_gauge_six_numbers_off_is_doubted_before_volts_and_ohms():
    """No core. Measured over all scenes: every one flagged, the estimate 1.45 times off (3.3 where V/R is doubted)."""
    off = []
    for scene in ("ordinary", "aluminium", "toroidal"):
        asked = scene_asked(scene).assign(tongue_mm=np.nan, stack_mm=np.nan, core_area_cm2=np.nan)
        read = asked.assign(wire_diameter_mm=2 * asked["wire_diameter_mm"])
        made = scene_fit(scene, 120).estimate(read)
        assert flagged(made).mean() > 0.95
        off.append(np.abs(np.log(made["rated_current_ma"].fillna(made["repaired_ma"]) / asked["rated_current_ma"])))
    assert np.exp(np.median(np.concatenate(off))) < 1.7


def test_half_the_volts_show_by_the_core_and_the_volts_that_are_usual():
    """Measured over all scenes by 60 records: 95 in 100, of ring cores too where the records hold such."""
    for scene in ("ordinary", "aluminium", "toroidal"):
        asked = without_gauge(scene_asked(scene))
        made = scene_fit(scene, 120).estimate(asked.assign(no_load_v=asked["no_load_v"] / 2))
        assert flagged(made).mean() > 0.85
        assert flagged(scene_fit(scene, 120).estimate(asked)).mean() < 0.06


@pytest.mark.parametrize(("wire", "primary", "found"), [(1.0, 0.0, 0.93), (0.0, 1.0, 0.62)], ids=["wire", "primary"])
def test_half_the_resistance_shows_by_the_wire_or_the_primary_alone(wire, primary, found):
    """No core, of sheets nobody told. Over 28 populations by two registers of 60 records each: 97 in 100 by the wire,
    73 by the primary, and 1 and 4 in 1000 sound ones questioned."""
    scenes, halved, sound = ("ordinary", "aluminium", "toroidal"), [], []
    for seed, scene in enumerate(scenes, 70):
        part, rng = Missing(SCENES[scene], lambda *_: (0.0, wire, primary)), np.random.default_rng(seed)
        known, asked = (read(part, one, np.zeros(len(one), bool), rng) for one in drawn(scene, rng))
        model = fit(known)
        sound.append(flagged(model.estimate(asked)).mean())
        halved.append(flagged(model.estimate(asked.assign(hv_resistance_ohm=asked["hv_resistance_ohm"] / 2))).mean())
    assert np.mean(halved) > found
    assert np.mean(sound) < 0.02


def drawn(scene: str, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Sixty known units, one in twenty spoiled, and 200 that are asked about."""
    known = recorded(SCENES[scene], units(SCENES[scene], 60, rng), 0.05, rng)
    return known, units(SCENES[scene], 200, rng, asked=True)


def test_below_eight_tenths_a_slip_is_named_with_its_repair_and_from_there_on_nothing_is():
    asked = pd.concat([moved(scene_asked(), {"hv_resistance_ohm": factor}) for factor in (1.0, 0.75, 0.5)])
    made = scene_fit().estimate(without_gauge(asked))
    suspect = (made["odds_sound"] < 0.8).to_numpy()
    assert 0.05 < suspect.mean() < 0.95
    assert (flagged(made) == suspect).all()
    assert (flagged(made, "withheld") == (made["odds_sound"] < 0.1)).all()
    assert ((made["likely_slip"] != "") == suspect).all()
    assert (made[["repaired_ma", "repaired_low_ma", "repaired_high_ma"]].notna().all(axis=1) == suspect).all()
    assert (made["rated_current_ma"].isna() == flagged(made, "withheld")).all()


def test_what_cannot_be_told_from_a_smaller_unit_is_mixed_in_and_not_accused():
    """Without core or wire half a resistance is that of a larger unit: no flag, but the interval leaves room for it."""
    asked = without_core(scene_asked())
    made = scene_fit().estimate(asked.assign(hv_resistance_ohm=asked["hv_resistance_ohm"] / 2))
    assert flagged(made).mean() < 0.02
    as_read = scene_fit().estimate(asked, as_read=True)
    assert (ln_width(scene_fit().estimate(asked)) > 1.02 * ln_width(as_read)).all()


@pytest.mark.parametrize(
    ("factor", "cause", "named"), [(0.001, "kilohm taken for ohm", 1.0), (1000.0, "times too high", 0.95)]
)
def test_volts_and_ohms_alone_show_what_no_transformer_has(factor, cause, named):
    """Measured: nine in ten of kilohms taken for ohms; 1000 times too many ohms lie nearer to those of small units, and
    3 in 100 of them nearer to half the volts."""
    asked = without_core(scene_asked()).query(f"hv_resistance_ohm * {factor} <= 1e6")
    made = prior_fit().estimate(asked.assign(hv_resistance_ohm=asked["hv_resistance_ohm"] * factor))
    assert flagged(made).mean() > 0.4
    assert made["likely_slip"][flagged(made)].str.contains(cause, regex=False).mean() >= named


@pytest.mark.parametrize(
    ("changes", "slip"),
    [
        ({"excitation_v": 27.76, "hv_v": 4.97}, "the two voltages of the ratio test swapped"),
        ({"hv_v": 188.6, "hv_resistance_ohm": 27.76}, "volts and ohms swapped"),
        ({"wire_diameter_mm": None, "awg": 9}, "wire diameter in thousandths of an inch taken for its gauge"),
        ({"wire_diameter_mm": None, "awg": 0.23}, "wire diameter in mm taken for its gauge"),
        ({"tongue_mm": None, "stack_mm": None, "core_area_cm2": 840}, "core area in mm² taken for cm²"),
    ],
)
def test_slips_that_depend_on_what_was_typed(changes, slip):
    """The unit itself is sound by its core and wire."""
    made = practice_fit().estimate(unknown(FULL, {**FULL, **changes}))
    assert made["odds_sound"].iloc[0] > 0.9
    assert made["likely_slip"].tolist() == ["", slip]
    assert made["repaired_ma"].iloc[1] == pytest.approx(made["rated_current_ma"].iloc[0], rel=0.2)


def test_two_slips_at_once_are_withheld_with_the_likelier_named():
    made = practice_fit().estimate(unknown({**FULL, "wire_diameter_mm": None, "awg": 0.23, "hv_resistance_ohm": 94.3}))
    assert flagged(made, "withheld").all()
    assert made["likely_slip"].iloc[0] == "wire diameter in mm taken for its gauge"


def test_where_no_single_repair_helps_there_is_none():
    """Volts of a picture tube on the ohms of a heater, no core: no slip alone makes that a set's transformer."""
    made = prior_fit().estimate(
        unknown({"excitation_v": None, "hv_v": None, "no_load_v": 9e3, "hv_resistance_ohm": 0.001})
    )
    assert flagged(made, "withheld").all()
    assert (
        made.loc[0, ["likely_slip", "repaired_ma", "repaired_low_ma", "repaired_high_ma"]].fillna("").tolist()
        == [""] * 4
    )
