"""The record of one high-voltage winding: its fields with their names, units, limits and help, defined here alone."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, model_validator

from calib.register.facts import (
    Day,
    FieldFacts,
    Flag,
    Name,
    OneLine,
    Words,
    as_number,
    facts_of,
    plain,
    quantity,
    trimmed,
)
from calib.register.rules import Contradictions, contradictions
from calib.register.typed import parsed

Rectifier = Literal["full-wave", "bridge", "half-wave", "doubler", "none"]
FilterInput = Literal["capacitor", "choke", "none"]
Evidence = Literal["nameplate", "maker-data", "set-data", "wire-measured", "heat-run"]
Conductor = Literal["copper", "aluminium"]
LaminationShape = Literal["ei-scrapless", "m", "ui", "strip-wound", "other"]

# Limits beyond which a value is refused, and, with each field, the usual range beyond which it is worth a second look:
# judgement of the bench for mains transformers of valve sets, to catch slips of a digit or a unit.
OHM = (0.001, 1e6)
MILLIAMPERE = (0.1, 1e5)
VOLT = (0.0, 1e4)
LIMB_MM = (3.0, 500.0)
DRAWN_MA = (5.0, 1000.0)
U_PCT = (0.01, 10.0)


class Unit(BaseModel):
    """What is read of any unit, known or not: supply, voltages, resistance, core and wire of one winding."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)
    leading: ClassVar[tuple[str, ...]] = ("unit", "contributor", "evidence", "rectifier", "filter", "rated_current_ma")

    unit: Annotated[Name, plain("Unit", "Your own tag for the unit, as written on it.", "text")]
    contributor: Annotated[OneLine, plain("Contributor", "Whose bench read it.", "text")] = ""
    rectifier: Annotated[
        Rectifier,
        trimmed,
        plain(
            "Rectifier",
            "The supply that the rating is stated for; full-wave is two diodes on a centre tap, none an ac rating.",
            "choice",
        ),
    ]
    filter: Annotated[
        FilterInput, trimmed, plain("Filter input", "What the rectifier meets first: capacitor or choke.", "choice")
    ]
    line_voltage_v: Annotated[
        float,
        quantity("Line voltage", "V", VOLT, "Nominal supply of the primary.", usual=(95.0, 260.0), low_excluded=True),
        as_number,
    ]
    line_frequency_hz: Annotated[
        float,
        quantity(
            "Line frequency",
            "Hz",
            (10.0, 1000.0),
            "The frequency it was designed for: 50 for a plate of 50/60.",
            usual=(24.0, 62.0),
        ),
        as_number,
    ]
    centre_tapped: Annotated[
        Flag,
        plain("Centre tap", "Whether the winding has a centre tap; read over the whole winding either way.", "flag"),
    ]
    excitation_v: Annotated[
        float | None,
        quantity(
            "Excitation",
            "V",
            VOLT,
            "Ratio test: rms volts across the primary, whichever winding is fed.",
            usual=(0.5, 60.0),
            low_excluded=True,
        ),
        as_number,
    ] = None
    hv_v: Annotated[
        float | None,
        quantity(
            "Voltage read",
            "V",
            VOLT,
            "Ratio test: rms volts across the whole winding in the same test, whichever is fed.",
            usual=(1.0, 1500.0),
            low_excluded=True,
        ),
        as_number,
    ] = None
    no_load_v: Annotated[
        float | None,
        quantity(
            "No-load voltage",
            "V",
            VOLT,
            "Instead of a ratio test: rms volts of the whole winding at line voltage, read directly or the maker's.",
            usual=(40.0, 3000.0),
            low_excluded=True,
        ),
        as_number,
    ] = None
    hv_resistance_ohm: Annotated[
        float,
        quantity("Winding resistance", "ohm", OHM, "Dc resistance of the whole winding.", usual=(5.0, 10000.0)),
        as_number,
    ]
    winding_temp_c: Annotated[
        float,
        quantity(
            "Winding temperature", "°C", (-40.0, 200.0), "The winding's temperature at that reading.", usual=(5.0, 40.0)
        ),
        as_number,
    ]
    tongue_mm: Annotated[
        float | None,
        quantity("Tongue", "mm", LIMB_MM, "Width of the core's centre limb; give the stack too.", usual=(10.0, 65.0)),
        as_number,
    ] = None
    stack_mm: Annotated[
        float | None,
        quantity(
            "Stack", "mm", LIMB_MM, "Height of the stack of laminations; give the tongue too.", usual=(8.0, 130.0)
        ),
        as_number,
    ] = None
    core_area_cm2: Annotated[
        float | None,
        quantity(
            "Core area",
            "cm²",
            (LIMB_MM[0] ** 2 / 100, LIMB_MM[1] ** 2 / 100),
            "Gross area of a core without tongue and stack, such as a toroid; tongue and stack count where all stand.",
            usual=(1.0, 60.0),
        ),
        as_number,
    ] = None
    conductor: Annotated[
        Conductor | None, trimmed, plain("Conductor", "Metal of the winding; copper where empty.", "choice")
    ] = None
    awg: Annotated[
        float | None,
        quantity("Wire gauge", "AWG", (0.0, 50.0), "Gauge of the winding's wire.", usual=(18.0, 44.0)),
        as_number,
    ] = None
    wire_diameter_mm: Annotated[
        float | None,
        quantity(
            "Bare wire diameter",
            "mm",
            (0.01, 10.0),
            "Without its enamel; it counts where a gauge stands too.",
            usual=(0.05, 1.1),
        ),
        as_number,
    ] = None
    u_voltage_pct: Annotated[
        float | None,
        quantity(
            "Uncertainty of voltage",
            "%",
            (0.0, 100.0),
            "Relative standard uncertainty of the no-load voltage; empty: the meter class in use.",
            usual=U_PCT,
        ),
        as_number,
    ] = None
    u_resistance_pct: Annotated[
        float | None,
        quantity(
            "Uncertainty of resistance",
            "%",
            (0.0, 100.0),
            "Relative standard uncertainty of the resistance; empty: the meter class in use.",
            usual=U_PCT,
        ),
        as_number,
    ] = None
    primary_resistance_ohm: Annotated[
        float | None,
        quantity("Primary resistance", "ohm", OHM, "Dc resistance of the primary.", usual=(0.2, 600.0)),
        as_number,
    ] = None
    weight_kg: Annotated[
        float | None,
        quantity("Weight", "kg", (0.0, 1e4), "Weight of the unit.", usual=(0.1, 40.0), low_excluded=True),
        as_number,
    ] = None
    lamination: Annotated[
        LaminationShape | None,
        trimmed,
        plain(
            "Sheets of the core",
            "ei-scrapless (windows half as wide as the tongue), m (one piece, square), ui (a coil on each of two "
            "limbs), strip-wound or other; scrapless EI where empty.",
            "choice",
        ),
    ] = None
    window_width_mm: Annotated[
        float | None,
        quantity(
            "Window width",
            "mm",
            LIMB_MM,
            "Of one window of the core, from limb to limb; give its height too.",
            usual=(5.0, 80.0),
        ),
        as_number,
    ] = None
    window_height_mm: Annotated[
        float | None,
        quantity(
            "Window height",
            "mm",
            LIMB_MM,
            "Of one window of the core, along the limb; give its width too.",
            usual=(12.0, 250.0),
        ),
        as_number,
    ] = None
    stop: Annotated[
        OneLine, plain("Stop", "Why the unit must not be fed; empty where nothing stands against it.", "text")
    ] = ""
    stop_cleared: Annotated[
        OneLine, plain("Stop cleared", "Why that no longer stands; both are kept and shown.", "text")
    ] = ""
    doubts: Annotated[
        OneLine, plain("Doubts", "What was not as it should be, sentences parted by a blank, | and a blank.", "text")
    ] = ""
    recorded_on: Annotated[Day | None, plain("Recorded on", "Day of the readings, as year-month-day.", "date")] = None
    notes: Annotated[Words, plain("Notes", "Anything else worth keeping.", "text")] = ""
    simulated: Annotated[
        Flag, plain("Simulated", "Whether the record was made up for practice; false where empty.", "flag")
    ] = False

    @model_validator(mode="after")
    def _hang_together(self) -> Self:
        found = contradictions({name: value for name, value in self.__dict__.items() if value not in (None, "")})
        if found:
            raise Contradictions(found)
        return self

    @classmethod
    def parse(cls, values: Mapping[str, object], where: str = "", row: int | None = None) -> Self:
        """Make a record of values as typed, or say everything that is wrong with them.

        Parameters
        ----------
        values : mapping of str to object
            Field names with what was typed, or with numbers, flags and dates; "", None and NaN are blank.
        where : str
            File or form that they came from, for the faults.
        row : int or None
            Line in that file.

        Returns
        -------
        KnownUnit or UnknownUnit
            The record.

        Raises
        ------
        InputError
            With a fault for each field that is missing, refused or at odds with another.
        """
        return parsed(cls, fields(cls), values, where, row, contradictions)

    @property
    def stopped(self) -> str:
        """Why the unit must not be fed; "" where nothing is against it, or where that was cleared."""
        return "" if self.stop_cleared else self.stop

    def values(self) -> dict[str, Any]:
        """The fields in the order of the tables, None where blank."""
        return {name: getattr(self, name) for name in columns(type(self))}


class KnownUnit(Unit):
    """A unit whose rated current is known."""

    contributor: Annotated[Name, plain("Contributor", "Whose bench read it.", "text")]
    evidence: Annotated[Evidence, trimmed, plain("Evidence", "How the rated current is known.", "choice")]
    rated_current_ma: Annotated[
        float,
        quantity(
            "Rated current", "mA", MILLIAMPERE, "Direct load current (rms where the rectifier is none).", usual=DRAWN_MA
        ),
        as_number,
    ]

    @property
    def record_id(self) -> str:
        """What identifies the record, whatever its readings: a hash of contributor and unit."""
        return record_id(self.contributor, self.unit)


class UnknownUnit(Unit):
    """A unit whose rating is sought for the supply that `rectifier` and `filter` name."""

    demand_ma: Annotated[
        float | None,
        quantity("Demand", "mA", MILLIAMPERE, "Direct current that the set draws.", usual=DRAWN_MA),
        as_number,
    ] = None


def standing(values: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """What stands against a unit, the gravest first.

    Parameters
    ----------
    values : mapping of str to object
        At least the columns stop, stop_cleared and doubts, each blank where there is nothing.

    Returns
    -------
    tuple of (str, str)
        A kind with what is to be said: stop; or cleared, the stop with why it no longer stands; and doubt, one each.
    """
    texts = (values.get(name) for name in ("stop", "stop_cleared", "doubts"))
    stop, cleared, doubts = (text.strip() if isinstance(text, str) else "" for text in texts)
    found = []
    if stop:
        found.append(("cleared", f"{stop}; why it no longer stands: {cleared}") if cleared else ("stop", stop))
    return (*found, *(("doubt", one.strip()) for one in doubts.split("|") if one.strip()))


@cache
def fields(kind: type[Unit]) -> tuple[FieldFacts, ...]:
    """The facts of every field of a kind of record, in the order of the tables' columns.

    Parameters
    ----------
    kind : KnownUnit or UnknownUnit
        The class of the record.

    Returns
    -------
    tuple of FieldFacts
        `simulated` is the last but for `demand_ma`.
    """
    leading = [name for name in kind.leading if name in kind.model_fields]
    rest = [name for name in kind.model_fields if name not in leading]
    return tuple(facts_of(name, kind.model_fields[name]) for name in (*leading, *rest))


@cache
def columns(kind: type[Unit]) -> tuple[str, ...]:
    """The names of `fields`, in their order."""
    return tuple(facts.name for facts in fields(kind))


def record_id(contributor: str, unit: str) -> str:
    """Hash of contributor and unit, the same on every machine: what identifies a record through its revisions."""
    return hashlib.sha256(f"{len(contributor)}:{contributor}{unit}".encode()).hexdigest()[:32]
