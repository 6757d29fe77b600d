"""Thermionic rectifiers: the table of their drops and limits, and the 3/2-power law, i = G v^1.5.

Source of the law: C. D. Child 1911 and I. Langmuir 1913 (space-charge limited current); of drops and limits: the
table's rows. A limit that was not read in its source is unverified and says so.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from math import inf, isnan, nan

from calib.errors import InputError
from calib.paths import shipped

NEAR, MOST_NEAR = 0.6, 5  # how alike a type number must be to be offered for one that is not known, and how many
ENVELOPES = ("GTB", "GT", "GY", "GB", "G")


@dataclass(frozen=True)
class Valve:
    """A rectifier valve as its maker states it; NaN where the table does not tell.

    Attributes
    ----------
    name : str
        Type number.
    equivalents : tuple of str
        Types to which the same limits apply.
    law : str
        power-3/2 (high vacuum) or constant (mercury vapour).
    drop_v, drop_most_v : float
        Drop of one plate at ``at_ma``, the least that is printed (for currents) and the greatest (for the direct
        voltage); the same where sources agree [V].
    at_ma : float
        Direct current of one plate [mA].
    heater_v, heater_a : float
        Heater or filament [V], [A].
    directly_heated : bool
        Whether the filament is the cathode, so that it conducts before the set's valves draw.
    plates : int
        In one bulb.
    max_ac_v, max_ac_v_choke : float
        No-load volts a plate with capacitor and with choke input [V rms].
    max_peak_inverse_v : float
        Of a plate [V].
    max_dc_ma, max_dc_ma_choke : float
        Direct current of all plates together with capacitor and with choke input [mA].
    max_peak_ma : float
        Of one plate [mA].
    max_first_capacitor_uf : float
        Capacitor input [µF].
    min_source_ohm, min_source_at_v : float
        Resistance in series with one plate, capacitor input, and the volts a plate it is printed for [ohm], [V rms].
    dc_ma_by_v, source_ohm_by_v : tuple of (float, float)
        Points (volts a plate, mA or ohm) where the sheet prints several; straight between them.
    checked : frozenset of str
        Columns of the table that were read in the source.
    source : str
        Where the figures were published, by title.
    """

    name: str
    equivalents: tuple[str, ...]
    law: str
    drop_v: float
    drop_most_v: float
    at_ma: float
    heater_v: float
    heater_a: float
    directly_heated: bool
    plates: int
    max_ac_v: float
    max_ac_v_choke: float
    max_peak_inverse_v: float
    max_dc_ma: float
    max_dc_ma_choke: float
    max_peak_ma: float
    max_first_capacitor_uf: float
    min_source_ohm: float
    min_source_at_v: float
    dc_ma_by_v: tuple[tuple[float, float], ...]
    source_ohm_by_v: tuple[tuple[float, float], ...]
    checked: frozenset[str]
    source: str

    @property
    def perveance(self) -> float:
        """G of one plate, i = G v^1.5 [A/V^1.5]; infinite for a constant drop."""
        return self.at_ma / 1000 / self.drop_v**1.5 if self.law == "power-3/2" else inf

    @property
    def drop_told(self) -> bool:
        """Whether the table tells what it drops."""
        return not isnan(self.drop_v)

    def at_greatest_drop(self) -> Valve:
        """The same valve with the greatest drop that is printed of it."""
        return replace(self, drop_v=self.drop_most_v)


@cache
def rectifier_valves() -> dict[str, Valve]:
    """Every valve of the shipped table by its type number."""
    with open(shipped("datasets/valves/rectifiers.csv"), encoding="utf-8", newline="") as file:
        return {row["valve"]: _valve(row) for row in csv.DictReader(file)}


def _valve(row: dict[str, str]) -> Valve:
    def told(name: str) -> float:
        return float(row[name]) if row[name] else nan

    def points(name: str) -> tuple[tuple[float, float], ...]:
        pairs = (point.split(":") for point in row[name].split())
        return tuple((float(volts), float(value)) for volts, value in pairs)

    return Valve(
        name=row["valve"],
        equivalents=tuple(part.strip() for part in row["equivalents"].split(";") if part.strip()),
        law=row["law"],
        drop_v=told("drop_v"),
        drop_most_v=told("drop_most_v") if row["drop_most_v"] else told("drop_v"),
        at_ma=told("at_ma"),
        heater_v=told("heater_v"),
        heater_a=told("heater_a"),
        directly_heated=row["directly_heated"] == "true",
        plates=int(row["plates"]),
        max_ac_v=told("max_ac_v_per_plate_rms"),
        max_ac_v_choke=told("max_ac_v_choke_input"),
        max_peak_inverse_v=told("max_peak_inverse_v"),
        max_dc_ma=told("max_dc_ma_capacitor_input"),
        max_dc_ma_choke=told("max_dc_ma_choke_input"),
        max_peak_ma=told("max_peak_plate_ma"),
        max_first_capacitor_uf=told("max_first_capacitor_uf"),
        min_source_ohm=told("min_source_ohm_per_plate"),
        min_source_at_v=told("min_source_at_v"),
        dc_ma_by_v=points("dc_ma_by_v"),
        source_ohm_by_v=points("source_ohm_by_v"),
        checked=frozenset(row["checked"].split(";")),
        source=row["source"],
    )


def rectifier_valve(name: str) -> Valve:
    """The valve of that type number, or the one whose limits apply to it as an equivalent.

    Case, blanks, hyphens and strokes do not matter, nor does a trailing G, GT or GY: of several that are then alike
    the first of the table, which stands the least, is taken.

    Raises
    ------
    InputError
        The table has no such valve; the error names the types most like it.
    """
    exact, plain = _names()
    wanted = _letters(name)
    found = exact.get(wanted) or plain.get(_plain(wanted))
    if found:
        return rectifier_valves()[found]
    spelt = {_letters(one): one for valve in rectifier_valves().values() for one in (valve.name, *valve.equivalents)}
    near = []
    for one in get_close_matches(wanted, spelt, MOST_NEAR, NEAR):
        near.append(spelt[one] if exact[one] == spelt[one] else f"{spelt[one]} (as {exact[one]})")
    offered = (
        f"did you mean {', '.join(near)}? If not," if near else f"give one of: {', '.join(rectifier_valves())}; or"
    )
    raise InputError.one(
        "is not in the table of rectifier valves",
        f"{offered} give the drop of its data sheet as a diode drop in volts, its limits then being for you to judge",
        column="valve",
        value=name,
    )


@cache
def _names() -> tuple[dict[str, str], dict[str, str]]:
    """Type numbers by their letters, and by their letters less the envelope's; a valve's own name goes first."""
    exact: dict[str, str] = {}
    plain: dict[str, str] = {}
    valves = rectifier_valves().values()
    pairs = [(valve.name, valve.name) for valve in valves]
    pairs += [(other, valve.name) for valve in valves for other in valve.equivalents]
    for name, home in pairs:
        exact.setdefault(_letters(name), home)
        plain.setdefault(_plain(_letters(name)), home)
    return exact, plain


def _letters(name: str) -> str:
    return "".join(part for part in name.upper() if part.isalnum())


def _plain(letters: str) -> str:
    """A type number without the letters of its envelope."""
    for ending in ENVELOPES:
        if letters.endswith(ending) and len(letters) > len(ending) + 1:
            return letters[: -len(ending)]
    return letters
