"""Names that a page could take for formatting, in every place of a register where somebody's text stands."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import calib
from calib.session.protocol import practice_entries

# One of each kind that the page's Markdown knows, each short enough for a lead's tag.
NAMES = (
    "![a](//e.example/i)",
    "<img src=//e.example/h>",
    "[a](//e.example/l)",
    "http://e.example/b",
    "www.e.example",
    "me@e.example",
    ":smile: :streamlit:",
    ":material/home: $x^2$",
    ":red[a] `b` -> **c**",
)
UNITS = 27


def fill(path: Path, work: Path) -> None:
    """Make a register whose units, contributors, notes, meters, session tags and lead names are all of them such.

    Parameters
    ----------
    path : Path
        The register.
    work : Path
        A folder for the table that is brought in.
    """
    table = work / "hostile.csv"
    with calib.shipped("datasets/practice/known.csv").open(encoding="utf-8", newline="") as given:
        rows = list(csv.DictReader(given))[:UNITS]
    for number, row in enumerate(rows):
        name = NAMES[number % len(NAMES)]
        row |= {"unit": f"{name} {number}", "contributor": name, "notes": name, "simulated": ""}
        row |= {"stop": name, "stop_cleared": name, "doubts": name}
    rows[0]["rated_current_ma"] = str(4 * float(rows[0]["rated_current_ma"]))  # doubtful, so that it is named
    with table.open("w", encoding="utf-8", newline="") as made:
        writer = csv.DictWriter(made, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    with calib.Register(path) as register:
        register.import_csv(table, by=NAMES[0])
        for reads, resolution in (("volt", 0.01), ("ohm", 0.1)):
            for name in NAMES:
                figures = {"percent": 0.5, "counts": 2, "resolution": resolution}
                register.keep_meter(calib.Meter.parse({"name": name, "reads": reads, "range_label": name} | figures))
        for name in NAMES[1:]:
            register.keep_session(name, {"look": {"tag": name, "contributor": name}}, "look", contributor=name)
        register.keep_session(NAMES[0], session(), "resistance", contributor=NAMES[0])


def session() -> dict[str, dict[str, Any]]:
    """The session to practise on, its leads and all else that has a name named so."""
    made = practice_entries()
    as_named = dict(zip(made["leads"]["names"], NAMES, strict=True))
    made["look"] |= {"simulated": False, "tag": NAMES[0], "contributor": NAMES[1], "from_what": NAMES[2]}
    made["leads"] |= {
        "names": list(NAMES),
        "readings": [[as_named[a], as_named[b], ohm] for a, b, ohm in made["leads"]["readings"]],
        **{name: NAMES[at] for at, name in enumerate(("primary", "hv_ends", "hv_tap", "heaters"))},
    }
    made["resistance"] |= {"heater_name_1": NAMES[0], "heater_name_2": NAMES[3], "ohm_meter": f"{NAMES[0]}, {NAMES[0]}"}
    return made
