"""What is said of every field of a record, a meter and a bench session, and how a value as typed becomes a field's.

Label, unit, limits, usual range, help and choices stand here alone; tables, forms, command options, the register's
columns and the data package's descriptor are made from them.

Examples
--------
>>> from calib.register.fields import FIELDS
>>> ohm = FIELDS["hv_resistance_ohm"]
>>> ohm.label, ohm.unit, ohm.limits, ohm.usual
('Winding resistance', 'ohm', '0.001 to 1000000 ohm', (5.0, 10000.0))
>>> ohm.judged(3100000.0).problem  # None for a number within the limits
'is outside the limits, 0.001 to 1000000 ohm'
>>> FIELDS["line_frequency_hz"].unlikely(500.0)  # blank for a usual one
'500 Hz is unusual: most are 24 to 62 Hz; did you mean 50 Hz (the decimal point slipped by 1 place)?'
>>> FIELDS["volts_metered"].choices
('one-range', 'two-ranges', 'two-meters')
>>> FIELDS["volts_metered"].says("two-ranges")
'one meter, two ranges'
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field

from calib.errors import Code, InputError
from calib.units import NotRead, meant, read_number

Kind = Literal["text", "number", "choice", "flag", "date"]
Rectifier = Literal["full-wave", "bridge", "half-wave", "doubler", "none"]
FilterInput = Literal["capacitor", "choke", "none"]
Evidence = Literal["nameplate", "maker-data", "set-data", "wire-measured", "heat-run"]
Conductor = Literal["copper", "aluminium"]
LaminationShape = Literal["ei-scrapless", "m", "ui", "strip-wound", "other"]
RatingBasis = Literal["dc", "ac", "guide"]
Reads = Literal["volt", "ohm"]

BLANK_WORDS = frozenset({"nan", "NaN", "NAN", "NA", "N/A", "#N/A", "null", "NULL"})
CHECK = "check the reading and its unit"
_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufeff]")


def is_blank(value: object) -> bool:
    """Whether a cell or a value says nothing: None, NaN, or text of spaces alone."""
    return value is None or value != value or (isinstance(value, str) and not value.strip())


class Refusal(ValueError):
    """A value is refused: the problem, what to do about it, and a code for programs."""

    def __init__(self, problem: str, remedy: str, code: Code = "text") -> None:
        super().__init__(f"{problem}; {remedy}")
        self.problem, self.remedy = problem, remedy
        self.code: Code = code


def outside_limits(limits: str, asked: str = "", otherwise: str = CHECK) -> Refusal:
    """The refusal of a number outside its limits, which asks what was probably meant where that is known."""
    return Refusal(f"is outside the limits, {limits}", f"{asked} If not, {otherwise}" if asked else otherwise, "limits")


@dataclass(frozen=True)
class FieldFacts:
    """What a table, a form, a command option or a data package says of one field.

    Attributes
    ----------
    name : str
        The column, as the tables spell it.
    label : str
        What a form calls it.
    unit : str
        Unit of its numbers, blank where there is none.
    needed : bool
        Whether a record without it is refused (the ratio test's two voltages and the no-load voltage stand for one
        another, so none of the three is needed alone; the halves' resistances stand for the whole's).
    low, high : float or None
        Limits, both allowed but for a low with `low_excluded`.
    low_excluded : bool
        Whether the low limit itself is refused.
    choices : tuple of str
        What may be written, where the kind is choice or flag: codes, which never change.
    help : str
        One sentence for someone with a meter in hand.
    kind : str
        text, number, choice, flag or date.
    usual : (float, float) or None
        Where the numbers of mains transformers of valve sets lie; beyond it a value is worth a second look.
    said : tuple of str
        How a form puts each of the choices; empty where it shows them as they are.
    whole : bool
        Whether its numbers have no fraction.
    """

    name: str
    label: str
    unit: str
    needed: bool
    low: float | None
    high: float | None
    low_excluded: bool
    choices: tuple[str, ...]
    help: str
    kind: Kind
    usual: tuple[float, float] | None = None
    said: tuple[str, ...] = ()
    whole: bool = False

    @property
    def limits(self) -> str:
        """The limits in words, such as '0.001 to 1000000 ohm'; blank where there are none."""
        if self.low is None or self.high is None:
            return ""
        low = f"{'above ' if self.low_excluded else ''}{self.low:.10g}"
        return f"{low} to {self.high:.10g} {self.unit}".rstrip()

    @property
    def or_empty(self) -> str:
        """What a remedy adds where the field may be left empty."""
        return "" if self.needed else ", or leave it empty where it was not measured"

    def within(self, value: Any) -> Any:
        """Whether a number lies within the limits, or which of an array or an expression of them do; NaN does not."""
        if self.low is None or self.high is None:
            return value == value
        within = (value > self.low if self.low_excluded else value >= self.low) & (value <= self.high)
        return within & (value % 1 == 0) if self.whole else within

    def judged(self, value: float, asked: str = "") -> Refusal | None:
        """The refusal of a number outside the limits, or with a fraction where none may be; None for a sound one.

        Parameters
        ----------
        value : float
            The number, in `unit`.
        asked : str
            The question what was meant, where the caller knows it better than `probably_meant`.
        """
        if self.within(value):
            return None
        if self.whole and value % 1 != 0:
            return Refusal("is not a whole number", f"write it without a fraction{self.or_empty}", "not-a-number")
        return outside_limits(self.limits, asked or self.probably_meant(value), f"{CHECK}{self.or_empty}")

    def says(self, choice: str) -> str:
        """How a form puts a choice."""
        return dict(zip(self.choices, self.said, strict=False)).get(choice, choice)

    def as_a_table_has_it(self, value: object) -> str:
        """How to write a number in a table that people may write otherwise elsewhere; blank where it is none."""
        try:
            one = read_number(str(value), self.unit, "", self.usual)
        except NotRead as error:
            unclear = error.code == "unclear"
            return f"{error.remedy}, with a point for decimals and no unit" if unclear else ""
        return f"a table takes a point for decimals and no unit: write {one.kept:.12g}"

    def probably_meant(self, value: float) -> str:
        """What a number beyond the limits was probably meant to be, as a question; blank where nothing is likely."""
        if self.low is None or self.high is None or self.usual is None:
            return ""
        guess = meant(value, self.low, self.high, *self.usual, self.unit)
        return guess.question() if guess else ""

    def unusual(self, value: float) -> str:
        """What is unusual of a number within the limits; blank for a usual one."""
        if self.usual is None or not math.isfinite(value) or self.usual[0] <= value <= self.usual[1]:
            return ""
        low, high = self.usual
        return f"{value:.6g} {self.unit}".rstrip() + f" is unusual: most are {low:g} to {high:g} {self.unit}".rstrip()

    def unlikely(self, value: float, asked: str = "") -> str:
        """What is unusual of a number, and what was probably meant, or the caller's question; blank for a usual one."""
        said = self.unusual(value)
        if said and self.usual and not asked:
            guess = meant(value, *self.usual, *self.usual, self.unit)
            asked = guess.question() if guess else ""
        return f"{said}; {asked}" if said and asked else said


def _number(
    name: str,
    label: str,
    unit: str,
    limits: tuple[float, float],
    usual: tuple[float, float] | None,
    help: str,
    *,
    above: bool = False,
) -> FieldFacts:
    return FieldFacts(name, label, unit, False, *limits, above, (), help, "number", usual)


def _other(
    name: str, label: str, help: str, kind: Kind = "text", choices: tuple[str, ...] = (), said: tuple[str, ...] = ()
) -> FieldFacts:
    choices = ("true", "false") if kind == "flag" else choices
    return FieldFacts(name, label, "", False, None, None, False, choices, help, kind, None, said)


def _choice(name: str, label: str, choices: Any, help: str) -> FieldFacts:
    return _other(name, label, help, "choice", get_args(choices))


# Limits beyond which a value is refused, and, with each field, the usual range beyond which it is worth a second look:
# judgement of the bench for mains transformers of valve sets, to catch slips of a digit or a unit.
OHM, MILLIAMPERE, VOLT, LIMB_MM, PCT = (0.001, 1e6), (0.1, 1e5), (0.0, 1e4), (3.0, 500.0), (0.0, 100.0)
DRAWN_MA, U_PCT, YEARS = (5.0, 1000.0), (0.01, 10.0), (1880.0, float(date.today().year))
AREA_CM2 = (LIMB_MM[0] ** 2 / 100, LIMB_MM[1] ** 2 / 100)

# The columns of a record, in the order of the tables.
RECORD = (
    _other("unit", "Unit", "Your own tag for the unit, as written on it."),
    _other("contributor", "Contributor", "Whose bench read it."),
    _choice("evidence", "Evidence", Evidence, "How the rated current is known."),
    _choice(
        "rectifier",
        "Rectifier",
        Rectifier,
        "The supply that the rating is stated for; full-wave is two diodes on a centre tap, none an ac rating.",
    ),
    _choice("filter", "Filter input", FilterInput, "What the rectifier meets first: capacitor or choke."),
    _number(
        *("rated_current_ma", "Rated current", "mA", MILLIAMPERE, DRAWN_MA),
        "Direct load current (rms where the rectifier is none).",
    ),
    _number("line_voltage_v", "Line voltage", "V", VOLT, (95.0, 260.0), "Nominal supply of the primary.", above=True),
    _number(
        *("line_frequency_hz", "Line frequency", "Hz", (10.0, 1000.0), (24.0, 62.0)),
        "The frequency it was designed for: 50 for a plate of 50/60.",
    ),
    _other(
        *(
            "centre_tapped",
            "Centre tap",
            "Whether the winding has a centre tap; read over the whole winding either way.",
        ),
        "flag",
    ),
    _number(
        *("excitation_v", "Excitation", "V", VOLT, (0.5, 60.0)),
        "Ratio test: rms volts across the primary, whichever winding is fed.",
        above=True,
    ),
    _number(
        *("hv_v", "Voltage read", "V", VOLT, (1.0, 1500.0)),
        "Ratio test: rms volts across the whole winding in the same test, whichever is fed.",
        above=True,
    ),
    _number(
        *("no_load_v", "No-load voltage", "V", VOLT, (40.0, 3000.0)),
        "Instead of a ratio test: rms volts of the whole winding at line voltage, read directly or the maker's.",
        above=True,
    ),
    _number(
        *("hv_resistance_ohm", "Winding resistance", "ohm", OHM, (5.0, 10000.0)), "Dc resistance of the whole winding."
    ),
    _number(
        *("winding_temp_c", "Winding temperature", "°C", (-40.0, 200.0), (5.0, 40.0)),
        "The winding's temperature at that reading.",
    ),
    _number(
        *("tongue_mm", "Tongue", "mm", LIMB_MM, (10.0, 65.0)), "Width of the core's centre limb; give the stack too."
    ),
    _number(
        *("stack_mm", "Stack", "mm", LIMB_MM, (8.0, 130.0)), "Height of the stack of laminations; give the tongue too."
    ),
    _number(
        *("core_area_cm2", "Core area", "cm²", AREA_CM2, (1.0, 60.0)),
        "Gross area of a core without tongue and stack, such as a toroid; tongue and stack count where all stand.",
    ),
    _choice("conductor", "Conductor", Conductor, "Metal of the winding; copper where empty."),
    _number("awg", "Wire gauge", "AWG", (0.0, 50.0), (18.0, 44.0), "Gauge of the winding's wire."),
    _number(
        *("wire_diameter_mm", "Bare wire diameter", "mm", (0.01, 10.0), (0.05, 1.1)),
        "Without its enamel; it counts where a gauge stands too.",
    ),
    _number(
        *("u_voltage_pct", "Uncertainty of voltage", "%", PCT, U_PCT),
        "Relative standard uncertainty of the no-load voltage; empty: the meter class in use.",
    ),
    _number(
        *("u_resistance_pct", "Uncertainty of resistance", "%", PCT, U_PCT),
        "Relative standard uncertainty of the resistance; empty: the meter class in use.",
    ),
    _number("primary_resistance_ohm", "Primary resistance", "ohm", OHM, (0.2, 600.0), "Dc resistance of the primary."),
    _number(
        *("u_primary_pct", "Uncertainty of the primary's resistance", "%", PCT, U_PCT),
        "Relative standard uncertainty of the primary's resistance; empty: the meter class in use.",
    ),
    _number("weight_kg", "Weight", "kg", (0.0, 1e4), (0.1, 40.0), "Weight of the unit.", above=True),
    _number(
        *("hv_half_1_ohm", "Resistance of one half", "ohm", OHM, (2.0, 5000.0)),
        "From one end to the centre tap, less its own lead null, at the winding's temperature; give the other too.",
    ),
    _number(
        *("hv_half_2_ohm", "Resistance of the other half", "ohm", OHM, (2.0, 5000.0)),
        "From the other end to the centre tap; with the whole's left empty their sum is it.",
    ),
    _choice(
        *("lamination", "Sheets of the core", LaminationShape),
        "ei-scrapless (windows half as wide as the tongue), m (one piece, square), ui (a coil on each of two "
        "limbs), strip-wound or other; scrapless EI where empty.",
    ),
    _number(
        *("window_width_mm", "Window width", "mm", LIMB_MM, (5.0, 80.0)),
        "Of one window of the core, from limb to limb; give its height too.",
    ),
    _number(
        *("window_height_mm", "Window height", "mm", LIMB_MM, (12.0, 250.0)),
        "Of one window of the core, along the limb; give its width too.",
    ),
    _choice(
        *("rating_basis", "Basis of the rating", RatingBasis),
        "dc or ac as the plate has it, or guide: direct current by the maker's guide for that rectifier and filter; "
        "ac where the rectifier is none, else dc, where empty.",
    ),
    _number(
        *("guide_factor", "Factor of the guide", "", (0.05, 3.0), (0.2, 1.7)),
        "Direct current over the winding's ac by that guide; with basis guide only.",
    ),
    _other("maker", "Maker", "Who made the unit."),
    replace(
        _number("made_year", "Year made", "", YEARS, (1900.0, YEARS[1]), "About when, in four figures."), whole=True
    ),
    _other(
        *("transformer", "Transformer"),
        "Tag of the whole unit where several of its windings are records; empty: a unit of its own.",
    ),
    _other("stop", "Stop", "Why the unit must not be fed; empty where nothing stands against it."),
    _other("stop_cleared", "Stop cleared", "Why that no longer stands; both are kept and shown."),
    _other("doubts", "Doubts", "What was not as it should be, sentences parted by a blank, | and a blank."),
    _other("recorded_on", "Recorded on", "Day of the readings, as year-month-day.", "date"),
    _other("notes", "Notes", "Anything else worth keeping."),
    _other("simulated", "Simulated", "Whether the record was made up for practice; false where empty.", "flag"),
    _number("demand_ma", "Demand", "mA", MILLIAMPERE, DRAWN_MA, "Direct current that the set draws."),
)
# One range of one of the user's own meters.
METER = (
    _other("name", "Meter", "What you call it at the bench."),
    _choice("reads", "Reads", Reads, "What is read on it: volts or ohms."),
    _other("range_label", "Range", "Such as 20 V; empty where one line serves every range."),
    _number(
        "percent", "± per cent of reading", "%", (0.0, 50.0), (0.01, 5.0), "From the meter's data, for this range."
    ),
    _number("counts", "+ counts", "", (0.0, 1000.0), (0.0, 50.0), "Steps of the last digit that the data add to it."),
    _number(
        *("resolution", "Last digit", "V or ohm", (0.0, 1000.0), (1e-5, 10.0)),
        "One step of the last digit on this range: 0.01 where it shows 13.88.",
        above=True,
    ),
)
# What every way of entering asks of how the readings were taken; no table has these columns.
TAKEN = (
    _other(
        *("ohm_leads", "The ohms as entered are", "Whether the resistance of the meter's own leads is in them."),
        *("choice", ("null-off", "null-on", "four-wires")),
        ("less the leads' own already", "with the leads' own, to be taken off", "read by four wires"),
    ),
    _number(
        *("null_ohm", "Clips joined, reads", "ohm", (0.0, 100.0), (0.0, 5.0)),
        "At the same clip points, on the same range.",
    ),
    _number(
        *("null_u_ohm", "That null is good to ±", "ohm", (0.0, 10.0), None), "How far it wanders when it is repeated."
    ),
    _number(*("temp_within_k", "That temperature is known within ±", "K", (0.0, 30.0), None), "Half of its range."),
    _number(
        *("rest_h", "Hours it has stood in that room", "h", (0.0, 10000.0), None),
        "Since it last ran, or was brought in from elsewhere.",
    ),
    _other(
        *("volts_metered", "The two voltages were read on", "What the two readings of a ratio test have in common."),
        *("choice", ("one-range", "two-ranges", "two-meters")),
        ("one meter, one range", "one meter, two ranges", "two meters"),
    ),
    _other(
        *("metered", "Read on", "The meter that a reading was taken on, where it is none of your own by its name."),
        *("choice", ("(ordinary)", "(typed)", "(same)", "(stated)")),
        ("an ordinary digital meter", "one whose figures I type here", "the same meter", "I know its uncertainty"),
    ),
)
FIELDS: dict[str, FieldFacts] = {facts.name: facts for facts in (*RECORD, *METER, *TAKEN)}


def of(name: str) -> Any:
    """The limits of a field of numbers, to stand in an annotation of a record's class."""
    facts = FIELDS[name]
    least, above = (None, facts.low) if facts.low_excluded else (facts.low, None)
    finite = None if facts.whole else False  # a whole number is finite anyway
    return Field(allow_inf_nan=finite, ge=least, gt=above, le=facts.high)


def _as_number(value: object) -> object:
    if isinstance(value, str) and _NUMBER.fullmatch(value):
        return float(value)
    if isinstance(value, str | bool):
        remedy = "write it with a point for decimals, such as 38.4, and without its unit"
        raise Refusal("is not a number", remedy, "not-a-number")
    return value


def _words(value: object) -> str:
    """Text as it is kept: trimmed, one kind of line end, one spelling of accented letters."""
    if not isinstance(value, str):
        raise Refusal("is not text", "write it as text")
    text = unicodedata.normalize("NFC", value.replace("\r\n", "\n").replace("\r", "\n")).strip()
    if text in BLANK_WORDS:
        raise Refusal("stands for a missing value", "write out what it means")
    if _UNPRINTABLE.search(text):
        raise Refusal("has characters that cannot be printed", "type it again by hand")
    return text


def one_line(value: object) -> str:
    """Text of one line as it is kept; a `Refusal` where it is none."""
    text = _words(value)
    if len(text.splitlines()) > 1 or "\t" in text:
        raise Refusal("runs over more than one line", "write it on one line, without tabs")
    return text


def line(name: str, text: str, shown: str = "") -> str:
    """One line of text as it is kept, or an `InputError` that names it, as `shown` where that is given."""
    try:
        return one_line(text)
    except Refusal as refusal:
        problem, remedy = refusal.problem, refusal.remedy
        raise InputError.one(problem, remedy, column=shown or name, value=text, code=refusal.code) from None


def _name(value: object) -> str:
    text = one_line(value)
    if not text:
        raise Refusal("is needed", "fill it in", "missing")
    return text


def _flag(value: object) -> object:
    if isinstance(value, str):
        known = {"true": True, "false": False}.get(value.strip().lower())
        if known is None:
            raise Refusal("is not true or false", "write true or false", "choice")
        return known
    return value


def _day(value: object) -> object:
    if isinstance(value, str):
        try:
            if _DATE.fullmatch(value.strip()):
                return date.fromisoformat(value.strip())
        except ValueError:
            pass
        raise Refusal("is not a date", "write it as year-month-day, such as 2024-03-09", "date")
    return value


def _choice_word(value: object) -> object:
    return value.strip() if isinstance(value, str) else value


Words = Annotated[str, BeforeValidator(_words)]
OneLine = Annotated[str, BeforeValidator(one_line)]
Name = Annotated[str, BeforeValidator(_name)]
Flag = Annotated[bool, BeforeValidator(_flag)]
Day = Annotated[date, BeforeValidator(_day)]
trimmed = BeforeValidator(_choice_word)
as_number = BeforeValidator(
    _as_number
)  # after the limits in an annotation: they are then checked natively, twice as fast
