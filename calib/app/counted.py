"""What an answer was made from, and where each reading came from: so that nothing counts that nobody has seen."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib import bench, words
from calib.session import fields as measured, meters as metering
from calib.session.readings import METALS, count_of, metal_of

HERE, START, LEFT_OUT = "Entered here", "As the form starts", "Left out"


@dataclass(frozen=True)
class Origin:
    """Where the entries of a form came from.

    Attributes
    ----------
    entries : mapping of str to object
        What stands in the form, by field.
    filled : mapping of str to object
        What was put there from elsewhere, by field.
    source : str
        Where that came from, in words.
    start : mapping of str to object
        What stood there at the start.
    here : str
        What an entry is called that came from neither.
    """

    entries: Mapping[str, Any]
    filled: Mapping[str, Any]
    source: str
    start: Mapping[str, Any]
    here: str = HERE

    def of(self, field: str) -> str:
        """Where a field's entry came from."""
        if self._stands(field, self.filled):
            return self.source[0].upper() + self.source[1:]
        return START if self._stands(field, self.start) else self.here

    def _stands(self, field: str, put: Mapping[str, Any]) -> bool:
        """Whether the form still holds what was put there, in the unit that it was put there in."""
        if put.get(field) in (None, ""):
            return False
        names = [field, *(name for name in [f"{field}_unit"] if name in put and name in self.entries)]
        return all(measured.shown(self.entries.get(name)) == measured.shown(put[name]) for name in names)


def counted(unit: Mapping[Any, Any], origin: Origin) -> str:
    """Everything that an answer was made from, by where it came from, as HTML.

    Parameters
    ----------
    unit : mapping of str to object
        The unit's row, as `calib.read_unknown` gives it.
    origin : Origin
        Where the form's entries came from.
    """
    groups: dict[str, list[str]] = {}
    for field, said in _said(unit, origin.entries):
        groups.setdefault(origin.of(field) if field else LEFT_OUT, []).append(said)
    last = (START, LEFT_OUT)
    order = [*(one for one in groups if one not in last), *(one for one in last if one in groups)]
    lines = "".join(f"<dt>{html.escape(one)}</dt><dd>{html.escape('; '.join(groups[one]))}</dd>" for one in order)
    return (
        f'<p class="calib-more"><b>What this was made from</b></p><dl class="calib-counted" id="counted">{lines}</dl>'
    )


def _said(unit: Mapping[Any, Any], entries: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Each reading with the field that it came from; those that are not there, with none."""
    if _is(unit, "hv_v"):
        volts = [("excitation_v", f"{_figure(unit, 'excitation_v')} V on the primary")]
        volts.append(("volts_read", f"{_figure(unit, 'hv_v')} V then across the whole high-voltage winding"))
    else:
        volts = [("no_load_read", f"{_figure(unit, 'no_load_v')} V without load")]
    return [
        *volts,
        ("ohms_read", f"{_figure(unit, 'hv_resistance_ohm')} Ω of the whole winding"),
        ("winding_temp_c", f"at {_figure(unit, 'winding_temp_c')} °C"),
        ("conductor", f"metal of its wire: {METALS[metal_of(unit)]}"),
        ("line_voltage_v", f"line of {_figure(unit, 'line_voltage_v')} V"),
        ("line_frequency_hz", f"{_figure(unit, 'line_frequency_hz')} Hz"),
        ("rectifier", words.RECTIFIERS[unit["rectifier"]]),
        ("filter", words.FILTERS[unit["filter"]]),
        *_how_sure(unit, entries),
        *_sharpening(unit, entries),
    ]


def _how_sure(unit: Mapping[Any, Any], entries: Mapping[str, Any]) -> list[tuple[str, str]]:
    """How sure the two readings are, which the meters say."""
    found = []
    for what, meter, column, usual in (
        ("voltage", "voltmeter", "u_voltage_pct", bench.DEFAULT_U_VOLTAGE_PCT),
        ("resistance", "ohmmeter", "u_resistance_pct", bench.DEFAULT_U_RESISTANCE_PCT),
    ):
        share = float(unit[column]) if _is(unit, column) else usual
        field = column if entries.get(meter) == metering.STATED else meter
        found.append((field, f"{what} known to {words.figure(share, 2)} %"))
    return found


def _sharpening(unit: Mapping[Any, Any], entries: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What sharpens the answer, or asks something of it."""
    found = [("", "core")]
    if _is(unit, "tongue_mm"):
        found = [("tongue", f"core with a tongue of {_figure(unit, 'tongue_mm')} mm")]
        found.append(("stack", f"a stack of {_figure(unit, 'stack_mm')} mm"))
    elif _is(unit, "core_area_cm2"):
        found = [("area", f"core of {_figure(unit, 'core_area_cm2')} cm²")]
    if _is(unit, "wire_diameter_mm"):
        found.append(("wire", f"wire {_figure(unit, 'wire_diameter_mm')} mm bare"))
    else:
        found.append(("wire", f"wire AWG {_figure(unit, 'awg')}") if _is(unit, "awg") else ("", "wire"))
    asked = f"the set's demand of {_figure(unit, 'demand_ma')} mA" if _is(unit, "demand_ma") else ""
    found.append(("demand_ma", asked) if asked else ("", "the set's demand"))
    lit = count_of(entries)
    found.append(("", "heater windings") if lit is None else ("heaters", words.count(lit, "heater winding")))
    if _is(unit, "contributor"):
        found.append(("contributor", f"read by {unit['contributor']}"))
    return found


def _is(unit: Mapping[Any, Any], column: str) -> bool:
    value = unit.get(column)
    return value not in (None, "") and value == value


def _figure(unit: Mapping[Any, Any], column: str) -> str:
    return f"{float(unit[column]):.5g}"
