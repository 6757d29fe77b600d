"""Readings of a heat run that no unit gives, and what is said of each, alike from Python, command and page."""

from __future__ import annotations

SECONDS = (20.0, 35.0, 50.0, 65.0, 90.0, 120.0, 150.0, 180.0, 240.0, 300.0)
OHM = (76.76, 76.51, 76.26, 76.01, 75.62, 75.15, 74.72, 74.31, 73.48, 72.72)
SOUND = {"cold_ohm": 62.15, "cold_temp_c": 20.4, "ambient_start_c": 21.0, "ambient_end_c": 22.0}
SOUND |= {"load_ma": 92.0, "allowed_rise_k": 60.0}


def but(at: int, ohm: float) -> tuple[float, ...]:
    """The readings with another one in a place."""
    return tuple(ohm if here == at else one for here, one in enumerate(OHM))


# What is told otherwise, times, resistances, what the one error says.
RUNS: dict[str, tuple[dict[str, float], tuple[float, ...], tuple[float, ...], str]] = {
    "it warms after switching off": ({}, SECONDS, OHM[::-1], "the resistance rises after switching off"),
    "two readings": ({}, SECONDS[:2], OHM[:2], "2 readings are too few"),
    "hot ones halved": ({}, SECONDS, tuple(one / 2.0 for one in OHM), "one half was read hot and the whole cold"),
    "cold one halved": ({"cold_ohm": 31.075}, SECONDS, OHM, "one half was read cold and the whole hot"),
    "hot ones times 1000": (
        {},
        SECONDS,
        tuple(one * 1000.0 for one in OHM),
        "the cold reading is in kilohms and the hot one in ohms",
    ),
    "cold one times 1000": (
        {"cold_ohm": 62150.0},
        SECONDS,
        OHM,
        "the hot reading is in kilohms and the cold one in ohms",
    ),
    "cold and hot exchanged": ({"cold_ohm": 86.0}, SECONDS, OHM, "cold and hot were exchanged"),
    "time and resistance exchanged": ({}, OHM, SECONDS, "time and resistance were exchanged"),
    "one times 1000": ({}, SECONDS, but(3, 76010.0), "stands apart from the others, about 75.39 ohm"),
    "one halved": ({}, SECONDS, but(3, 38.005), "look at the reading at 65 s and its unit"),
    "air in °F": ({"ambient_end_c": 71.6}, SECONDS, OHM, "is no hotter than the room"),
}

WARMING = ((10.0, 64.5, 21.0), (20.0, 66.6, 21.0), (40.0, 70.0, 21.2), (60.0, 72.5, 21.3), (80.0, 74.2, 21.5))


def changed(ohm: float = 1.0, air: float = 1.0, only: int | None = None) -> tuple[tuple[float, ...], ...]:
    """The entries with every resistance or air, or one's, times a factor."""
    return tuple(
        (at, read * ohm, near * air) if only in (None, here) else (at, read, near)
        for here, (at, read, near) in enumerate(WARMING)
    )


# Minutes, ohms and air while it runs, what the one error says.
ENTRIES: dict[str, tuple[tuple[tuple[float, ...], ...], str]] = {
    "it cools": (
        tuple((at, ohm, air) for (at, _, air), (_, ohm, _) in zip(WARMING, WARMING[::-1], strict=True)),
        "the unit does not warm: 48.8 K, then 8.54 K",
    ),
    "halved": (changed(ohm=0.5), "one half was read hot and the whole cold"),
    "times 1000": (changed(ohm=1000.0), "is 1038 times the cold 62.15 ohm, 10 min after the start"),
    "one halved": (changed(ohm=0.5, only=2), "is 0.5632 times the cold 62.15 ohm, 40 min after the start"),
    "air in °F": (changed(air=3.3), "which no unit has"),
    "minutes and ohms exchanged": (tuple((ohm, at, air) for at, ohm, air in WARMING), "which no warming winding is"),
    "ohms and air exchanged": (tuple((at, air, ohm) for at, ohm, air in WARMING), "which no warming winding is"),
    "backwards": (WARMING[::-1], "the times do not rise"),
}
