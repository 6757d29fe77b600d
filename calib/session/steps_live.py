"""The step of the session that needs the line: the unit on its own, unloaded; only for those who may and can."""

from __future__ import annotations

from calib.bench.faults import BOND_LIMIT_OHM, LOW_LINE, PASS_PROVES_LITTLE
from calib.session import choices as c
from calib.session.choices import choice
from calib.session.step import Field, Part, Step

IDLE = Step(
    "idle",
    "Unloaded",
    "Run it unloaded, if it comes to that",
    (
        "This is live mains work, which kills: only for those who are used to it and allowed to do it where they live. "
        "Leave it out otherwise: nothing later needs it.",
        "Not before the insulation test is passed, nor before core, frame and screen are bonded to protective earth "
        f"and that bond is read: at most {BOND_LIMIT_OHM:g} Ω beside the lead's own. Isolated supply, and the right "
        "time-lag fuse in the line conductor.",
        "Every secondary open, its ends apart and covered: they carry their full voltage.",
        "Up to 100 VA, first with a lamp of 25 to 60 W in series, larger units with another current limit, and a "
        "person watching. If the lamp goes dark: switch off, put the fuse in its place, switch on and read.",
        "Switch off at once at a lamp that stays bright, at smell, smoke or buzz, or where the case grows 25 K warmer "
        "in half an hour; let it stand dead before you touch it.",
    ),
    (
        Part(
            "Bond to earth, before any mains",
            (
                Field(
                    "bond_ohm",
                    "Earth pin of the plug to core and frame",
                    unit="Ω",
                    help="Unplugged, read on bare metal; the poorest of core, frame and screen.",
                    limits=(0.0, 1e6),
                    usual=(0.0, 5.0),
                    above_zero=False,
                ),
                Field(
                    "bond_lead_ohm",
                    "Earth lead and clips alone",
                    unit="Ω",
                    help="Of the mains lead's earth wire with the meter's own leads; it comes off. Empty: none does.",
                    limits=(0.0, 2.0),
                    usual=(0.0, 1.0),
                    above_zero=False,
                ),
            ),
        ),
        Part(
            "Lamp in series",
            (
                choice("lamp", "The lamp", (c.LAMP_UNTRIED, c.LAMP_DARK, c.LAMP_BRIGHT)),
                Field("alarms", "Noticed", "several", choices=(c.SMELL, c.SMOKE, c.BUZZ)),
            ),
        ),
        Part(
            "As read with every secondary open",
            (
                Field("idle_v", "Volts on the primary", unit="V", limits=(1.0, 1000.0), usual=(50.0, 260.0)),
                Field(
                    "idle_ma",
                    "Exciting current",
                    unit="mA",
                    help="Rms, as a true-rms meter shows it: it is far from a sine.",
                    limits=(0.1, 1e5),
                    usual=(3.0, 2000.0),
                ),
                Field("idle_w", "Power drawn", unit="W", limits=(0.01, 1e4), usual=(0.3, 60.0)),
                Field(
                    "idle_rise",
                    "Warmer after half an hour",
                    unit="K",
                    help="Of the case, above what it was.",
                    limits=(0.0, 200.0),
                    usual=(0.0, 40.0),
                    above_zero=False,
                ),
            ),
            note="Over 35 % of the full-load current, or over twice the iron's usual loss: a doubt, since sound units "
            f"do that too. {PASS_PROVES_LITTLE}",
        ),
        Part(
            "A second reading, where the first is in doubt",
            (
                Field(
                    "idle_low_v", "Volts on the primary, lowered", unit="V", limits=(1.0, 1000.0), usual=(40.0, 230.0)
                ),
                Field("idle_low_ma", "Exciting current then", unit="mA", limits=(0.1, 1e5), usual=(3.0, 2000.0)),
            ),
            note=f"At {LOW_LINE:.0%} of the line: at a knee of the iron the current falls much faster than the "
            "voltage, with a shorted turn about in proportion.",
        ),
    ),
)
