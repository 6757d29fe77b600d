"""The step of the session that needs the line: the unit on its own, unloaded; only for those who may and can."""

from __future__ import annotations

from calib.show.session.step import Field, Part, Step

IDLE = Step(
    "idle",
    "Unloaded",
    "Run it unloaded, if it comes to that",
    (
        "This is live mains work, which kills: only for those who are used to it and allowed to do it where they live. "
        "Leave it out otherwise: nothing later needs it.",
        "Not before the insulation test is passed. Isolated supply, the right time-lag fuse in the line conductor, "
        "core and frame bonded to protective earth where the code asks for it.",
        "Every secondary open, its ends apart and covered: they carry their full voltage.",
        "Bring it up slowly through a series lamp or another current limit, with a person watching. Switch off at a "
        "bright lamp, hum, smell or smoke; let it stand dead before you touch it.",
    ),
    (
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
            note="More than a third of the full-load current, twice the iron's usual loss, or heat without a load: "
            "each is a sign of a shorted turn, which a resistance hardly shows.",
        ),
    ),
)
