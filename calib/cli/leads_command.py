"""``calib leads``: from resistances between pairs of leads to windings, taps, likely roles and the next reading."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING

from calib.cli.options import all_of, number_of, rows_of_table
from calib.cli.output import as_json, say
from calib.errors import InputError

if TYPE_CHECKING:
    from calib.bench.uncertainty import MeterClass
    from calib.leads.readings import LeadReading
    from calib.leads.result import LeadsFound

HERE = "calib leads"


def run(asked: argparse.Namespace) -> None:
    """Identify the leads and print what was found."""
    found = found_in(asked)
    say(as_json(found.as_dict()) if asked.format == "json" else str(found))


def found_in(asked: argparse.Namespace) -> LeadsFound:
    """What the readings of a file say.

    Raises
    ------
    InputError
        With every fault of the file and of the options.
    """
    from calib.leads import CODED_WEIGHT, OTHER_WEIGHT, identify_leads

    readings, null, meter = all_of(
        lambda: read_table(asked.readings), lambda: _null(asked.null_ohm), lambda: _meter(asked.meter)
    )
    weight = CODED_WEIGHT if asked.north_american else OTHER_WEIGHT
    try:
        return identify_leads(readings, meter=meter, null_ohm=null, colour_weight=weight)
    except InputError as error:
        raise InputError([replace(fault, where=asked.readings) for fault in error.faults]) from None


def _null(typed: str) -> float:
    null = number_of("--null-ohm", typed, HERE)
    if not 0.0 <= null <= 100.0:
        remedy = "give what the meter shows with its clips joined"
        raise InputError.one(
            "is not from 0 to 100 ohm", remedy, column="--null-ohm", value=typed, where=HERE, code="limits"
        )
    return null


def _meter(typed: str | None) -> MeterClass:
    from calib.bench.uncertainty import ORDINARY_OHMMETER, MeterClass

    if typed is None:
        return ORDINARY_OHMMETER
    parts = typed.split(",")
    try:
        numbers = [number_of("--meter", part, HERE) for part in parts]
        if len(numbers) == 3:
            return MeterClass(*numbers)
    except ValueError:
        pass
    problem = "is not three numbers of 0 or more, parted by commas"
    remedy = "write per cent of reading, counts, and one count in ohm, such as 0.8,2,0.1"
    raise InputError.one(problem, remedy, column="--meter", value=typed, where=HERE, code="not-a-number")


def read_table(path: str) -> tuple[LeadReading, ...]:
    """Readings of a CSV file, checked.

    Parameters
    ----------
    path : str
        CSV in UTF-8 with or without a byte-order mark, cells parted by commas, a header row.

    Raises
    ------
    InputError
        With every fault of the file: what cannot be read, a column that is missing or unknown, a row of too few or too
        many cells, and the faults of the readings.
    """
    from calib.leads.readings import COLUMNS, NEEDED, lead_readings

    sound, faults = rows_of_table(path, COLUMNS, NEEDED, "give a table with the header lead_a,lead_b,ohm")
    try:
        readings = lead_readings([row for _, row in sound], path, [line for line, _ in sound])
    except InputError as error:
        faults += error.faults
    if faults:
        raise InputError(sorted(faults, key=lambda fault: fault.row or 0))
    return readings
