"""The working of an estimate, line by line as on paper; what is to be known of the supply; what each reading did."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from calib.bench import resistance, wire
from calib.bench.magnetics import BIAS_FLUX_T, DC_BIAS_DOUBT_A_M
from calib.fitting import Features, Prediction
from calib.fitting.features import (
    CENTRE_AREA_CM2,
    CENTRE_FREQUENCY_HZ,
    CENTRE_V_OVER_R,
    CENTRE_VOLTS,
    PRIMARY,
    V_OVER_R,
    VOLTAGE,
    WEIGHT,
    WIRE,
    features_of,
)
from calib.fitting.predictive import ln_v_over_r, predictors
from calib.fitting.tables import from_mean_to_unit, half_wave_bias
from calib.supply.form_factor import FORM_FACTOR, GUIDES, LARGE_CAPACITOR, SPREAD
from calib.units import odds

if TYPE_CHECKING:
    import pandas as pd

Line = tuple[str, str, float, str]
MULTIPLIER = "mA per V/ohm"
TIMES = "×"  # unit of a line that multiplies the one before
DECIMALS = 5  # of a factor; what rounding leaves is in the last of them
# Term of the design matrix: what it is called, the centre of its covariate and its unit.
TERMS = {
    "core": ("Size", CENTRE_AREA_CM2, "cm²"),
    "frequency": ("Frequency", CENTRE_FREQUENCY_HZ, "Hz"),
    "v_over_r": ("V/R", CENTRE_V_OVER_R, "V per ohm"),
    "voltage": ("Voltage", CENTRE_VOLTS, "V"),
}
NOT_READ = {"v_over_r": V_OVER_R, "voltage": VOLTAGE}  # terms that an expectation stands in for
# The same of those that count by how they depart from what the readings before them lead one to expect.
DEPARTURES = {
    "wire": (WIRE, "Wire", 1.0, "mm²"),
    "primary": (PRIMARY, "V over the primary's resistance as it shows on this side", CENTRE_V_OVER_R, "V per ohm"),
    "weight": (WEIGHT, "Weight", 1.0, "kg"),
}
LIMITED = "2, to the power -0.5"  # how the primary's limit follows from the winding's


def lines(asked: Prediction, answer: pd.Series) -> pd.DataFrame:
    """Steps from the readings to the current.

    Parameters
    ----------
    asked : Prediction
        One unit.
    answer : pandas.Series
        The estimate of the unit.

    Returns
    -------
    pandas.DataFrame
        step, formula (with the figures put in), value, unit. Lines whose unit is × multiply the mean multiplier to
        the unit's own. No further than V/R where the current is withheld. Where V/R was not read, the one that the
        other readings lead one to expect stands in.
    """
    rows = asked.rows
    read, fact = asked.readings.iloc[0], rows.frame.iloc[0]
    ratio = float(fact["v_over_r"] if rows.has_ratio[0] else np.exp(ln_v_over_r(asked.matrix)[0]))
    steps = _v_over_r(read, rows, ratio)
    if np.isfinite(answer["rated_current_ma"]):
        own = float(answer["unit_multiplier"]) if rows.has_ratio[0] else float(answer["rated_current_ma"]) / ratio
        steps += _multiplier(asked, answer, own, ratio)
        steps.append(("Rated current", f"{own:.6g} × {ratio:.6g}", answer["rated_current_ma"], "mA"))
        if np.isfinite(fact["wire_area_mm2"]):
            steps += _density(rows, answer["rated_current_ma"], fact["wire_area_mm2"])
    return pd.DataFrame(steps, columns=["step", "formula", "value", "unit"])


def of_record(known: pd.DataFrame) -> pd.DataFrame:
    """What a known unit's readings come to.

    Parameters
    ----------
    known : pandas.DataFrame
        One row, as `read_known` gives it.

    Returns
    -------
    pandas.DataFrame
        step, formula, value, unit, as :func:`lines` gives them: to V/R, the multiplier that the rating implies, the
        current density of the wire and the gross area of the core, as far as they were read.
    """
    rows = features_of(known)
    read, fact = known.iloc[0], rows.frame.iloc[0]
    steps, rated = _v_over_r(read, rows, float("nan")), float(read["rated_current_ma"])
    if rows.has_ratio[0]:
        ratio = float(fact["v_over_r"])
        steps.append(("Multiplier that its rating implies", f"{rated:g} mA / {ratio:.6g}", rated / ratio, MULTIPLIER))
    else:
        steps.pop()  # what others lead one to expect of it is no reading of this one
    if np.isfinite(fact["wire_area_mm2"]):
        steps += _density(rows, rated, fact["wire_area_mm2"])
    if np.isfinite(fact["core_area_cm2"]):
        steps.append(("Gross core area", "tongue times stack, or as stated", fact["core_area_cm2"], "cm²"))
    return pd.DataFrame(steps, columns=["step", "formula", "value", "unit"])


def _v_over_r(read: pd.Series, rows: Features, ratio: float) -> list[Line]:
    """From the readings of volts and resistance, as far as they were made, to V/R."""
    fact, steps = rows.frame.iloc[0], list[Line]()
    volts, ohm = fact["no_load_v"], fact["resistance_ohm"]
    if np.isfinite(read["excitation_v"]) and np.isfinite(read["hv_v"]):
        turns = read["hv_v"] / read["excitation_v"]
        steps.append(("Ratio", f"{read['hv_v']:g} V / {read['excitation_v']:g} V", turns, ""))
        steps.append(("No-load voltage", f"{read['line_voltage_v']:g} V × {turns:.6g}", volts, "V"))
    elif np.isfinite(volts):
        steps.append(("No-load voltage", "as read or stated", volts, "V"))
    if np.isfinite(ohm):
        steps.append(_resistance(read, rows))
    if np.isfinite(fact["v_over_r"]):
        return [*steps, ("V/R", f"{volts:.6g} V / {ohm:.6g} ohm", fact["v_over_r"], "V per ohm")]
    return [*steps, ("V/R, not read", "what the other readings lead one to expect of it", ratio, "V per ohm")]


def _metal(rows: Features) -> str:
    """What the one unit is wound of."""
    return "copper" if math.isclose(rows.form[0], math.log(rows.form_factor[0]), abs_tol=1e-9) else "aluminium"


def _resistance(read: pd.Series, rows: Features) -> Line:
    zero = resistance.INFERRED_ZERO_C[_metal(rows)]
    formula = f"{read['hv_resistance_ohm']:g} ohm × ({zero:g} + 20 °C) / ({zero:g} + {read['winding_temp_c']:g} °C)"
    return ("Resistance at 20 °C", formula, rows.frame["resistance_ohm"].iloc[0], "ohm")


def _multiplier(asked: Prediction, answer: pd.Series, own: float, ratio: float) -> list[Line]:
    """From the mean of its class to the unit's `own` multiplier at its V/R, and what the factors leave."""
    rows, fact = asked.rows, asked.rows.frame.iloc[0]
    start, moved = from_mean_to_unit(asked)
    hertz = CENTRE_FREQUENCY_HZ * math.exp(rows.frequency[0])
    supply = f"{fact['rectifier']}, {fact['filter']} input, {_metal(rows)}"
    if fact["size_class"]:
        start = float(answer["multiplier"])
        steps = [(f"Mean multiplier, size class {fact['size_class']}", f"{supply}, {hertz:g} Hz", start, MULTIPLIER)]
    else:
        centre = ", ".join(f"{value:g} {unit}" for _, value, unit in TERMS.values())
        steps = [("Multiplier of an ordinary unit", f"{supply}, {centre}", start, MULTIPLIER)]
    steps += [_factor(rows, one) for one in moved.to_dict("records")]
    if "primary-limit" in str(answer["flags"]).split(";"):
        name = "Bridge across a centre-tapped winding: the primary's limit"
        steps.append((name, LIMITED, round(math.sqrt(0.5), DECIMALS), TIMES))
    sound = asked.sound.median()[0] / ratio
    weighed = round(own / (sound * math.prod(value for _, by, value, _ in steps if by == LIMITED)), DECIMALS)
    if weighed != 1.0:
        off = odds(1 - answer["odds_sound"])
        steps.append(("Slips weighed", f"odds of {off} that a reading is off count in the middle", weighed, TIMES))
    factors = [value for _, _, value, unit in steps if unit == TIMES]
    factors.append(round(own / math.prod([start, *factors]), DECIMALS))
    left = "the answer is the middle of all that the unit may be, which is not quite the product of the averages"
    steps.append(("Remainder", left, factors[-1], TIMES))
    product = " × ".join([f"{start:.6g}", *(f"{factor:.{DECIMALS}f}" for factor in factors)])
    steps.append(("Multiplier of this unit", product, own, MULTIPLIER))
    return steps


def _factor(rows: Features, one: dict) -> Line:
    """One term's line: the unit's figure over the usual one, to a power that the known units and the prior set."""
    value = round(one["factor"], DECIMALS)
    power = f"to the power {one['power']:.5f}"
    fact = rows.frame.iloc[0]
    told = {"contributor": f"Bench of {fact['contributor']}", "era": f"Made {fact['era']}"}
    told |= {"maker": f"Maker {fact['maker']}"}
    moved = one["power"] * (one["own"] - one["usual"])
    if one["term"] in told:
        return (told[one["term"]], f"e to the power {moved:.5f}: how its known units differ", value, TIMES)
    if one["term"] in DEPARTURES:
        reading, name, centre, unit = DEPARTURES[one["term"]]
        if not rows.seen[0, reading]:
            return (f"{name}, not read", f"e to the power {moved:.5f}: what the other readings say of it", value, TIMES)
        own = centre * math.exp(rows.readings[0, reading])
        as_copper = " (as copper)" if reading == WIRE and not math.isclose(own, fact["wire_area_mm2"]) else ""
        said = f"{own:.6g} {unit}{as_copper} / {own / math.exp(one['own']):.6g} {unit} usual with such readings"
        return (name, f"{said}, {power}", value, TIMES)
    place = (" in the middle of the class", " usual there") if fact["size_class"] else ("", "")
    name, centre, unit = TERMS[one["term"]]
    own, usual = (centre * math.exp(one[side]) for side in ("own", "usual"))
    if one["term"] == "core":
        by = "V/R and volts" if rows.has_ratio[0] else "the other readings"
        name = "Size within the class" if fact["size_class"] else f"Size, judged from {by}"
    elif one["term"] in NOT_READ and not rows.seen[0, NOT_READ[one["term"]]]:
        name = f"{name}, not read"
    where = place[one["term"] != "core"]
    return (name, f"{own:.6g} {unit} / {usual:.6g} {unit}{where}, {power}", value, TIMES)


def _density(rows: Features, current_ma: float, area_mm2: float) -> list[Line]:
    """What the estimate asks of the wire, on the rms current of the supply."""
    rms = current_ma * rows.form_factor[0]
    density = rms / 1000 / area_mm2
    return [
        ("Winding current, rms", f"{current_ma:.6g} mA × {rows.form_factor[0]:.6g}", rms, "mA"),
        ("Current density", f"{rms / 1000:.6g} A / {area_mm2:.6g} mm²", density, "A/mm²"),
        ("the same", "in circular mils", wire.circular_mils_per_ampere(density), "circular mils per ampere"),
    ]


def supply_notes(asked: Prediction, answer: pd.Series) -> tuple[str, ...]:
    """Sentences about the supply of one unit, each with its figures.

    Parameters
    ----------
    asked : Prediction
        One unit.
    answer : pandas.Series
        The estimate of the unit.

    Returns
    -------
    tuple of str
        Empty for an ac rating.
    """
    pair = tuple(asked.readings.iloc[0][["rectifier", "filter"]])
    current = float(answer["rated_current_ma"])
    return (*_spread(pair, current), *_primary(answer), *_bias(asked, current))


def _spread(pair: tuple[str, str], current: float) -> list[str]:
    if pair not in SPREAD:
        return []
    k, (silicon, valve) = FORM_FACTOR[pair][0], (SPREAD[pair][one] for one in ("silicon", "valve"))
    said = (
        f"For each mA of direct current the winding carries {k:.3g} mA rms: the mean of usual sets, with silicon alone "
        f"{silicon[0]:.3g} to {silicon[1]:.3g}, with a valve {valve[0]:.3g} to {valve[1]:.3g}."
    )
    high = LARGE_CAPACITOR.get(pair, silicon)[1]
    if high > 1.05 * k and np.isfinite(current):
        how = " and a large capacitor" if pair in LARGE_CAPACITOR else ""
        said += (
            f" Silicon{how} at the cautious end, {high:.3g}: {current * k / high:.3g} mA instead of {current:.3g} mA."
        )
    if pair in GUIDES:
        low, up = GUIDES[pair]
        said += f" Makers' guides convert by {low:g} to {up:g}: their convention, shown beside and not reckoned with."
    return [said]


def _primary(answer: pd.Series) -> list[str]:
    limit = float(answer["winding_limit_ma"])
    if "primary-limit" not in str(answer["flags"]).split(";"):
        return []
    lead = "A bridge across a centre-tapped winding: "
    if np.isfinite(limit):
        lead += f"the winding would give {limit:.3g} mA, its primary {limit / np.sqrt(2):.3g} mA; the smaller counts. "
    return [
        f"{lead}Its ends then stand twice as far from the core: √2 times the whole winding's volts, not half of them."
    ]


def _bias(asked: Prediction, current: float) -> list[str]:
    if asked.readings["rectifier"].iloc[0] != "half-wave":
        return []
    bias = float(half_wave_bias(asked, np.array([current]))[0])
    if not np.isfinite(bias):
        wanted = (("a core", asked.rows.has_core), ("volts", asked.rows.seen[:, VOLTAGE]))
        lacks = " and ".join(name for name, there in wanted if not there[0])
        return [f"A half-wave rectifier's direct current biases the core; by how much is not told without {lacks}."]
    over = f", above {DC_BIAS_DOUBT_A_M:.0f} A/m: a doubt" if bias > DC_BIAS_DOUBT_A_M else ""
    return [
        f"A half-wave rectifier's direct current biases the core by about {bias:.0f} A/m ({BIAS_FLUX_T:g} T taken for "
        f"its flux){over}."
    ]


HALVES = ("hv_half_1_ohm", "hv_half_2_ohm")
# Columns of each reading that may be there or not, in the order in which they are added to V/R, or to the wire without.
ADDED = {
    "core": ("tongue_mm", "stack_mm", "core_area_cm2", "lamination", "window_width_mm", "window_height_mm"),
    "gauge": ("awg", "wire_diameter_mm"),
    "primary": ("primary_resistance_ohm", "u_primary_pct"),
    "weight": ("weight_kg",),
    "halves": HALVES,
    "maker": ("maker",),
    "era": ("made_year",),
    "bench": ("contributor",),
}


def narrowing(asked: Prediction, level: float) -> pd.DataFrame:
    """What each reading took off the interval of one unit.

    Parameters
    ----------
    asked : Prediction
        One unit.
    level : float
        Probability of the intervals.

    Returns
    -------
    pandas.DataFrame
        reading (the first is what any answer needs), then with it and all above it rated_current_ma, low_ma, high_ma
        [mA] and width (high over low, 1 and up); without, that ratio where it alone is left out of all (NaN for the
        first); level. Of readings that carried the estimate only. All of it is one batch, by the model itself.
    """
    import pandas as pd

    names = predictors(asked)[0].split("+")
    # Without V/R nothing can be told but by the wire, which then is left out of nothing.
    kept = ["v_over_r"] if "v_over_r" in names else [name for name in names if name == "gauge" or name not in ADDED]
    first, added = "+".join(kept), [name for name in ADDED if name in names and name not in kept]
    drop = [added[count:] for count in range(len(added) + 1)] + [[one] for one in added]
    frame = asked.readings.loc[asked.readings.index.repeat(len(drop))].reset_index(drop=True)
    frame["unit"] = [f"{place}" for place in range(len(drop))]
    for place, reading in enumerate(drop):
        _blank(frame, place, (column for name in reading for column in ADDED[name]))
    middle, low, high = asked.made_of(frame).rated.limits(level)
    wide, many = high / low, len(added) + 1
    table = {
        "reading": [first, *added],
        "rated_current_ma": middle[:many],
        "low_ma": low[:many],
        "high_ma": high[:many],
    }
    return pd.DataFrame({**table, "width": wide[:many], "without": [np.nan, *wide[many:]], "level": level})


def _blank(frame: pd.DataFrame, place: int, columns: Iterable[str]) -> None:
    for column in columns:
        if column in frame:
            text = isinstance(frame.at[place, column], str)
            frame.at[place, column] = "" if text else np.nan
