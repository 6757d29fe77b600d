"""What may be chosen in a bench session, and short ways to write its fields down."""

from __future__ import annotations

from calib import words
from calib.bench import CIRCUITS as PEAKS, SERIES as SIZES, SHAPES
from calib.session.step import Field

UNKNOWN, BEFORE_1940 = "unknown", "before-1940"
DECADES = (UNKNOWN, BEFORE_1940, "1940-1959", "from-1960")
SHEETS = (UNKNOWN, "tight", "rusty", "loose", "hidden")
SCORCHED = ("burnt", "charred", "wax-out")
DAMP, CORRODED, MENDED = "damp", "corroded", "mended"
CORE_UNTESTED, CORE_OPEN, CORE_TOUCHES = "untested", "no-continuity", "continuity"
NOT_MEANT, SCREEN_JOINED, HIGH_JOINED, HEATER_JOINED = "not-meant", "screen-joined", "hv-joined", "heater-joined"
BASIC, REINFORCED = "basic", "reinforced"
AS_SHOWN, OVER_RANGE = "as-shown", "over-range"
LAMP_UNTRIED, LAMP_DARK, LAMP_BRIGHT = "lamp-untried", "lamp-dark", "lamp-bright"
SMELL, SMOKE, BUZZ = "smell", "smoke", "buzz"
AS_OTHERS, FOUR_WIRES = "as-others", "four-wires"
NULL_OFF, NULL_ON = "null-off", "null-on"
COPPER, ALUMINIUM = "copper", "aluminium"
UNPROVEN, PROVEN = "unproven", "proven"
PRIMARY, HEATER, HIGH = "primary", "heater", "high-voltage"
ONE_RANGE, TWO_RANGES, TWO_METERS = "one-range", "two-ranges", "two-meters"
ORDINARY, TYPED, SAME_METER = "(ordinary)", "(typed)", "(same)"
SCRAPLESS = SHAPES[0]
LIMBS, OUTSIDE, AREA = "limbs", "outside", "area"
NO_WIRE, GAUGE, MICROMETER = "no-wire", "gauge", "micrometer"
COVERINGS = ("enamel", "single", "heavy", "bare")
# What each system of gauges is to the bench functions.
SERIES = {"any": SIZES, **{series: (series,) for series in SIZES}}
# How page and sheet put it. What is kept is the word on the left, so that a wording may change.
SAID = {
    UNKNOWN: "not known",
    BEFORE_1940: "before 1940",
    "1940-1959": "1940 to 1959",
    "from-1960": "1960 or later",
    "tight": "tight and clean",
    "burnt": "burnt smell",
    "charred": "charred paper or varnish",
    "wax-out": "wax or pitch run out",
    DAMP: "damp or mould",
    CORRODED: "green corrosion at the leads",
    MENDED: "a mended or rewound coil",
    CORE_UNTESTED: "not tested",
    CORE_OPEN: "no continuity from any lead",
    CORE_TOUCHES: "continuity from a lead",
    NOT_MEANT: "not known to be meant",
    SCREEN_JOINED: "by its maker: a screen",
    HIGH_JOINED: "by its maker: high-voltage tap or end",
    HEATER_JOINED: "by its maker: heater tap or end",
    "full-wave": "two diodes and an earthed centre tap (full-wave)",
    "bridge": "a bridge",
    "half-wave": "one diode (half-wave)",
    "doubler": "a doubler",
    BASIC: "one part from another (basic)",
    REINFORCED: "people from mains or high voltage (reinforced)",
    LAMP_UNTRIED: "not tried yet",
    LAMP_DARK: "goes dark or dull",
    LAMP_BRIGHT: "stays bright",
    AS_SHOWN: "as shown",
    OVER_RANGE: "over the tester's range",
    AS_OTHERS: "as the others",
    FOUR_WIRES: "by four wires",
    NULL_OFF: "less the leads' own already",
    NULL_ON: "with the leads' own, to be taken off",
    COPPER: "copper, or not known",
    UNPROVEN: "not proven: by resistance or colour only",
    PROVEN: "proven: by a ratio test, its line cord or marked terminals",
    PRIMARY: "the primary",
    HEATER: "a heater winding (better not)",
    HIGH: "the winding of highest resistance, the high-voltage one",
    ONE_RANGE: "one meter, one range",
    TWO_RANGES: "one meter, two ranges",
    TWO_METERS: "two meters",
    ORDINARY: "an ordinary digital meter",
    TYPED: "one whose figures I type here",
    SAME_METER: "the same meter",
    LIMBS: "tongue and stack",
    OUTSIDE: "outside of the sheets, the tongue being hidden",
    AREA: "gross area (a toroid)",
    NO_WIRE: "not measured",
    GAUGE: "gauge or bare diameter, known",
    MICROMETER: "micrometer on a tail",
    "enamel": "enamel, its grade not known",
    "single": "thin enamel (grade 1)",
    "heavy": "thick enamel (grade 2)",
    "bare": "bare wire",
    **words.SHEETS,
    "any": "not known",
    "AWG": "American (AWG)",
    "SWG": "British (SWG)",
    "metric": "metric, from about 1970 on",
    "old metric": "metric, before about 1970",
}
CIRCUITS = (UNKNOWN, *PEAKS)
# What a test may be between, to the pair that the bench functions know; the text is what a session keeps.
BETWEEN = {
    "Primary to all the rest, core and screen": "primary-rest",
    "High voltage to core": "hv-core",
    "High voltage to rectifier heater": "hv-rectifier",
    "High voltage to other heaters": "hv-heaters",
    "Rectifier heater to core": "rectifier-core",
    "Rectifier heater to all the rest": "rectifier-rest",
    "Other heaters to core": "heaters-core",
    "Primary to core": "primary-core",
    "Primary to high voltage": "primary-hv",
}
# The tests that a unit needs, each with those that do as well.
NEEDED = {
    "Primary to all the rest, core and screen": (("Primary to core", "Primary to high voltage"),),
    "High voltage to core": (),
    "High voltage to rectifier heater": (("Rectifier heater to all the rest",),),
    "High voltage to other heaters": (),
    "Rectifier heater to core": (("Rectifier heater to all the rest",),),
    "Other heaters to core": (),
}
# What cannot be tested where the maker joined a part of it to the core.
JOINED = {HIGH_JOINED: "High voltage to core", HEATER_JOINED: "Other heaters to core"}


def said(choice: str) -> str:
    """A choice as page and sheet put it."""
    return SAID.get(choice, choice)


def text(name: str, label: str, help: str = "", **more: object) -> Field:
    """A line of text."""
    return Field(name, label, "text", help=help, **more)  # type: ignore[arg-type]


def choice(name: str, label: str, choices: tuple[str, ...], help: str = "", **more: object) -> Field:
    """One of several."""
    return Field(name, label, "choice", help=help, choices=choices, **more)  # type: ignore[arg-type]


def ohms(name: str, label: str, help: str = "") -> Field:
    """A resistance of the high-voltage winding as the meter shows it."""
    return Field(name, label, unit="ohm", help=help, column="hv_resistance_ohm")


def volts(name: str, label: str, help: str = "", column: str = "hv_v", **more: object) -> Field:
    """An alternating voltage as the meter shows it."""
    return Field(name, label, unit="V", help=help, column=column, **more)  # type: ignore[arg-type]


def half(name: str, label: str) -> Field:
    """Volts of one side of the centre tap; none at all tells of a swapped lead."""
    return Field(name, label, unit="V", limits=(0.0, 1e4), usual=(0.0, 750.0), above_zero=False)


def limb(name: str, label: str, help: str, column: str, *at: str) -> Field:
    """A measure of the core, asked for at these ways of measuring it."""
    unit = "cm²" if name == "area" else "mm"
    return Field(name, label, unit=unit, help=help, column=column, when=(("core_by", at),))


def meter(name: str, label: str, reads: str) -> tuple[Field, ...]:
    """The meter used, and its figures where they are typed."""
    at = ((name, (TYPED,)),)
    unit = "Ω" if reads == "ohm" else "V"
    return (
        Field(name, label, "meter", reads, choices=(ORDINARY, TYPED)),
        Field(f"{name}_percent", "Its ± per cent of reading", unit="%", limits=(0.0, 50.0), above_zero=False, when=at),
        Field(f"{name}_counts", "Its + counts of the last digit", limits=(0.0, 1000.0), above_zero=False, when=at),
        Field(f"{name}_resolution", "Its last digit", unit=unit, limits=(0.0, 1000.0), usual=(1e-5, 10.0), when=at),
    )
