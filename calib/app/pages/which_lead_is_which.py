"""Which lead is which: the pair to read next, the grid of pairs, and the windings drawn as they emerge."""

from __future__ import annotations

from typing import Any

import streamlit as st

from calib import bench, words
from calib.app import fields, leads_entry, parts, session_state as session
from calib.charts.leads_picture import windings_chart, windings_told
from calib.leads.colours import CODED_WEIGHT, OTHER_WEIGHT
from calib.leads.report import CAUTIONS

TITLE = "Which lead is which?"
ORDINARY = "an ordinary hand meter"
CODED, OTHER = "North American, from the late 1930s on, not repaired", "any other, or not known"
STEP = "leads"


def draw() -> None:
    """Cautions, tags, the next pair, the grid, and what it comes to."""
    session.begin()
    opened = parts.opened_register()
    parts.head(TITLE, opened)
    simulated = session.of("look").get("simulated")
    if simulated:
        st.html('<div class="calib-band calib-practice"><b>SIMULATED</b> – these readings are made up.</div>')
    parts.cautions([words.plain(text) for text in CAUTIONS])
    tags, readings = _tags()
    if len(tags) < 2:
        st.write("Tape a tag to every lead, enter the tags above, and the grid of pairs appears.")
        if opened.simulated and not any(session.entries().values()):
            st.button("Take a unit to practise on", key="leads_practise", on_click=_practise)
        return
    settings, trouble = _settings(opened.meters)
    above = st.container()
    grid, wrong = _grid(tags, readings)
    read = leads_entry.identified(tags, grid, **settings)
    with above:
        left, right = st.columns([5, 6], gap="large")
    with left:
        _next_pair(tags, grid, read)
    with right:
        _windings(read, (*trouble, *wrong, *read.faults))
    _keep_and_hand_out(tags, grid)


def _tags() -> tuple[tuple[str, ...], dict[leads_entry.Pair, str]]:
    """The leads' tags and the readings that the session holds."""
    held = session.of(STEP)
    if st.session_state.get("leads_of") != _session():
        st.session_state["leads_of"] = _session()
        st.session_state["leads_tags"] = ", ".join(held.get("names") or ())
        _redraw()
    st.text_input(
        "Tags of all leads, parted by commas",
        key="leads_tags",
        placeholder="1, 2, 3, 4, 5",
        help="Numbers or letters on tape are best. A colour may be the tag, or follow one: 3 red/yellow.",
        on_change=_redraw,
    )
    tags, faults = leads_entry.tags_of(st.session_state["leads_tags"])
    for fault in faults:
        st.error(words.plain(fault[0].upper() + fault[1:] + "."))
    tags = tags[: leads_entry.MOST_TAGS]
    return tags, leads_entry.from_rows(held.get("readings") or (), tags)


def _practise() -> None:
    """Take the session to practise on, and keep it as one's own."""
    session.practise()
    session.keep()


def _session() -> tuple[str, str]:
    """Which session, of which register, the readings belong to."""
    return st.session_state[session.PLACE], st.session_state[session.ID]


def _settings(meters: tuple[Any, ...]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The ohmmeter, its lead null and how far colours may be believed."""
    own = {one.label: one.accuracy for one in meters if one.reads == "ohm"}
    with st.expander("Meter, test leads and colours"):
        fields.select("leads_meter", "Read on", [ORDINARY, *own])
        help = "It comes off every reading. Empty where it is off them already."
        fields.number("leads_null", "What the test leads read alone, clips joined (Ω)", help)
        null, understood, wrong = leads_entry.null_in(st.session_state["leads_null"])
        fields.aloud(understood)
        fields.select("leads_colours", "The unit is", [OTHER, CODED])
    settings = {
        "meter": own.get(st.session_state["leads_meter"], bench.ORDINARY_OHMMETER),
        "null_ohm": null,
        "colour_weight": CODED_WEIGHT if st.session_state["leads_colours"] == CODED else OTHER_WEIGHT,
    }
    return settings, (wrong,) if wrong else ()


def _grid(tags: tuple[str, ...], readings: dict[leads_entry.Pair, str]) -> tuple[dict[leads_entry.Pair, str], Any]:
    """The grid of pairs as it stands now, and what is wrong with where readings stand."""
    base = st.session_state.get("leads_base")
    if base is None:
        base = st.session_state["leads_base"] = leads_entry.grid_of(tags, readings)
    st.write("**Every pair read so far**, in ohm; **open** where there is no continuity, empty where not read.")
    columns = {tag: st.column_config.TextColumn(tag, width="small") for tag in tags[1:]}
    edited = st.data_editor(
        base, key=f"leads_grid_{st.session_state.get('leads_turn', 0)}", column_config=columns, width="stretch"
    )
    for said in leads_entry.understood_in(edited):
        fields.aloud(said)
    found, faults = leads_entry.readings_in(edited, tags)
    rows = leads_entry.rows_of(found)
    held = session.of(STEP)
    if (list(tags), rows) != (held.get("names") or [], held.get("readings") or []) and (rows or held.get("readings")):
        session.put(STEP, {"names": list(tags), "readings": rows})
        st.session_state["leads_of"] = _session()
    return found, faults


def _redraw() -> None:
    """Draw the grid anew from what the session holds."""
    st.session_state["leads_turn"] = st.session_state.get("leads_turn", 0) + 1
    st.session_state["leads_base"] = None


def _next_pair(tags: tuple[str, ...], grid: dict[leads_entry.Pair, str], read: leads_entry.LeadsRead) -> None:
    """One pair with a large field: for somebody with a meter in the other hand."""
    wanted = read.found.next.pair if read.found else leads_entry.unread(tags, grid) if not read.faults else None
    if read.found:
        st.subheader("What to do next", anchor=False)
        if read.found.next.caution:
            parts.caution(words.plain(_without_caution(read.found.next.caution)))
        st.write(words.plain(read.found.next.action))
    if wanted is None:
        return
    a, b = leads_entry.ordered(*wanted, tags)
    key = f"leads_next_{a}_{b}"
    fields.number(key, words.plain(f"{a} to {b}, Ω"))
    understood, wrong = leads_entry.understood_ohm(st.session_state[key])
    fields.aloud(understood)
    if wrong:
        st.error(words.plain(wrong))
    with st.container(horizontal=True, gap="small"):
        st.button("Put it in", key="leads_put", type="primary", on_click=_put, args=((a, b), key, tags, grid))
        st.button("No continuity", key="leads_open", on_click=_put, args=((a, b), "", tags, grid))
    if grid.get((a, b)):
        st.caption(words.plain(f"It reads {grid[a, b]} so far: read it again."))


def _without_caution(said: str) -> str:
    """A caution without the word, which the page puts before it."""
    rest = said.removeprefix("Caution:").strip()
    return rest[:1].upper() + rest[1:]


def _put(pair: leads_entry.Pair, key: str, tags: tuple[str, ...], grid: dict[leads_entry.Pair, str]) -> None:
    """Put one reading into the session and draw the grid with it."""
    typed = leads_entry.typed_ohm(st.session_state.get(key)) if key else leads_entry.OPEN
    if not typed or leads_entry.understood_ohm(typed)[1]:
        return
    session.put(STEP, {"names": list(tags), "readings": leads_entry.rows_of({**grid, pair: typed})})
    st.session_state["leads_of"] = _session()
    if key:
        st.session_state[key] = ""
    _redraw()


def _windings(read: leads_entry.LeadsRead, faults: tuple[str, ...]) -> None:
    """The windings as they emerge, what contradicts, and why each is taken for what it is."""
    if faults:
        parts.show_faults("Something typed is not a reading yet; the rest waits for it.", faults)
    found = read.found
    if found is None:
        if not faults:
            st.write("The windings are drawn here as soon as the first pair is read.")
        return
    for one in found.contradictions:
        st.error(words.plain(f"These readings contradict one another: {one.says}."))
    for remark in found.remarks:
        st.warning(words.plain(remark))
    if found.windings:
        chart = windings_chart(found, parts.colours())
        st.altair_chart(chart, theme=None, width="stretch", key="leads_chart")
        parts.in_words(windings_told(found))
    else:
        st.write("No two leads belong together so far.")
    if found.isolated:
        proven = [lead for lead in found.isolated if lead not in found.unplaced]
        if proven:
            st.write(
                words.plain(f"Open to all others: {', '.join(proven)}.")
                + " A screen, a broken end, or a lead to the core: try it to the core with the insulation tester."
            )
        if found.unplaced:
            st.write(words.plain(f"Not read enough to place: {', '.join(found.unplaced)}."))
    for number, winding in enumerate(found.windings):
        with st.expander(words.plain(f"Why {'–'.join(winding.leads)} is taken for: {winding.likely_role}")):
            _why(winding, number)


def _why(winding: Any, number: int) -> None:
    said = [*winding.reasons, winding.colour_hint, winding.note]
    lines = [f"- {words.plain(one[0].upper() + one[1:])}." for one in said if one]
    others = [f"{role}, {words.odds(chance)}" for role, chance in winding.other_roles if chance > 0.01]
    if others:
        lines.append(f"- It may also be: {words.plain('; '.join(others))}.")
    st.markdown("\n".join(lines) or "- Its resistance alone.")


def _keep_and_hand_out(tags: tuple[str, ...], grid: dict[leads_entry.Pair, str]) -> None:
    trouble = st.session_state[session.TROUBLE]
    if trouble:
        st.error(words.plain(f"Not kept yet: {trouble}. The readings stay on this page."))
    elif grid:
        st.caption("Kept with the session on the bench; the page 'What do the meters say?' goes on from here.")
    st.download_button(
        "Hand out the readings (CSV)",
        leads_entry.lead_table(tags, grid),
        file_name="lead-readings.csv",
        mime="text/csv",
        key="leads_csv",
        on_click="ignore",
    )


draw()
