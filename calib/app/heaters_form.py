"""The part of the home page's form for the heater windings: what is read on each, and what its valves draw."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from calib.app import fields, parts
from calib.app.fields import Fields
from calib.session import readings as h


def draw(read: h.HeatersRead, now: Mapping[str, Any], at_line: bool) -> None:
    """The fields, as many as windings are said to be there."""
    form = Fields("read_", read.aloud, {}, read.faults)
    with st.expander("Heater windings: their current, and what they leave of the core"):
        fields.select("read_heaters", "Heater windings", h.COUNTS)
        count = h.count_of(now) or 0
        if not count:
            st.write("Say how many there are, or that there are none: the core's volt-amperes then speak as well.")
            return
        parts.caution(
            "Never feed a heater winding: a few volts on it put a lethal voltage on the high-voltage winding."
        )
        fields.select("read_heater_leads", "Their resistance was read by", h.WAYS)
        if now.get("heater_leads") == h.TWO_LEADS:
            form.number(
                "heater_null", "What the test leads read alone", "Ω", "Clips joined; it comes off each reading."
            )
        volts = "No-load volts" if at_line else "Volts in the same ratio test"
        for number in range(1, count + 1):
            st.markdown(f"**Heater {number}**")
            form.number(f"heater_v_{number}", f"{volts}, heater {number}", "V", "Rms, nothing connected.")
            form.number(
                f"heater_ohm_{number}", f"Ohms of heater {number}", "Ω", "A few hundredths of an ohm are usual."
            )
            form.number(
                f"heater_a_{number}", f"Its valves draw, heater {number} (if known)", "A", "Sum of the data sheets."
            )
