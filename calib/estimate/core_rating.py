"""A further opinion on the high-voltage current: the volt-amperes that the core can carry, less the heaters'.

It rests on the core and on what makers usually wound on such cores, not on any reading of the winding but its voltage;
so it is rough, and it errs in other ways than V/R does. Where the two are far apart, a reading is worth a second look.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING

from calib.bench.core import CoreSheets
from calib.bench.magnetics import AreaRule, area_rule_va, usual_area_rule
from calib.errors import not_negative, positive
from calib.fitting.features import CENTRE_FREQUENCY_HZ
from calib.supply.form_factor import FORM_FACTOR_SD, Supply, primary_rms_per_dc, winding_rms_per_dc

if TYPE_CHECKING:
    import pandas as pd

    from calib.estimate.heaters import HeaterEstimate
    from calib.fitting import Features

# Standard deviation of ln volt-amperes about the area rule: 30 % at best, and makers differ by 40 % in current density
# and fill the window to 0.15..0.35 (judgement; offset and scatter together are 0.31..0.43 on the tests' populations).
AREA_RULE_SPREAD = 0.36


@dataclass(frozen=True)
class CoreOpinion:
    """What a core leaves for the high-voltage winding.

    Attributes
    ----------
    va, va_low, va_high : float
        Volt-amperes of the core by the area rule, and the interval at `level` [VA].
    heaters_va : float
        Volt-amperes of the heater windings [VA].
    va_per_ma : float
        Volt-amperes that a milliampere of direct current costs: the mean of winding and primary [VA/mA].
    rated_current_ma, low_ma, high_ma : float
        Direct current (rms where there is no rectifier) that is left, and its interval; the low end is 0 where the
        heaters may take the whole core, the current NaN where they take what it most likely carries [mA].
    level : float
        Probability of the interval [-].
    remark : str
        Where the heaters take the core; blank else.
    """

    va: float
    va_low: float
    va_high: float
    heaters_va: float
    va_per_ma: float
    rated_current_ma: float
    low_ma: float
    high_ma: float
    level: float
    remark: str

    def frame(self) -> pd.DataFrame:
        """One row like those of `UnitEstimate.opinions`: predictors, rated_current_ma, low_ma, high_ma, level."""
        import pandas as pd

        row = {"rated_current_ma": self.rated_current_ma, "low_ma": self.low_ma, "high_ma": self.high_ma}
        return pd.DataFrame([{"predictors": "core-volt-amperes", **row, "level": self.level}])

    def __str__(self) -> str:
        core = f"the core carries about {self.va:.3g} VA ({self.va_low:.3g} to {self.va_high:.3g})"
        less = f"{core}, less {self.heaters_va:.3g} VA of heaters"
        if math.isnan(self.rated_current_ma):
            return f"{less}: {self.remark}"
        return f"{less}: about {self.rated_current_ma:.3g} mA ({self.low_ma:.3g} to {self.high_ma:.3g})"


def opinion_of_core(
    core_area_cm2: float,
    window_cm2: float,
    rule: AreaRule,
    no_load_v: float,
    supply: Supply,
    heaters: Sequence[tuple[float, float]] = (),
    level: float = 0.9,
) -> CoreOpinion:
    """Direct current that a core leaves for its high-voltage winding.

    Parameters
    ----------
    core_area_cm2, window_cm2 : float
        Gross area and area of one window, each above 0 [cm²].
    rule : AreaRule
        Frequency, flux density, current density and fill; `flux.usual_area_rule` gives the usual ones.
    no_load_v : float
        Of the whole high-voltage winding, rms, above 0 [V].
    supply : (str, str)
        Rectifier and filter, as `winding_rms_per_dc` takes them.
    heaters : sequence of (float, float)
        Volts, above 0, and amperes, 0 or more, rms, of each heater winding [V, A].
    level : float
        Probability of the interval, above 0 and below 1 [-].

    Returns
    -------
    CoreOpinion
        I = (VA - heaters) / (V (k + k_p) / 2).

    Raises
    ------
    ValueError
        An input out of range.
    InputError
        A rectifier and a filter that do not go together.

    Notes
    -----
    The rule gives half the window to the primary, so the volt-amperes of both sides are averaged: k is the winding's
    rms per direct current, k_p what its primary carries at equal turns. Volt-amperes are taken off plainly, which is a
    few per cent cautious. Source: Transformer and Inductor Design Handbook (McLyman).
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level is {level}: it must be above 0 and below 1")
    positive("no-load voltage", no_load_v, "V")
    for volts, amperes in heaters:
        positive("heater voltage", volts, "V")
        not_negative("heater current", amperes, "A")
    k = winding_rms_per_dc(*supply)
    per_ma = no_load_v * (k + primary_rms_per_dc(supply[0], k)) / 2.0 / 1000.0
    va, taken = float(area_rule_va(core_area_cm2, window_cm2, rule)), math.fsum(v * a for v, a in heaters)
    z = NormalDist().inv_cdf((1.0 + level) / 2.0)
    reach = math.exp(z * AREA_RULE_SPREAD)
    # The form factor's own spread goes with the current, not with the core; both are folded as one.
    wide = math.exp(z * math.hypot(AREA_RULE_SPREAD, FORM_FACTOR_SD[supply]))
    middle, low, high = ((share - taken) / per_ma for share in (va, va / wide, va * wide))
    return CoreOpinion(
        va=va,
        va_low=va / reach,
        va_high=va * reach,
        heaters_va=taken,
        va_per_ma=per_ma,
        rated_current_ma=middle if middle > 0.0 else math.nan,
        low_ma=max(low, 0.0),
        high_ma=high if high > 0.0 else math.nan,
        level=level,
        remark=_remark(va, va / wide, taken),
    )


def core_of_unit(rows: Features, sheets: CoreSheets, heaters: Sequence[HeaterEstimate], level: float) -> CoreOpinion:
    """The opinion for a unit of an unknown's facts, its core of usual windings.

    Parameters
    ----------
    rows : Features
        One unit, its core known.
    sheets : CoreSheets
        What the core's sheets fix, its window before all.
    heaters : sequence of HeaterEstimate
        All its heater windings; one of which neither what is drawn nor a rating is told is left out; the remark says
        which, and which are counted at their likely rating.
    level : float
        Probability of the interval, above 0 and below 1 [-].

    Returns
    -------
    CoreOpinion
        By `opinion_of_core`.
    """
    unit, hertz = rows.frame.iloc[0], CENTRE_FREQUENCY_HZ * math.exp(float(rows.frequency[0]))
    told = [(1.0, one.load_va) for one in heaters if not math.isnan(one.load_va)]
    made = opinion_of_core(
        float(unit["core_area_cm2"]),
        sheets.window_cm2,
        usual_area_rule(sheets.tongue_mm, hertz),
        float(unit["no_load_v"]),
        (unit["rectifier"], unit["filter"]),
        told,
        level,
    )
    missing = ", ".join(one.name for one in heaters if math.isnan(one.load_va))
    rated = ", ".join(one.name for one in heaters if math.isnan(one.drawn_a) and not math.isnan(one.rated_a))
    remarks = (
        made.remark,
        f"what {missing} takes is not known and not taken off, so this is too high" if missing else "",
        f"{rated} counted at the likely rating: say what the valves draw" if rated else "",
    )
    return replace(made, remark="; ".join(part for part in remarks if part))


def _remark(va: float, low_va: float, taken: float) -> str:
    if taken >= va:
        return f"the heaters' {taken:.3g} VA are as much as the core most likely carries: check core and heaters"
    if taken >= low_va:
        return f"the heaters' {taken:.3g} VA may take the whole core"
    return ""
