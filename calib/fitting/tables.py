"""The tables that a fit gives: classes, suspects, the line and its points, and the estimates of unknown units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from calib.bench.core import SIZE_CLASS_LABELS, CoreSheets, core_sheets, size_class_bounds
from calib.bench.magnetics import DC_BIAS_DOUBT_A_M, SCRAPLESS_PATH, dc_bias_a_m
from calib.fitting.features import (
    CENTRE_AREA_CM2,
    CENTRE_FREQUENCY_HZ,
    CORE,
    PAIRS,
    STANDING,
    VOLTAGE,
)
from calib.fitting.gross_errors import DOUBTFUL_BELOW, ERROR_NAMES, NAMES, SLIPS, SUSPECT_BELOW, plausible
from calib.fitting.model import DRIFT_SD
from calib.fitting.predictive import Fitted, Prediction, RatedCurrent, check_level, predictors, unused
from calib.fitting.prior import MAIN, MAKER_SD
from calib.register.improbable import improbable_rows
from calib.supply.form_factor import FORM_FACTOR

if TYPE_CHECKING:
    import pandas as pd

FIRST_SUPPLY = ("full-wave", "capacitor")  # shown where no record says which supply matters
SMALLEST_CM2, LARGEST_CM2 = 2.0, 60.0  # where the open classes are taken to begin and end
FEW_RECORDS = 6
USUAL_WEIGHT = 5.0  # records that the prior's usual V/R and voltage of a size count for
GAP = 0.03  # a ratio test that departs this far from a stated no-load voltage is questioned
BEYOND = 1.05  # an area this factor outside those seen is an extrapolation


def frame(columns: dict) -> pd.DataFrame:
    """A data frame, with pandas imported only when one is made."""
    import pandas as pd

    return pd.DataFrame(columns)


def classes(model: Fitted, level: float) -> pd.DataFrame:
    """See :meth:`Multiplier.classes`."""
    check_level(level)
    found = {(rectifier, filter) for _, rectifier, filter in model.class_counts}
    seen = [pair for pair in PAIRS if pair in found] or [FIRST_SUPPLY]
    cells = [(label, *pair) for pair in seen for label in SIZE_CLASS_LABELS]
    value, low, high = class_means(model, cells, usual_frequency(model), level)
    table = frame(dict(zip(("size_class", "rectifier", "filter"), zip(*cells, strict=True), strict=True)))
    table[["low_area_cm2", "high_area_cm2"]] = [size_class_bounds(label) for label, _, _ in cells]
    return table.assign(
        count=[model.class_counts.get(cell, 0) for cell in cells], multiplier=value, low=low, high=high, level=level
    )


def terms(model: Fitted, level: float) -> pd.DataFrame:
    """See :meth:`Multiplier.terms`."""
    check_level(level)
    value, low, high = model.mean_of(np.eye(model.design.width), level)
    return frame({"name": list(model.design.names), "value": value, "low": low, "high": high, "level": level})


def class_means(model: Fitted, cells: list, frequency: np.ndarray | float, level: float) -> np.ndarray:
    """Median, low and high of the mean multiplier [mA per V/ohm] of (class, rectifier, filter), shape (3, n)."""
    form = np.log([FORM_FACTOR[r, f][0] for _, r, f in cells])
    return np.exp(model.mean_of(_class_rows(model, cells, frequency), level) - form)


def _class_rows(model: Fitted, cells: list, frequency: np.ndarray | float) -> np.ndarray:
    """Design rows of an ordinary unit in the middle of each (class, rectifier, filter)."""
    bounds = [size_class_bounds(label) for label, _, _ in cells]
    areas = np.array([np.sqrt(max(low, SMALLEST_CM2) * min(high, LARGEST_CM2)) for low, high in bounds])
    x = _line_rows(model, areas, [(r, f) for _, r, f in cells], frequency)
    x[:, model.design.block("class")] = np.array([cell[0] for cell in cells])[:, None] == np.array(SIZE_CLASS_LABELS)
    return x


def _line_rows(model: Fitted, areas: np.ndarray, pairs: Sequence, frequency: np.ndarray | float) -> np.ndarray:
    """Design rows of an ordinary unit at each area: usual V/R and voltage of its size, no departures, no class."""
    x = np.zeros((len(areas), model.design.width))
    x[:, model.design.starts["era"]] = 1.0  # of a year that nobody told
    core = np.log(areas / CENTRE_AREA_CM2)
    ratio, volts = _usual(model)
    x[:, 0], x[:, 1] = 1.0, core
    x[:, 2] = np.log(np.asarray(frequency) / CENTRE_FREQUENCY_HZ)
    x[:, 3], x[:, 4] = ratio[0] + ratio[1] * core, volts[0] + volts[1] * core
    x[
        np.arange(len(areas)),
        model.design.starts["supply"] + np.array([PAIRS.index(pair) for pair in pairs], dtype=int),
    ] = 1.0
    return x


def _usual(model: Fitted) -> np.ndarray:
    """Intercept and slope on ln area of the V/R and voltage covariates: the prior's, moved to the known units'."""
    usual = model.prior.usual.copy()
    sound = model.rows.has_core & (model.responsibilities[:, 0] > DOUBTFUL_BELOW)
    if sound.any():
        x = model.rows.covariates[sound]
        share = len(x) / (len(x) + USUAL_WEIGHT)
        for k, column in enumerate((3, 4)):
            usual[k, 0] += share * np.median(x[:, column] - usual[k, 0] - usual[k, 1] * x[:, 1])
    return usual


def usual_frequency(model: Fitted) -> float:
    """Line frequency that the table and the line are stated for: the commonest of the known units, else 60 Hz."""
    own = model.rows.frequency[model.rows.own]
    if not len(own):
        return CENTRE_FREQUENCY_HZ
    values, counts = np.unique(np.round(np.exp(own) * CENTRE_FREQUENCY_HZ), return_counts=True)
    return float(values[np.argmax(counts)])


def suspects(model: Fitted) -> pd.DataFrame:
    """See :meth:`Multiplier.suspects`."""
    odds = model.responsibilities
    order = np.argsort(odds[:, 0], kind="stable")
    order = order[model.rows.own[order] & (odds[order, 0] < DOUBTFUL_BELOW)]
    table = model.rows.frame.iloc[order][["contributor", "unit"]].reset_index(drop=True)
    likely = odds[order, 1:].argmax(axis=1)
    return table.assign(odds_sound=odds[order, 0], likely_slip=np.array(ERROR_NAMES, dtype=object)[likely])


def line(model: Fitted, rectifier: str, filter: str, level: float, areas: np.ndarray) -> pd.DataFrame:
    """See :meth:`Multiplier.line`; stated for the commonest line frequency among the known units."""
    check_level(level)
    areas = np.asarray(areas, dtype=float)
    # The line is drawn without the steps of the classes, whose deviation widens the band instead.
    x = _line_rows(model, areas, [(rectifier, filter)] * len(areas), usual_frequency(model))
    form = np.log(FORM_FACTOR[rectifier, filter][0])
    value, low, high = np.exp(model.mean_of(x, level) - form)
    means, spread = model.linear(x)
    noise = np.array([point.scales.noise**2 + point.scales.size_class**2 for point in model.quadrature])[:, None]
    sd = np.sqrt(spread + noise + model.unmeasured.beside(model.imputation) + MAKER_SD**2 + DRIFT_SD**2)
    unit_low, unit_high = RatedCurrent(model.shares, means - form, sd).interval(level)
    band = {"low": low, "high": high, "unit_low": unit_low, "unit_high": unit_high, "level": level}
    return frame({"core_area_cm2": areas, "multiplier": value, **band})


def points(model: Fitted, rectifier: str, filter: str) -> pd.DataFrame:
    """See :meth:`Multiplier.points`: each multiplier times its own form factor over that of the supply asked for."""
    rows = model.rows
    at = rows.frame.reset_index(drop=True)
    columns = ["contributor", "unit", "evidence", "rectifier", "filter", "core_area_cm2", "size_class", "simulated"]
    asked = np.log(FORM_FACTOR[rectifier, filter][0])
    odds = model.responsibilities[:, 0]
    return at[columns].assign(
        multiplier=np.exp(rows.response - asked),
        odds_sound=odds,
        doubtful=rows.own & (odds < DOUBTFUL_BELOW),
        own=rows.own,
    )


def estimates(asked: Prediction, level: float) -> pd.DataFrame:
    """See :meth:`Multiplier.estimate`."""
    check_level(level)
    rows, unknown, rated, found = asked.rows, asked.readings, asked.rated, asked.weighed
    shown = np.where(asked.withheld & (not asked.as_read), np.nan, 1.0)
    middle = rated.median() * shown
    low, high = rated.interval(level)
    table = frame(
        {
            **{name: rows.frame[name].to_numpy() for name in ("unit", "no_load_v", "v_over_r", "size_class")},
            "predictors": predictors(asked),
            **dict(zip(("multiplier", "multiplier_low", "multiplier_high"), _multipliers(asked, level), strict=True)),
            "rated_current_ma": middle,
            "low_ma": low * shown,
            "high_ma": high * shown,
            "floor_ma": rated.ppf(1 - level) * shown,
            "odds_of_demand": rated.sf(unknown["demand_ma"].to_numpy(dtype=float)) * shown,
            "flags": _flags(asked),
            "unit_multiplier": middle / rows.frame["v_over_r"].to_numpy(),
            "odds_sound": found.odds[:, 0],
            **repairs(asked, level),
            **{name: rows.frame[name].to_numpy() for name in STANDING},
            "unused": unused(asked),
        }
    )
    return _with_bias(_with_primary(table, asked), asked).assign(level=level)


CURRENTS = ("rated_current_ma", "low_ma", "high_ma", "floor_ma", "repaired_ma", "repaired_low_ma", "repaired_high_ma")


def _with_primary(table: pd.DataFrame, asked: Prediction) -> pd.DataFrame:
    """Bring a bridge on a centre-tapped winding down to what its primary gives.

    An unknown is taken as designed for a centre-tapped direct current. A bridge across the whole of it asks its primary
    for sqrt(2) times the share of what its winding gives: the primary's limit, the winding's over sqrt(2), is the
    smaller (equal heating of a section; Radiotron Designer's Handbook).
    """
    unknown = asked.readings
    bridged = (unknown["rectifier"].to_numpy() == "bridge") & unknown["centre_tapped"].to_numpy(dtype=bool)
    table["winding_limit_ma"] = np.where(bridged, table["rated_current_ma"], np.nan)
    if not bridged.any():
        return table
    for name in (*CURRENTS, "unit_multiplier"):
        table[name] = np.where(bridged, table[name] / np.sqrt(2), table[name])
    odds = asked.rated.sf(unknown["demand_ma"].to_numpy(dtype=float) * np.sqrt(2))
    blank = np.isnan(table["rated_current_ma"].to_numpy())
    table["odds_of_demand"] = np.where(bridged & ~blank, odds, table["odds_of_demand"])
    table.loc[bridged, "flags"] = [_joined(flags, "primary-limit") for flags in table.loc[bridged, "flags"]]
    return table


def _with_bias(table: pd.DataFrame, asked: Prediction) -> pd.DataFrame:
    """Add the doubt of a half-wave supply whose direct current biases the core beyond what ordinary units bear."""
    half_wave = np.flatnonzero(asked.readings["rectifier"].to_numpy() == "half-wave")
    if not len(half_wave):
        return table
    bias = half_wave_bias(asked, table["rated_current_ma"].to_numpy())
    for k in half_wave[bias[half_wave] > DC_BIAS_DOUBT_A_M]:
        said = (
            f"half-wave: its direct current biases the core by about {bias[k]:.0f} A/m, above {DC_BIAS_DOUBT_A_M:.0f} "
            "A/m: it may have been made for another rectifier"
        )
        table.loc[k, "doubts"] = " | ".join(filter(None, [table.loc[k, "doubts"], said]))
        table.loc[k, "flags"] = _joined(table.loc[k, "flags"], "doubt")
    return table


def half_wave_bias(asked: Prediction, current_ma: np.ndarray) -> np.ndarray:
    """Field that a half-wave supply's direct current puts into each core [A/m]; NaN without a core."""
    rows, unknown = asked.rows, asked.readings
    tongue = unknown["tongue_mm"].to_numpy(dtype=float)
    area = rows.frame["core_area_cm2"].to_numpy(dtype=float)
    path_mm = SCRAPLESS_PATH * np.where(np.isfinite(tongue), tongue, 10 * np.sqrt(area))
    shaped = [one for one in ("lamination", "window_width_mm") if one in unknown]
    other = np.flatnonzero(unknown[shaped].replace("", np.nan).notna().any(axis=1).to_numpy())
    for at, sheets in zip(other, sheets_of(unknown.iloc[other]), strict=True):
        if sheets is not None:
            path_mm[at] = sheets.path_range_mm[0]
    frequency = np.exp(rows.frequency) * CENTRE_FREQUENCY_HZ
    return dc_bias_a_m(current_ma, rows.frame["no_load_v"].to_numpy(), frequency, area, path_mm)


def sheets_of(unknown: pd.DataFrame) -> list[CoreSheets | None]:
    """What the sheets of each unit's core fix; None without a tongue, or where nothing tells their window."""
    names = ("tongue_mm", "window_width_mm", "window_height_mm")
    sides = [unknown[one].to_numpy(float) if one in unknown else np.full(len(unknown), np.nan) for one in names]
    shapes = unknown["lamination"] if "lamination" in unknown else [""] * len(unknown)
    return [
        core_sheets(tongue, shape if isinstance(shape, str) else "", (wide, high) if np.isfinite(wide) else None)
        if np.isfinite(tongue)
        else None
        for tongue, wide, high, shape in zip(*sides, shapes, strict=True)
    ]


def _joined(flags: str, more: str) -> str:
    """Flags with one more, `doubt` right after `stop` where that is."""
    there = [one for one in flags.split(";") if one]
    if more in there:
        return flags
    place = (1 if "stop" in there else 0) if more == "doubt" else len(there)
    return ";".join([*there[:place], more, *there[place:]])


def repairs(asked: Prediction, level: float) -> dict[str, np.ndarray]:
    """The likeliest slip of suspect readings whose repair brings the median where transformers' are, and that estimate.

    Parameters
    ----------
    asked : Prediction
        Unknown units.
    level : float
        Probability of the intervals.

    Returns
    -------
    dict of str to numpy.ndarray, shape (n,)
        likely_slip, repaired_ma, repaired_low_ma, repaired_high_ma [mA]; blank elsewhere, and where there is none.
    """
    found, wanted = asked.weighed, asked.withheld | (asked.weighed.odds[:, 0] < SUSPECT_BELOW)
    names = np.full(len(wanted), "", dtype=object)
    figures = np.full((3, len(wanted)), np.nan)
    odds = np.where(found.repairable, found.odds[:, 1:], 0.0)
    order = np.argsort(-odds, axis=1, kind="stable")
    for rank in range(len(SLIPS)):
        index = np.flatnonzero(wanted & np.isnan(figures[0]) & (odds[np.arange(len(odds)), order[:, rank]] > 0))
        if not len(index):
            break
        made = repaired(asked, order[:, rank], index, level)
        index, made = (one[..., plausible(made[0])] for one in (index, made))
        figures[:, index], names[index] = made, np.array(NAMES, dtype=object)[order[index, rank]]
    keys = ("repaired_ma", "repaired_low_ma", "repaired_high_ma")
    return {"likely_slip": names, **dict(zip(keys, figures, strict=True))}


def repaired(asked: Prediction, slips: np.ndarray, index: np.ndarray, level: float) -> np.ndarray:
    """Median, low and high [mA] of chosen units, shape (3, m), with a slip undone: `slips` has one for every unit."""
    step, step_sd = asked.weighed.step(slips)
    made, beside = (asked.model.predictive(asked.weighed.undone(by, index)) for by in (step, step + step_sd))
    return replace(made, ln_sd=np.hypot(made.ln_sd, beside.ln_mean - made.ln_mean)).limits(level)


def _multipliers(asked: Prediction, level: float) -> np.ndarray:
    """The class's mean multiplier for each unit's supply and frequency; without a core, that of its V/R, if any."""
    model, rows = asked.model, asked.rows
    result = np.full((3, len(rows)), np.nan)
    sizeless, own = ~rows.has_core, ~rows.has_core & rows.has_ratio
    if own.any():
        result[:, own] = np.exp(model.mean_of(asked.matrix[own], level) - rows.form[own])
    if (~sizeless).any():
        sized = rows.take(~sizeless)
        frequency = np.exp(sized.frequency) * CENTRE_FREQUENCY_HZ
        at = sized.frame
        keys = list(zip(at["size_class"], at["rectifier"], at["filter"], np.round(frequency, 6), strict=True))
        cells = sorted(set(keys))
        means = class_means(model, [cell[:3] for cell in cells], np.array([cell[3] for cell in cells]), level)
        place = {cell: k for k, cell in enumerate(cells)}
        metal = sized.form - np.log(sized.form_factor)
        result[:, ~sizeless] = means[:, [place[key] for key in keys]] * np.exp(-metal)
    return result


def from_mean_to_unit(asked: Prediction) -> tuple[float, pd.DataFrame]:
    """What takes the mean multiplier of its size class to one unit's, term by term of the design matrix.

    Parameters
    ----------
    asked : Prediction
        One unit.

    Returns
    -------
    start : float
        The mean of its class, by the average of the coefficients; without a core that of a unit at the centres of all
        covariates [mA per V/ohm].
    factors : pandas.DataFrame
        term (of prior.MAIN, era, maker or contributor), own and usual (logarithms of the unit's covariate and of the
        start's), power (the coefficient), factor = exp(power (own - usual)) [1]; a row for each term that moves the
        multiplier.
    """
    model, rows, x = asked.model, asked.rows, asked.matrix
    unit = rows.frame.iloc[0]
    if rows.has_core[0]:
        hertz = float(np.exp(rows.frequency[0])) * CENTRE_FREQUENCY_HZ
        usual = _class_rows(model, [(unit["size_class"], unit["rectifier"], unit["filter"])], hertz)
    else:
        usual = np.zeros_like(x)
        usual[0, [0, model.design.starts["supply"] + int(rows.pair[0]), model.design.starts["era"]]] = 1.0
    power = model.average[0]
    moved = (x - usual)[0]
    blocks = {name: range(*model.design.block(name).indices(x.shape[1])) for name in ("era", "maker", "contributor")}
    at = [*range(len(MAIN)), *(column for columns in blocks.values() for column in columns)]
    names = [*MAIN, *(name for name, columns in blocks.items() for _ in columns)]
    terms = frame({"term": names, "own": x[0, at], "usual": usual[0, at], "power": power[at]})
    terms["factor"] = np.exp(terms["power"] * moved[at])
    return float(np.exp(usual[0] @ power - rows.form[0])), terms[moved[at] != 0.0].reset_index(drop=True)


def _flags(asked: Prediction) -> list[str]:
    """What a reader must know of each estimate, joined by semicolons."""
    model, rows = asked.model, asked.rows
    known = model.rows.readings[model.rows.has_core & (model.responsibilities[:, 0] > DOUBTFUL_BELOW), CORE]
    area = rows.readings[:, CORE]
    beyond = np.zeros(len(rows), dtype=bool)
    if len(known):
        beyond = (area > known.max() + np.log(BEYOND)) | (area < known.min() - np.log(BEYOND))
    strange = asked.withheld | (asked.weighed.odds[:, 0] < SUSPECT_BELOW)
    strange |= np.abs(np.nan_to_num(rows.frame["reading_gap"].to_numpy(dtype=float))) > GAP
    standing = {name: rows.frame[name].to_numpy() != "" for name in STANDING}
    marks = {
        "stop": standing["stop"] & ~standing["stop_cleared"],
        "doubt": standing["doubts"],
        "not-converged": not model.converged,
        "prior-only": model.records == model.published == 0,
        "published-only": model.records == 0 < model.published,
        "few-records": 0 < model.records < FEW_RECORDS,
        "extrapolated": beyond,
        "no-core": ~rows.has_core,
        "no-resistance": ~np.isfinite(rows.frame["resistance_ohm"].to_numpy(dtype=float)),
        "no-volts": ~rows.seen[:, VOLTAGE],
        "suspect-reading": strange,
        "improbable": improbable_rows(asked.readings),
        "withheld": asked.withheld,
        "simulated": rows.frame["simulated"].to_numpy(dtype=bool) | model.simulated,
    }
    masks = [np.broadcast_to(mask, len(rows)) for mask in marks.values()]
    return [";".join(name for name, mask in zip(marks, each, strict=True) if mask) for each in zip(*masks, strict=True)]
