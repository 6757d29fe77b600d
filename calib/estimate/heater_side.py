"""The heater windings of a unit under a set: their volts at that load, what brings them down, and all windings' heat.

The primary drops its resistance times the real power over the line, which every winding loses in proportion; a heater
winding drops its own current times its resistance besides. Copper is reckoned warm. Sources: circuit law; Magnetic
Circuits and Transformers (MIT EE Staff); tolerances of heaters by the RCA Receiving Tube Manual.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.bench.ratio_test import usual_heater_v
from calib.bench.resistance import REFERENCE_C
from calib.errors import Fault, InputError
from calib.estimate.heaters import HeaterEstimate, HeaterReading, heaters_of_unit
from calib.estimate.line import lines_of, primary_at
from calib.estimate.set_supply import LINE_HALF_WIDTH, WARM, SetSupply, Source
from calib.fitting.predictive import Prediction
from calib.paths import data
from calib.supply.budget import HeatBudget, Resistor, Winding, dropping, heat_budget, heater_at_load
from calib.supply.loads import fault_of, numbers_of_row
from calib.supply.steady_state import SupplyState

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["HeaterAtLoad", "HeaterSide", "WINDING_COLUMNS", "heater_side", "winding_rows"]

WINDING_COLUMNS = ("unit", "heater", "no_load_v", "ohm", "null_ohm", "winding_temp_c", "rated_a")
FIELDS = data("supply/fields.toml")["winding"]
GOOD, ALLOWED = 0.05, 0.10  # of a heater's volts: good practice, and what valves stand (RCA)
ROUNDS = 30  # of what the primary's heat leaves to the high voltage


@dataclass(frozen=True)
class HeaterAtLoad:
    """A heater winding under a set.

    Attributes
    ----------
    name : str
        As it was read.
    heater_v : float
        What its heaters want; NaN where it stands for no usual voltage [V].
    no_load_v : float
        At the nominal line, rms [V].
    drawn_a : float
        By the set's heaters of that voltage, shared among windings alike as each can give [A].
    rated_a : float
        As told, else estimated; NaN where neither [A].
    volts, volts_high : float
        With the set at rest, on its line and on one 5 % higher; NaN where the resistance is not known, the second where
        today's line was told [V].
    dropper : Resistor or None
        What brings it down to its heaters' volts, where it is more than 5 % above them.
    """

    name: str
    heater_v: float
    no_load_v: float
    drawn_a: float
    rated_a: float
    volts: float
    volts_high: float
    dropper: Resistor | None

    def as_dict(self) -> dict[str, Any]:
        """Plain values; None for a number that does not exist."""
        told = {name: value for name, value in vars(self).items() if name != "dropper"}
        told |= {"dropper_ohm": self.dropper.ohm if self.dropper else None}
        told |= {"dropper_w": self.dropper.watts if self.dropper else None}
        return {name: None if isinstance(one, float) and math.isnan(one) else one for name, one in told.items()}

    @property
    def words(self) -> str:
        """Its volts, and what to do about them."""
        said = data("estimate/demand.toml")["winding"]
        figures = {**vars(self), "percent": 100.0 * (self.volts / self.heater_v - 1.0)}
        if math.isnan(self.heater_v):
            return str(said["no_usual"].format(**figures))
        if math.isnan(self.volts):
            return str(said["unread"].format(**figures))
        lines = [said["idle" if not self.drawn_a else "volts"].format(**figures)]
        lines += [said["high"].format(**figures)] if self.volts_high == self.volts_high else []
        if self.dropper is not None:
            lines.append(said["dropper"].format(one=self.dropper))
        elif self.drawn_a and self.volts < (1.0 - GOOD) * self.heater_v:
            lines.append(said["low"])
        elif self.drawn_a and self.volts_high > (1.0 + ALLOWED) * self.heater_v:
            lines.append(said["too_high"])
        lines += [said["over"].format(**figures)] if self.drawn_a > self.rated_a else []
        return " ".join(lines)


@dataclass(frozen=True)
class HeaterSide:
    """The heater windings of a unit under a set; ``words`` says it.

    Attributes
    ----------
    windings : tuple of HeaterAtLoad
        In the order read.
    unserved : tuple of float
        Volts of heaters that no winding read gives [V].
    budget : HeatBudget or None
        Copper heat of all windings, as rated and with the set at its worst; None where some rating is not known.
    hv_ma : float
        Direct current at which all copper together is as hot as rated, at most 1.15 times the likeliest rating [mA].
    """

    windings: tuple[HeaterAtLoad, ...] = ()
    unserved: tuple[float, ...] = ()
    budget: HeatBudget | None = None
    hv_ma: float = math.nan

    def as_dict(self) -> dict[str, Any]:
        """Plain values by the keys of a demand."""
        budget = None if self.budget is None else {**vars(self.budget), "hv_ma": self.hv_ma}
        return {"heater_windings": [one.as_dict() for one in self.windings], "heat_budget": budget}

    @property
    def caution(self) -> str:
        """What stands before a resistor in a heater's lead; blank where none is wanted."""
        wanted = any(one.dropper is not None for one in self.windings)
        return str(data("estimate/demand.toml")["winding"]["caution"]) if wanted else ""

    @property
    def words(self) -> list[str]:
        """A sentence for each winding, what is missing, and the heat; none where no winding was read."""
        said = data("estimate/demand.toml")["winding"]
        lines = [one.words for one in self.windings]
        lines += [said["unserved"].format(volts=one) for one in self.unserved] if self.windings else []
        if self.budget is not None:
            how = "budget" if self.budget.hv_share >= 1.0 else "budget_less"
            lines.append(said[how].format(**vars(self.budget), hv_ma=self.hv_ma))
        elif self.windings:
            lines.append(said["no_budget"])
        return lines


def heater_side(
    asked: Prediction,
    at: int,
    source: Source,
    told: tuple[Sequence[HeaterReading], Sequence[tuple[float, float]], SetSupply, float],
    states: tuple[SupplyState | None, SupplyState | None],
) -> HeaterSide:
    """Heater windings at a set's load, and the heat of all windings.

    Parameters
    ----------
    asked : Prediction
        Units with their readings.
    at : int
        Which of them.
    source : tuple of float
        As `source_of` gives it.
    told : (sequence of HeaterReading, sequence of (float, float), SetSupply, float)
        The windings as read; volts and amperes of the set's heaters; the set's supply; the unit's likeliest rating, NaN
        where withheld [mA].
    states : tuple of SupplyState or None
        The supply at rest and at worst.

    Returns
    -------
    HeaterSide
        V = V_0 (V_line - R_p P / V_line) / V_nominal - I R; a dropper (V - V_heater) / I; heat by the sum of I²R.
    """
    readings, heaters, supply, rated_ma = told
    alone = Prediction.of(asked.model, asked.readings.iloc[[at]])
    found = heaters_of_unit(alone, readings, 0.9).windings
    rated = [
        read.rated_a if read.rated_a == read.rated_a else one.rated_a for read, one in zip(readings, found, strict=True)
    ]
    drawn, unserved = _shared(found, heaters, rated)
    fed = _Fed(
        asked.readings.iloc[at],
        float(asked.rows.frame["no_load_v"].iloc[at]),
        WARM * _primary_ohm(asked, at, source),
        sum(volts * amperes for volts, amperes in heaters),
        supply,
    )
    at_load = [fed.heater(one, states[0], *of) for one, *of in zip(found, drawn, rated, strict=True)]
    side, worst = HeaterSide(tuple(at_load), unserved), states[1]
    ohms = [WARM * one.resistance_ohm for one in found]
    if worst is None or not worst.load_ma or not all(map(math.isfinite, (rated_ma, *rated, *ohms))):
        return side
    lit = [Winding(*one) for one in zip(ohms, rated, drawn, strict=True)]
    full_w = sum(one.heater_v * one.rated_a for one in at_load if one.heater_v == one.heater_v)
    own = WARM * float(asked.rows.frame["resistance_ohm"].iloc[at])
    budget = fed.budget(own, lit, worst, (rated_ma, full_w))
    return replace(side, budget=budget, hv_ma=budget.hv_share * rated_ma)


@dataclass(frozen=True)
class _Fed:
    """What feeds the heaters: the unit, its no-load volts, its primary's ohms warm, all heaters' watts, the supply."""

    unit: pd.Series
    no_load_v: float
    primary_ohm: float
    heater_w: float
    supply: SetSupply

    def heater(self, one: HeaterEstimate, rest: SupplyState | None, drawn_a: float, rated_a: float) -> HeaterAtLoad:
        """A winding with the set at rest."""
        _, (now_v, _) = lines_of(self.unit, self.supply)
        high_v = math.nan if self.supply.line_now_v is not None else now_v * (1.0 + LINE_HALF_WIDTH)
        on_line, on_high = (self._volts(one, rest, drawn_a, line_v) for line_v in (now_v, high_v))
        over = drawn_a > 0.0 and on_line > (1.0 + GOOD) * one.usual_v
        dropper = dropping(on_line, one.usual_v, drawn_a) if over else None
        return HeaterAtLoad(one.name, one.usual_v, one.no_load_v, drawn_a, rated_a, on_line, on_high, dropper)

    def _volts(self, one: HeaterEstimate, rest: SupplyState | None, drawn_a: float, line_v: float) -> float:
        """Of a winding, warm, on a line; NaN where its resistance or the set's state is not known."""
        primary, ohm = (
            primary_at(self.unit, self.no_load_v, rest, self.heater_w, self.supply),
            WARM * one.resistance_ohm,
        )
        if primary is None or not ohm >= 0.0 or math.isnan(line_v):
            return math.nan
        (nominal_v, _), _ = lines_of(self.unit, self.supply)
        left_v = line_v - self.primary_ohm * primary.watts / line_v
        return heater_at_load(one.no_load_v, ohm, drawn_a, left_v / nominal_v)

    def budget(
        self, own_ohm: float, lit: Sequence[Winding], worst: SupplyState, rated: tuple[float, float]
    ) -> HeatBudget:
        """Heat of all windings, warm; `rated` is the high voltage's direct current and all heaters' watts as rated."""
        rated_ma, full_w = rated

        def primary_a(heater_w: float, hv_ma: float) -> float:
            """rms current of the primary with so many watts of heaters and a direct current."""
            share = hv_ma / worst.load_ma
            primary = primary_at(self.unit, self.no_load_v, worst, heater_w, self.supply, share)
            return primary.amperes if primary else 0.0

        def with_primary(hv_ma: float) -> HeatBudget:
            primary = Winding(self.primary_ohm, primary_a(full_w, rated_ma), primary_a(self.heater_w, hv_ma))
            return heat_budget(hv, [*lit, primary])

        per_dc = worst.winding_rms_per_dc / 1000.0
        hv = Winding(own_ohm, rated_ma * per_dc, worst.load_ma * per_dc)
        share = 1.0
        for _ in range(ROUNDS):  # more high-voltage current heats the primary too: the middle of either guess settles
            share = (share + with_primary(share * rated_ma).hv_share) / 2.0
        return replace(with_primary(worst.load_ma), hv_share=share)


def _primary_ohm(asked: Prediction, at: int, source: Source) -> float:
    """The primary's resistance at 20 °C, as read or as usual, from what is reflected to one side [ohm]."""
    unit = asked.readings.iloc[at]
    side_v = float(asked.rows.frame["no_load_v"].iloc[at]) / (2.0 if unit["rectifier"] == "full-wave" else 1.0)
    return source[2] * (float(unit["line_voltage_v"]) / side_v) ** 2


def _shared(
    windings: Sequence[HeaterEstimate], heaters: Sequence[tuple[float, float]], rated: Sequence[float]
) -> tuple[list[float], tuple[float, ...]]:
    """Amperes of each winding, and the heaters' volts that none gives; windings alike share as each can give."""
    drawn, unserved = [0.0] * len(windings), []
    for volts, amperes in heaters:
        here = [at for at, one in enumerate(windings) if volts in usual_heater_v(one.no_load_v)[:1]]
        here = here or [at for at, one in enumerate(windings) if volts in usual_heater_v(one.no_load_v)]
        if not here:
            unserved.append(volts)
        known = [rated[at] for at in here]
        able = known if all(one > 0.0 for one in known) else [1.0] * len(here)
        for at, share in zip(here, able, strict=True):
            drawn[at] += amperes * share / sum(able)
    return drawn, tuple(unserved)


def winding_rows(
    rows: Iterable[Mapping[str, str]], where: str = "", lines: Sequence[int] | None = None
) -> dict[str, tuple[HeaterReading, ...]]:
    """Heater windings from rows as typed, by their unit's tag; those of a blank tag are every unit's.

    Parameters
    ----------
    rows : iterable of mappings
        Of WINDING_COLUMNS: `no_load_v` at the nominal line is needed; `ohm` as the meter shows it and `null_ohm`, blank
        where it was read by four wires; its `winding_temp_c` then, 20 °C where blank; `rated_a` as a plate
        says, blank where nothing does.
    where : str
        What the faults call the file or form.
    lines : sequence of int, optional
        The row's line in the file; counted from 2 where not given.

    Raises
    ------
    InputError
        With every fault.
    """
    found: dict[str, list[HeaterReading]] = {}
    faults: list[Fault] = []
    rows = list(rows)
    for number, (line, row) in enumerate(zip(lines or range(2, len(rows) + 2), rows, strict=True), start=1):
        text = {name: str(row.get(name) or "").strip() for name in WINDING_COLUMNS}
        numbers, wrong = numbers_of_row(text, FIELDS)
        if not text["no_load_v"]:
            wrong.append(fault_of("no_load_v", "", "is needed", FIELDS["no_load_v"]["remedy"], "missing"))
        if text["null_ohm"] and not wrong and not numbers["ohm"] >= numbers["null_ohm"]:
            problem = "is more than the winding reads" if text["ohm"] else "is given without the winding's ohms"
            wrong.append(fault_of("null_ohm", text["null_ohm"], problem, FIELDS["null_ohm"]["remedy"], "conflict"))
        faults += [replace(one, where=where, row=line) for one in wrong]
        if not wrong:
            name, volts, null = text["heater"] or f"heater {number}", numbers["no_load_v"], numbers["null_ohm"]
            by_two = text["null_ohm"] != ""
            read = HeaterReading.two_wire(name, volts, numbers["ohm"], null) if by_two else HeaterReading(name, volts)
            read = read if by_two else replace(read, reading_ohm=numbers["ohm"])
            temp_c = numbers["winding_temp_c"] if text["winding_temp_c"] else REFERENCE_C
            read = replace(read, rated_a=numbers["rated_a"], winding_temp_c=temp_c)
            found.setdefault(text["unit"], []).append(read)
    if faults:
        raise InputError(faults)
    return {tag: tuple(made) for tag, made in found.items()}
