"""What a heat run's readings are carried back to: the instant of switching off, and the winding without iron's loss.

Sources: IEC 60034-1, IEC 60076-2 and IEEE C57.12.90; of the run without load IEC 60076-1 (loss without load) and IEC
60076-11 (rises of iron and of winding together); what is judgement says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calib.errors import Fault, InputError, above, positive
from calib.paths import data

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Cooling", "IDLE", "IronLoss", "back_to_switch_off", "combined_rise", "idle_faults", "iron_by_rises"]
__all__ += ["iron_by_watts", "iron_loss", "slip_between"]

LEAST_READINGS = 3
EARLY_S = 180.0  # a coil falls toward its core's temperature within some minutes (judgement)
QUADRATIC_WITHIN_S = 300.0
BENDS_FROM = 3.0  # standard errors of the curvature of ln(R - R_end) (judgement)
POINTS = 61  # of each curve in the picture
HOT_TIMES = (1.0, 1.6)  # a hot winding's resistance over its cold one: rises up to 150 K (judgement)
SLIPS = {"exchanged": -1.0, "half_hot": 2.0, "half_cold": 0.5, "kilo_hot": 1000.0, "kilo_cold": 0.001}
APART_TIMES = 1.6  # no cooling winding has two resistances so far apart (judgement)
OFF_SD, OFF_SHARE = 8.0, 0.003  # of the others' scatter, and of the resistance: then a reading is doubted (judgement)


@dataclass(frozen=True)
class Cooling:
    """A resistance carried back to the instant of switching off.

    Attributes
    ----------
    ohm, u_ohm : float
        At that instant, with the standard uncertainty of the fit [ohm].
    tau_s : float
        Time constant of the curve [s].
    method : str
        A (end resistance fixed), B (early part, all free) or C (parabola): which one counts.
    by_method : dict of str to float
        The resistance by each way that could be tried [ohm].
    span_s : float
        How far the readings reach that were fitted [s].
    fits : dict of str to tuple of float
        Of each way its numbers: of a curve the end, what is over it and tau [ohm, ohm, s]; of the parabola c2, c1, c0.
    reach_s : dict of str to float
        How far each way's readings reach [s].
    off : (float, float) or None
        Time of the one reading that lies off the curve of the others, and by how much [s, ohm].
    """

    ohm: float
    u_ohm: float
    tau_s: float
    method: str
    by_method: Mapping[str, float] = field(default_factory=dict)
    span_s: float = math.nan
    fits: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    reach_s: Mapping[str, float] = field(default_factory=dict)
    off: tuple[float, float] | None = None

    def curves(self) -> pd.DataFrame:
        """Each way's curve from the instant on: way, whether it counts, seconds, ohm."""
        import pandas as pd

        found = []
        for way, numbers in self.fits.items():
            at = np.linspace(0.0, self.reach_s[way], POINTS)
            if way == "C":
                ohm = np.polyval(numbers, at)
            else:
                end, over, tau = numbers
                ohm = end + over * np.exp(-at / tau)
            found.append(pd.DataFrame({"way": way, "counts": way == self.method, "seconds": at, "ohm": ohm}))
        return pd.concat(found, ignore_index=True)


def back_to_switch_off(seconds: Sequence[float], ohm: Sequence[float], end_ohm: float) -> Cooling:
    """Carry resistances read while a winding cools back to the instant of switching off.

    Parameters
    ----------
    seconds : sequence of float
        Since the line was opened, three or more, 0 or later, rising [s].
    ohm : sequence of float
        Read then, as many, above `end_ohm` [ohm].
    end_ohm : float
        Where they end: the cold resistance carried to the air at the end of the test, above 0 [ohm].

    Returns
    -------
    Cooling
        Method A, ln(R - R_end) on t by least squares, gives R0 and its standard error. Where its residuals bend, as of
        a coil that first falls toward its core, the first three minutes are fitted with all three parameters free (B).
        C, a parabola through the first five minutes, is a check.

    Raises
    ------
    InputError
        Fewer than three readings, one that is not above `end_ohm`, or a resistance that rises.

    Notes
    -----
    R(t) = R_end + A exp(-t / tau). Source: IEC 60034-1; IEC 60076-2.
    """
    at, read = np.asarray(seconds, float), np.asarray(ohm, float)
    _refuse_no_cooling(at, read, end_ohm)
    slope, start, error, bend = _fixed_end(at, read, end_ohm)
    over, tau, last = math.exp(start), -1.0 / slope, float(at[-1])
    fits: dict[str, tuple[float, ...]] = {"A": (end_ohm, over, tau)}
    reach, found = {"A": last}, {"A": end_ohm + over}
    cooling = Cooling(found["A"], over * error, tau, "A", span_s=last)
    early, first = at <= QUADRATIC_WITHIN_S, at <= EARLY_S
    bends = bend > BENDS_FROM and first.sum() >= 4
    free = _free_end(at, read, over, end_ohm, tau)
    if bends and (early_fit := _free_end(at[first], read[first], over, end_ohm, 120.0)) is not None:
        (start_ohm, u_ohm, fits["B"]), reach["B"] = early_fit, float(at[first][-1])
        cooling = Cooling(start_ohm, u_ohm, fits["B"][2], "B", span_s=reach["B"])
        found["B"] = start_ohm
    elif free is not None:
        (found["B"], _, fits["B"]), reach["B"] = free, last
    if early.sum() >= 4:
        fits["C"], reach["C"] = tuple(np.polyfit(at[early], read[early], 2).tolist()), float(at[early][-1])
        found["C"] = fits["C"][-1]
    return replace(cooling, by_method=found, fits=fits, reach_s=reach, off=_off(at, read, end_ohm))


def slip_between(hot_ohm: float, cold_ohm: float) -> str:
    """What would make a hot winding of two resistances that make none, in words; blank where nothing does.

    Parameters
    ----------
    hot_ohm, cold_ohm : float
        As read, each above 0 [ohm].
    """
    over, said = hot_ohm / cold_ohm, data("estimate/heat_run.toml")["slip"]
    low, high = HOT_TIMES
    found = [said[name] for name, by in SLIPS.items() if low <= (1.0 / over if by < 0.0 else over * by) <= high]
    return f"{said['lead']} {' or '.join(found)}" if found else ""


def _refuse_no_cooling(at: np.ndarray, read: np.ndarray, end_ohm: float) -> None:
    """Refuse readings that no cooling winding gives."""
    if len(at) < LEAST_READINGS:
        remedy = f"read {LEAST_READINGS} or more, six in five minutes"
        raise InputError.one(f"{len(at)} readings are too few", remedy, column="ohm", code="missing")
    middle = float(np.median(read))
    apart = np.maximum(read / middle, middle / read)
    if apart.max() > APART_TIMES and (apart > APART_TIMES).sum() < len(at) / 2.0:
        there = int(apart.argmax())
        problem = f"stands apart from the others, about {middle:.4g} ohm"
        remedy = f"look at the reading at {at[there]:g} s and its unit, or leave it out"
        raise InputError.one(problem, remedy, column="ohm", value=f"{read[there]:g}", code="improbable")
    for seconds, ohm in zip(at, read, strict=True):
        if ohm <= end_ohm:
            problem = f"is no hotter than the room, where the winding has {end_ohm:.5g} ohm"
            checks = "check the cold reading, its temperature, the leads' null and the winding that was read"
            remedy = f"{checks} at {seconds:g} s. {slip_between(ohm, end_ohm)}".rstrip(". ")
            raise InputError.one(problem, remedy, column="ohm", value=f"{ohm:g}", code="conflict")
    if np.polyfit(at, read, 1)[0] >= 0.0:
        problem = "the resistance rises after switching off, which a cooling winding's does not"
        remedy, value = "check the times, and that the line was open", f"{read[0]:g} to {read[-1]:g}"
        raise InputError.one(problem, remedy, column="ohm", value=value, code="conflict")


def _fixed_end(at: np.ndarray, read: np.ndarray, end_ohm: float) -> tuple[float, float, float, float]:
    """Slope and intercept of ln(R - R_end) on t, the intercept's standard error, and the bend over its own."""
    over = np.log(read - end_ohm)
    terms = np.column_stack([np.ones_like(at), at])
    (start, slope), error = _least_squares(terms, over)
    if len(at) < 5:
        return slope, start, error[0], 0.0
    bent, bent_error = _least_squares(np.column_stack([terms, at**2]), over)
    return slope, start, error[0], float(bent[2] / bent_error[2]) if bent_error[2] > 0.0 else 0.0


def _off(at: np.ndarray, read: np.ndarray, end_ohm: float) -> tuple[float, float] | None:
    """The reading that lies far off the curve of the others, and by how much; None where none does.

    By the residual over its own standard error with that reading left out, of ln(R - R_end) on t and its square.
    """
    if len(at) < 6:
        return None
    terms = np.vander(at / at[-1], 3, increasing=True)
    over = np.log(read - end_ohm)
    weight = np.linalg.pinv(terms)
    left, lever = over - terms @ (weight @ over), np.sum(terms * weight.T, axis=1)
    freedom = len(at) - 4
    spread = np.maximum(left @ left - left**2 / (1.0 - lever), 0.0) / freedom
    worst = int(np.argmax(np.abs(left) / np.sqrt(1.0 - lever)))
    off = float(read[worst] - end_ohm) * float(-np.expm1(-left[worst] / (1.0 - lever[worst])))
    sure = abs(left[worst]) > OFF_SD * math.sqrt(spread[worst] * (1.0 - lever[worst]))
    return (float(at[worst]), off) if sure and abs(off) > OFF_SHARE * read[worst] else None


def _least_squares(terms: np.ndarray, wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients and their standard errors, the scatter taken from the residuals."""
    inverse = np.linalg.inv(terms.T @ terms)
    coefficients = inverse @ terms.T @ wanted
    left = wanted - terms @ coefficients
    freedom = max(len(wanted) - terms.shape[1], 1)
    return coefficients, np.sqrt(np.diag(inverse) * (left @ left) / freedom)


def _free_end(
    at: np.ndarray, read: np.ndarray, drop: float, end_ohm: float, tau: float
) -> tuple[float, float, tuple[float, ...]] | None:
    """Resistance at the instant, its standard error, and end, over and tau all free; None where they do not settle."""
    from scipy.optimize import curve_fit

    if len(at) < 4:
        return None

    def curve(t: np.ndarray, end: float, over: float, constant: float) -> np.ndarray:
        return end + over * np.exp(-t / constant)

    try:
        with np.errstate(over="ignore", invalid="ignore"):
            found, spread = curve_fit(curve, at, read, p0=(end_ohm, drop, tau), maxfev=5000)
    except (RuntimeError, ValueError):
        return None
    start_u = math.sqrt(max(spread[0, 0] + spread[1, 1] + 2.0 * spread[0, 1], 0.0))
    good = np.all(np.isfinite(found)) and found[2] > 0.0 and math.isfinite(start_u)
    return (float(found[0] + found[1]), start_u, tuple(found.tolist())) if good else None


IDLE = ("idle_w", "idle_ma", "idle_ohm", "idle_rise_k")  # what is read in a run without load
OF_WATTS = IDLE[:3]
CONSTANT, FREE = 1.0, 1.25  # exponent of loss over rise: constant surface coefficient, free convection
WATTS_U = 0.05  # of a wattmeter at the power factor of an unloaded transformer (judgement)
APART = 0.25  # of the loss: the two ways may differ by so much (judgement)


def combined_rise(copper_k: float, iron_k: float) -> float:
    """Rise under load from that with the iron cold and that without load, each above 0 [K].

    Notes
    -----
    c [1 + (e/c)^1.25]^0.8. Source: IEC 60076-11, simulated load.
    """
    positive("rise by the copper", copper_k, "K")
    positive("rise without load", iron_k, "K")
    return copper_k * (1.0 + (iron_k / copper_k) ** FREE) ** (1.0 / FREE)


def iron_by_watts(watts: float, line_ma: float, primary_ohm: float) -> float:
    """Iron's loss from what an unloaded unit takes.

    Parameters
    ----------
    watts, line_ma, primary_ohm : float
        Taken from the line, rms current, and the primary's resistance then, each above 0 [W, mA, ohm].

    Returns
    -------
    float
        P - I² R [W].

    Raises
    ------
    ValueError
        An input not above 0, or the primary's copper alone takes as much.

    Notes
    -----
    Source: IEC 60076-1, loss without load.
    """
    positive("primary's resistance", primary_ohm, "ohm")
    positive("line current", line_ma, "mA")
    copper = (line_ma * 1e-3) ** 2 * primary_ohm
    above("watts from the line", watts, copper, "W")
    return watts - copper


def iron_by_rises(idle_rise_k: float, rise_k: float, copper_w: float, exponent: float = CONSTANT) -> float:
    """Iron's loss as the rise follows it, from the rises without and with load.

    Parameters
    ----------
    idle_rise_k, rise_k : float
        Of the same winding without load and with it, both when nothing moved any more; the second is more [K].
    copper_w : float
        Loss of all windings at the end of the loaded run, above 0 [W].
    exponent : float
        Of loss over rise, 1 to 1.25 [-].

    Returns
    -------
    float
        P_cu q / (1 - q) with q = (idle rise / rise)^exponent. Where copper heats the winding above its core as well,
        this is less than a wattmeter's figure, and the one that the permitted current follows [W].

    Raises
    ------
    ValueError
        An input not above 0, or a loaded rise that is not more than the other.

    Notes
    -----
    Linear heat balance: rise = a (P_fe + P_cu) + b P_cu, without load a P_fe. Source: IEC 60076-11 (the exponent).
    """
    positive("rise without load", idle_rise_k, "K")
    positive("copper loss", copper_w, "W")
    above("rise under load", rise_k, idle_rise_k, "K")
    share = (idle_rise_k / rise_k) ** exponent
    return copper_w * share / (1.0 - share)


@dataclass(frozen=True)
class IronLoss:
    """The iron's loss from a run without load.

    Attributes
    ----------
    watts, low_w, high_w : float
        It, and between what it lies [W].
    way : str
        rises or watts: what it was reckoned by.
    by_way : dict of str to float
        Each way that was read [W].
    doubts : tuple of str
        In words.
    """

    watts: float
    low_w: float
    high_w: float
    way: str
    by_way: Mapping[str, float]
    doubts: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.watts:.3g} W ({self.low_w:.3g} to {self.high_w:.3g} W), by the {self.way} without load"


def idle_faults(given: Mapping[str, Any]) -> list[Fault]:
    """Faults of what was read without load: a part missing, or at odds with a loss that is given as well."""
    read = {name for name in IDLE if given.get(name) is not None}
    if not read:
        return []
    said, faults = data("estimate/heat_run.toml")["unloaded"], []
    if given.get("iron_w") is not None:
        faults.append(_fault("iron_w", f"{given['iron_w']:g}", said["twice"], said["one_of_them"], "conflict"))
    if given.get("copper_w") is None:
        faults.append(_fault("copper_w", "", said["no_copper"], said["give_copper"], "missing"))
    if read & {*OF_WATTS}:
        missing = [name for name in OF_WATTS if name not in read]
        faults += [_fault(name, "", said["no_watts"], said["give_watts"], "missing") for name in missing]
    return faults


def _fault(column: str, value: str, problem: str, remedy: str, code: Any) -> Fault:
    return Fault("", None, column, value, problem, remedy, code)


def iron_loss(given: Mapping[str, Any], rise_k: float) -> IronLoss | None:
    """The iron's loss from what was read without load.

    Parameters
    ----------
    given : mapping of str to float or None
        By name: idle_w, idle_ma, idle_ohm (watts and current from the line, and the primary's resistance then),
        idle_rise_k (rise of the winding without load) and copper_w, without faults.
    rise_k : float
        Rise of the winding under load [K].

    Returns
    -------
    IronLoss or None
        By the rises where they were read, else by the watts; None where neither was.

    Raises
    ------
    InputError
        The unloaded rise is as great as the loaded one, or copper alone takes the watts.
    """
    found, bounds = {}, {}
    remedy = data("estimate/heat_run.toml")["unloaded"]["look"]
    if given.get("idle_w") is not None:
        watts = _tried("idle_w", remedy, iron_by_watts, *(given[name] for name in OF_WATTS))
        found["watts"], bounds["watts"] = watts, (watts - WATTS_U * given["idle_w"], watts + WATTS_U * given["idle_w"])
    if given.get("idle_rise_k") is not None:
        rises = (given["idle_rise_k"], rise_k, given["copper_w"])
        ends = [_tried("idle_rise_k", remedy, iron_by_rises, *rises, exponent) for exponent in (CONSTANT, FREE)]
        found["rises"], bounds["rises"] = ends[0], (min(ends), max(ends))
    if not found:
        return None
    way = "rises" if "rises" in found else "watts"
    doubts: tuple[str, ...] = ()
    if len(found) > 1 and abs(found["watts"] - found["rises"]) > APART * max(found.values()):
        doubts = (data("estimate/heat_run.toml")["unloaded"]["apart"].format(**found),)
    return IronLoss(found[way], *bounds[way], way, found, doubts)


def _tried(column: str, remedy: str, reckon: Any, *values: float) -> float:
    """What a formula gives; InputError with its field where its inputs cannot be."""
    try:
        return float(reckon(*values))
    except ValueError as error:
        raise InputError.one(str(error), remedy, column=column, value=f"{values[0]:g}", code="conflict") from None
