"""The iron's loss from a run without load: by the watts that it takes from the line, or by the rise that it comes to.

Sources: IEC 60076-1 (loss without load) and IEC 60076-11 (rises of iron and of winding together); what is judgement
says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.errors import Fault, InputError, above, positive
from calib.paths import data

__all__ = ["IDLE", "IronLoss", "combined_rise", "idle_faults", "iron_by_rises", "iron_by_watts", "iron_loss"]

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
