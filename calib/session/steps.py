"""The steps of a bench session in the order in which a careful person works; page and printed sheet are made from them.

The first four stand in `bench_steps_cold`. Limits that no column of the record has are judgement of the bench.
"""

from __future__ import annotations

from calib import bench
from calib.bench.faults import BOND_LIMIT_OHM
from calib.session import choices as c
from calib.session.choices import choice, half, limb, meter, text, volts
from calib.session.step import Field, Part, Rows, Step
from calib.session.steps_cold import FIND_LEADS, INSULATION, LOOK, RESISTANCE
from calib.session.steps_live import IDLE

FED_PRIMARY, FED_HEATER = (("fed", (c.PRIMARY,)),), (("fed", (c.HEATER,)),)
NOT_ON_HIGH, NOT_ON_PRIMARY = (("fed", (c.PRIMARY, c.HEATER)),), (("fed", (c.HEATER, c.HIGH)),)
TAPS = 8  # of one winding, in the ratio test
TWO_READINGS = (("volts_metered", (c.TWO_RANGES, c.TWO_METERS)),)
BY_GAUGE, BY_MICROMETER = (("wire_by", (c.GAUGE,)),), (("wire_by", (c.MICROMETER,)),)
BY_ANY = (("wire_by", (c.GAUGE, c.MICROMETER)),)

RATIO = Step(
    "ratio",
    "Ratio",
    "Read the ratio",
    (
        "Every winding comes alive in proportion to its turns: one that is fed with a few volts can put a lethal "
        f"voltage on another. Keep every winding at or below {bench.HAZARDOUS_LIVE_V:g} V rms.",
        "Feed no heater winding: its own 6.3 V there puts the full line voltage on the primary and the full high "
        "voltage on its winding.",
        "Feed from an isolated, current-limited source of mains frequency. A variable autotransformer does not "
        "isolate, and an isolating transformer does not make it safe to touch two points.",
        "Clip the meters on before the source is switched on, and touch nothing while it is. Turn the source to zero "
        "first and take the clips off last: a current that is broken kicks.",
    ),
    (
        Part(
            "Before you switch on",
            (
                choice("proven", "Which leads are the primary's", (c.UNPROVEN, c.PROVEN)),
                Field(
                    "line_voltage_v",
                    "Line voltage of the primary",
                    unit="V",
                    help="Nominal, such as 110, 117, 120, 220, 230 or 240.",
                    column="line_voltage_v",
                ),
                Field(
                    "line_frequency_hz",
                    "Line frequency",
                    unit="Hz",
                    help="What it was designed for: 50 for a plate of 50/60.",
                    column="line_frequency_hz",
                ),
                Field(
                    "expected_hv_v",
                    "High voltage to expect, end to end",
                    unit="V",
                    help="A guess on the high side; it only sets how much may be fed.",
                    column="no_load_v",
                ),
                choice(
                    "fed",
                    "You feed",
                    (c.PRIMARY, c.HEATER, c.HIGH),
                    "Nothing proven yet: the winding of highest resistance. Primary proven: the primary.",
                ),
                Field(
                    "heater_nominal_v",
                    "Heater winding's own voltage",
                    unit="V",
                    help="Such as 5 or 6.3.",
                    limits=(0.1, 100.0),
                    usual=(1.2, 30.0),
                    when=FED_HEATER,
                ),
            ),
            note=" ".join(bench.FEED_RULES),
        ),
        Part(
            "As read",
            (
                volts(
                    "excitation_v",
                    "Volts fed in",
                    "At the ends of the winding that you feed.",
                    "excitation_v",
                ),
                volts("primary_v", "Volts on the primary", "At its own leads.", "excitation_v", when=NOT_ON_PRIMARY),
                volts("hv_v", "High voltage, end to end", when=NOT_ON_HIGH),
                half("hv_half_1_v", "One end to the centre tap"),
                half("hv_half_2_v", "Other end to the centre tap"),
            ),
            Rows(
                "heaters",
                "Heater winding",
                (Field("heater_v", "Volts", unit="V", limits=(1e-4, 100.0), usual=(0.005, 15.0)),),
                2,
                4,
                ("resistance", "heater_name"),
            ),
        ),
        Part(
            "How they were read",
            (
                choice("volts_metered", "The two voltages were read on", (c.ONE_RANGE, c.TWO_RANGES, c.TWO_METERS)),
                *meter("voltmeter", "Voltmeter", "volt"),
                Field(
                    "second_voltmeter",
                    "High voltage was read on",
                    "meter",
                    "volt",
                    choices=(c.SAME_METER,),
                    when=TWO_READINGS,
                ),
                Field(
                    "meter_megohm",
                    "Voltmeter's input resistance",
                    unit="MΩ",
                    help="Most digital meters have 10; a pointer meter has its ohms per volt times its range.",
                    limits=(1e-3, 1e5),
                    usual=(0.01, 20.0),
                ),
            ),
        ),
        Part(
            "Further taps of one winding, all from one end",
            rows=Rows(
                "taps",
                "Tap",
                (
                    text("tap_name", "Lead"),
                    Field("tap_v", "Volts", unit="V", limits=(1e-4, 1000.0), usual=(0.005, 60.0)),
                    Field("tap_ohm", "Reads from that end", unit="Ω", limits=(1e-3, 1e6), usual=(0.01, 2000.0)),
                ),
                2,
                TAPS,
            ),
            closed=True,
        ),
        Part(
            "The other way round, as a check",
            (
                volts("rev_hv_v", "Volts fed to the high-voltage winding", "End to end.", when=FED_PRIMARY),
                volts("rev_primary_v", "Volts then on the primary", "", "excitation_v", when=FED_PRIMARY),
            ),
            closed=True,
        ),
    ),
)

BY_SHEETS = ("core_by", (c.LIMBS, c.OUTSIDE))

CORE = Step(
    "core",
    "Core",
    "Measure the core",
    (
        "Unplugged and proved dead. Edges of sheets cut, and wax, pitch or oil of old units may hold PCB: wear gloves.",
        "Do not prise at coil or bobbin: the fine wire breaks at its lead-outs.",
    ),
    (
        Part(
            "",
            (
                choice("core_by", "What you can measure", (c.LIMBS, c.OUTSIDE, c.AREA)),
                limb("tongue", "Tongue", "Width of the centre limb.", "tongue_mm", c.LIMBS),
                Field(
                    "long_side",
                    "Long side of a sheet",
                    unit="mm",
                    help="Across the three limbs of an EI.",
                    limits=(9.0, 1500.0),
                    usual=(30.0, 200.0),
                    when=(("core_by", (c.OUTSIDE,)),),
                ),
                Field(
                    "short_side",
                    "Short side of a sheet",
                    unit="mm",
                    help="Along the limbs, E and I together.",
                    limits=(7.5, 1250.0),
                    usual=(25.0, 170.0),
                    when=(("core_by", (c.OUTSIDE,)),),
                ),
                limb("stack", "Stack", "Height of the sheets alone, without frame.", "stack_mm", c.LIMBS, c.OUTSIDE),
                limb("area", "Core area", "Gross area that the coil sits on.", "core_area_cm2", c.AREA),
                choice("lamination", "Shape of the sheets", bench.SHAPES, when=(BY_SHEETS,), wide=True),
                *(
                    Field(
                        name,
                        label,
                        unit="mm",
                        help=f"Of one window, {how}.",
                        column=f"{name}_mm",
                        when=(BY_SHEETS, ("lamination", bench.SHAPES[1:])),
                    )
                    for name, label, how in (
                        ("window_width", "Window width", "from limb to limb"),
                        ("window_height", "Window height", "along the limb"),
                    )
                ),
            ),
        ),
    ),
)

WIRE = Step(
    "wire",
    "Wire",
    "Measure the wire",
    (
        "Unplugged and proved dead. Measure on the tail of a lead-out of the high-voltage winding, and strip no more "
        "than you can spare: fine wire breaks where it was nicked.",
        "Old coverings may hold asbestos or lead: raise no dust.",
    ),
    (
        Part(
            "",
            (
                choice("wire_by", "What you have", (c.NO_WIRE, c.GAUGE, c.MICROMETER)),
                Field("wire", "Wire of the high-voltage winding", unit="wire", help="Bare.", when=BY_GAUGE),
                *(
                    Field(
                        f"micrometer_{number}",
                        f"Micrometer, reading {number}",
                        unit="mm",
                        help="Turn the wire a little between readings.",
                        limits=(0.03, 3.5),
                        usual=(0.06, 1.2),
                        when=BY_MICROMETER,
                    )
                    for number in (1, 2, 3)
                ),
                choice("covering", "Over", c.COVERINGS, when=BY_MICROMETER),
                choice("series", "Gauge system of its country", tuple(c.SERIES), when=BY_MICROMETER),
                Field("turns", "Turns, if counted", limits=(1.0, 1e5), usual=(200.0, 8000.0), when=BY_ANY),
                Field(
                    "mean_turn",
                    "Mean length of a turn, if measured",
                    unit="mm",
                    limits=(10.0, 2000.0),
                    usual=(40.0, 400.0),
                    when=BY_ANY,
                ),
            ),
        ),
    ),
)

SUM = Step(
    "sum",
    "Result",
    "What it comes to",
    (
        "These are estimates: no rating, no approval, no guarantee; a sound old winding can still fail. Local codes "
        "and licensed practice come first.",
        "Before mains is applied: insulation test passed, the right time-lag fuse in the line conductor, core and "
        f"frame bonded to protective earth (at most {BOND_LIMIT_OHM:g} Ω beside the lead's own), secondaries open, a "
        "series lamp or another current limit, and a person watching.",
    ),
)

STEPS = (LOOK, FIND_LEADS, INSULATION, RESISTANCE, RATIO, CORE, WIRE, IDLE, SUM)
LIVE = (RATIO.name, IDLE.name)  # what feeds the unit: held up by a finding that says stop
NAMES = tuple(step.name for step in STEPS)


def step_named(name: str) -> Step:
    """The step of that name; the first where there is none."""
    return next((step for step in STEPS if step.name == name), LOOK)
