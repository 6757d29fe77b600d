"""The steps of a bench session before anything is fed: look, leads, insulation, resistance.

Limits that no column of the record has are judgement of the bench, to catch slips of a digit or a unit.
"""

from __future__ import annotations

from calib import bench
from calib.bench.insulation import GOOD_ABOVE_MEGOHM, STANDARD_MEGOHM, STOP_BELOW_MEGOHM
from calib.session import choices as c
from calib.session.choices import choice, meter, ohms, text
from calib.session.metering import LIMITS
from calib.session.step import Field, Part, Rows, Step

WORKS_AT = (
    "What the parts work at, at 1.1 × line, a peak being 1.41 × rms. To the core: the primary the line's peak; the "
    "high voltage and the rectifier's heater the peak of half of it (full-wave), of all of it (bridge, half-wave) or "
    "twice that (doubler). Between two windings: the sum of both."
)
LIMITS_OF_INSULATION = (
    f"At 20 °C, by the workshop's view: above {GOOD_ABOVE_MEGOHM:g} MΩ it has passed, from {STOP_BELOW_MEGOHM:g} to "
    f"{GOOD_ABOVE_MEGOHM:g} MΩ dry it out and test again, below {STOP_BELOW_MEGOHM:g} MΩ stop until it is explained. "
    "Good is what has passed at or above what it works at. The order of the standards' least: "
    f"{STANDARD_MEGOHM['basic']:g} MΩ for basic insulation, {STANDARD_MEGOHM['reinforced']:g} MΩ for reinforced. "
    "Follow your local code."
)
TESTS = 18  # of insulation: six pairs of parts at up to three voltages

LOOK = Step(
    "look",
    "Look",
    "Look it over",
    (
        "Voltages in this equipment can kill. Unplug it, wait, discharge every capacitor through a resistor, and prove "
        "it dead with a meter before you touch anything: a capacitor can recover charge.",
        "Old parts may hold asbestos, PCB oil or wax, or lead. Wear gloves, raise no dust, and dispose of them as your "
        "local rules say.",
    ),
    (
        Part(
            "",
            (
                text("tag", "Your tag for the unit", "As written on it."),
                text("contributor", "Whose bench"),
                Field("lead_count", "Number of leads", limits=(2.0, 60.0), usual=(4.0, 24.0)),
                Field("weight_kg", "Weight", unit="kg", help="The whole unit.", column="weight_kg"),
                text("from_what", "What it came out of", wide=True),
                text("marks", "Marks and stamps on it", wide=True),
                choice("decade", "How old it is", c.DECADES),
                choice("sheets", "Sheets of the core", c.SHEETS),
                Field("signs", "Signs of trouble", "several", choices=(*c.SCORCHED, c.DAMP, c.CORRODED, c.MENDED)),
                text("colours", "Colours of its leads", wide=True),
                text("notes", "Anything else", wide=True),
            ),
        ),
    ),
)

FIND_LEADS = Step(
    "leads",
    "Leads",
    "Find the leads",
    (
        "Unplugged and proved dead, with everything off the leads: rectifier, capacitors, dial lamps, resistors across "
        "the heaters.",
        "The ohmmeter's current leaves a kick when a clip comes off: hold the clips by their insulation.",
        "A colour is a hint and no proof: never put voltage on a lead for its colour.",
    ),
    (
        Part(
            "",
            (
                text("primary", "Leads of the primary", "Their tags in order, end to end, such as 1, 2."),
                text("hv_ends", "Ends of the high-voltage winding"),
                text("hv_tap", "Its centre tap", "Empty where it has none."),
                text("heaters", "Leads of the heater windings", "One winding after another, such as 6-7, 8-9."),
                text("others", "Leads with no continuity", "A screen, or the end of a broken winding."),
                choice(
                    "core_path",
                    "From the leads to the core, by ohmmeter",
                    (c.CORE_UNTESTED, c.CORE_OPEN, c.CORE_TOUCHES),
                ),
                Field(
                    "core_ohm",
                    "What it reads to the core",
                    unit="ohm",
                    column="hv_resistance_ohm",
                    when=(("core_path", (c.CORE_TOUCHES,)),),
                ),
                choice(
                    "core_joined",
                    "It is joined to the core",
                    (c.NOT_MEANT, c.SCREEN_JOINED, c.HIGH_JOINED, c.HEATER_JOINED),
                    when=(("core_path", (c.CORE_TOUCHES,)),),
                ),
            ),
        ),
    ),
)

INSULATION = Step(
    "insulation",
    "Insulation",
    "Test the insulation",
    bench.BEFORE_THE_TEST,
    (
        Part(
            "What it works at",
            (
                choice("circuit", "Its high voltage goes to", c.CIRCUITS, wide=True),
                Field(
                    "works_hv_v",
                    "High voltage to expect, end to end",
                    unit="V",
                    help="A guess on the high side; once the ratio test is done, what that says counts.",
                    column="no_load_v",
                ),
                Field(
                    "works_line_v",
                    "Line voltage to expect",
                    unit="V",
                    help="Nominal, of the primary.",
                    column="line_voltage_v",
                ),
            ),
            note=WORKS_AT,
        ),
        Part(
            "Tests",
            (
                Field(
                    "seconds",
                    "Seconds that the voltage had stood",
                    unit="s",
                    limits=(1.0, 3600.0),
                    usual=(15.0, 600.0),
                    placeholder="60",
                ),
            ),
            Rows(
                "tests",
                "Test",
                (
                    Field("between", "Between", "pick", choices=("", *c.BETWEEN), wide=True),
                    choice("protects", "What it keeps apart", (c.BASIC, c.REINFORCED)),
                    Field("test_v", "Test voltage", unit="V dc", limits=(10.0, 5000.0), usual=(100.0, 1000.0)),
                    Field("megohm", "Reads", unit="MΩ", limits=(1e-3, 1e6), usual=(0.5, 1e5)),
                    choice("over", "The reading is", (c.AS_SHOWN, c.OVER_RANGE)),
                    Field("temp_c", "Temperature then", unit="°C", limits=(-20.0, 120.0), usual=(5.0, 40.0)),
                    Field("ten_megohm", "After ten minutes, if read", unit="MΩ", limits=(1e-3, 1e6), usual=(0.5, 1e5)),
                ),
                2,
                TESTS,
                paper=8,
            ),
            LIMITS_OF_INSULATION,
        ),
    ),
)

RESISTANCE = Step(
    "resistance",
    "Resistance",
    "Read the resistances",
    (
        "Unplugged, capacitors discharged and proved dead, every lead of the winding free.",
        "The meter's current leaves a kick. Wait until the reading stands, then take the clips off slowly with your "
        "hands on their insulation only.",
    ),
    (
        Part(
            "High voltage",
            (
                ohms("hv_ohm", "End to end", "The whole winding: the reading that counts most."),
                ohms("hv_half_1_ohm", "One end to the centre tap"),
                ohms("hv_half_2_ohm", "Other end to the centre tap"),
                Field("winding_temp_c", "Temperature of the winding", unit="°C", column="winding_temp_c"),
                Field(
                    "temp_within_k",
                    "That temperature is known within ±",
                    unit="K",
                    limits=LIMITS["temp_within_k"][:2],
                    above_zero=False,
                    placeholder=f"{bench.WINDING_TEMP_HALF_WIDTH_K:g}",
                ),
                Field(
                    "rest_h",
                    "Hours it has stood in that room",
                    unit="h",
                    help="Since it last ran, or was brought in from elsewhere.",
                    limits=LIMITS["rest_h"][:2],
                    above_zero=False,
                ),
                choice("conductor", "Metal of its wire", (c.COPPER, c.ALUMINIUM)),
            ),
        ),
        Part(
            "Primary and heaters",
            (
                Field("primary_ohm", "Primary", unit="Ω", column="primary_resistance_ohm"),
                choice("heater_leads", "Heaters were read", (c.AS_OTHERS, c.FOUR_WIRES), "Four wires below 5 Ω."),
            ),
            Rows(
                "heaters",
                "Heater winding",
                (
                    text("heater_name", "Its leads or colour"),
                    Field("heater_ohm", "Reads", unit="Ω", limits=(1e-3, 1000.0), usual=(0.01, 20.0)),
                ),
                2,
                4,
            ),
        ),
        Part(
            "How they were read",
            (
                choice("ohm_leads", "The ohms as entered are", (c.NULL_OFF, c.NULL_ON, c.FOUR_WIRES)),
                Field(
                    "null_ohm",
                    "Clips joined, reads",
                    unit="Ω",
                    help="At the same clip points, on the same range.",
                    limits=LIMITS["null_ohm"][:2],
                    above_zero=False,
                    usual=(0.0, 5.0),
                    when=(("ohm_leads", (c.NULL_ON,)),),
                ),
                Field(
                    "null_u_ohm",
                    "That null is good to ±",
                    unit="Ω",
                    help="How far it wanders when it is repeated.",
                    limits=LIMITS["null_u_ohm"][:2],
                    above_zero=False,
                    placeholder=f"{bench.LEAD_NULL_U_OHM:g}",
                    when=(("ohm_leads", (c.NULL_OFF, c.NULL_ON)),),
                ),
                *meter("ohmmeter", "Ohmmeter", "ohm"),
            ),
        ),
    ),
)
