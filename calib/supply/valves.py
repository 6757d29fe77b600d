"""Thermionic rectifiers: the table of their drops and the 3/2-power law, i = G v^1.5.

Source of the law: C. D. Child 1911 and I. Langmuir 1913 (space-charge limited current); of the drops: the table's rows.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from calib.errors import InputError
from calib.places import shipped


@dataclass(frozen=True)
class Valve:
    """A rectifier valve as its maker states it.

    Attributes
    ----------
    name : str
        Type number.
    law : str
        power-3/2 (high vacuum) or constant (mercury vapour).
    drop_v : float
        Drop of one plate at ``at_ma`` [V].
    at_ma : float
        Direct current of one plate [mA].
    source : str
        Where the drop was published, by title.
    """

    name: str
    law: str
    drop_v: float
    at_ma: float
    source: str

    @property
    def perveance(self) -> float:
        """G of one plate, i = G v^1.5 [A/V^1.5]; infinite for a constant drop."""
        return self.at_ma / 1000 / self.drop_v**1.5 if self.law == "power-3/2" else float("inf")


@cache
def rectifier_valves() -> dict[str, Valve]:
    """Every valve of the shipped table by its type number."""
    with open(shipped("datasets/valves/rectifiers.csv"), encoding="utf-8", newline="") as file:
        rows = [
            Valve(row["valve"], row["law"], float(row["drop_v"]), float(row["at_ma"]), row["source"])
            for row in csv.DictReader(file)
        ]
    return {valve.name: valve for valve in rows}


def rectifier_valve(name: str) -> Valve:
    """The valve of that type number; case, blanks and hyphens do not matter, nor does a trailing G, GT or GY.

    Raises
    ------
    InputError
        The table has no such valve.
    """
    table = rectifier_valves()
    by_plain = {_plain(known): valve for known, valve in table.items()}
    wanted = "".join(part for part in name.upper() if part.isalnum())
    for found in (wanted, _plain(name)):
        if found in by_plain:
            return by_plain[found]
    raise InputError.one(
        "is not in the table of rectifier valves",
        f"give one of: {', '.join(table)}, or a diode drop in volts",
        column="valve",
        value=name,
    )


def _plain(name: str) -> str:
    """Type number without hyphens and without the letters of its envelope."""
    letters = "".join(part for part in name.upper() if part.isalnum())
    for ending in ("GTB", "GT", "GY", "GB", "G"):
        if letters.endswith(ending) and len(letters) > len(ending) + 1:
            return letters[: -len(ending)]
    return letters
