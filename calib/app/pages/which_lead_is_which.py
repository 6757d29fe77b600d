"""Which lead is which: the pair to read next, the grid of pairs, and the windings drawn as they emerge.

Readings as they are typed (tags, the grid, one pair) are understood by the functions at the end, which know of no page.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any

import streamlit as st

from calib import bench, charts, words
from calib.app import context, forms, session_state as session
from calib.errors import InputError
from calib.leads import CAUTIONS, CODED_WEIGHT, OTHER_WEIGHT, identify_leads, lead_readings
from calib.session import fields as measured

if TYPE_CHECKING:
    import pandas as pd

    from calib.leads.result import LeadsFound

Pair = tuple[str, str]
TITLE = "Which lead is which?"
ORDINARY, OTHER, CODED = "(ordinary)", "other", "coded"
READ_ON = {ORDINARY: "an ordinary hand meter"}
COLOURS = {OTHER: "any other, or not known", CODED: "North American, from the late 1930s on, not repaired"}
STEP = "leads"
OPEN = "open"
# What meters show, and people write, where there is no continuity.
OPEN_WORDS = frozenset({"open", "o", "ol", "o.l", "o.l.", "0l", "inf", "∞", "none", "no", "-", "–"})
USUAL_OHM = (0.01, 10000.0)  # where resistances of windings lie, heaters and all [ohm]
NULL_OHM = (0.0, 100.0)  # what test leads may read alone [ohm]
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
MOST_TAGS = 60
LONGEST_TAG = 24
NO_PAIR = "·"  # what the grid shows where no pair belongs
HERE = "the grid"


def draw() -> None:
    """Cautions, tags, the next pair, the grid, and what it comes to."""
    session.begin()
    opened = context.opened_register()
    context.head(TITLE, opened)
    simulated = session.of("look").get("simulated")
    if simulated:
        st.html('<div class="calib-band calib-practice"><b>SIMULATED</b> – these readings are made up.</div>')
    context.cautions([words.plain(text) for text in CAUTIONS])
    tags, readings = _tags()
    if len(tags) < 2:
        st.write("Tape a tag to every lead, enter the tags above, and the grid of pairs appears.")
        if opened.simulated and not any(session.entries().values()):
            st.button("Take a unit to practise on", key="leads_practise", on_click=_practise)
        return
    settings, trouble = _settings(opened.meters)
    above = st.container()
    grid, wrong = _grid(tags, readings)
    found, faults = identified(tags, grid, **settings)
    with above:
        left, right = st.columns([5, 6], gap="large")
    with left:
        _next_pair(tags, grid, found, bool(faults))
    with right:
        _windings(found, (*trouble, *wrong, *faults))
    _keep_and_hand_out(tags, grid)


def _tags() -> tuple[tuple[str, ...], dict[Pair, str]]:
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
    tags, faults = tags_of(st.session_state["leads_tags"])
    for fault in faults:
        st.error(words.plain(fault[0].upper() + fault[1:] + "."))
    tags = tags[:MOST_TAGS]
    return tags, from_rows(held.get("readings") or (), tags)


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
        meter = forms.select("leads_meter", "Read on", [ORDINARY, *own], names=READ_ON)
        help = "It comes off every reading. Empty where it is off them already."
        forms.number("leads_null", "What the test leads read alone, clips joined (Ω)", help)
        null, understood, wrong = null_in(st.session_state["leads_null"])
        forms.aloud(understood)
        colours = forms.select("leads_colours", "The unit is", list(COLOURS), names=COLOURS)
    settings = {
        "meter": own.get(meter, bench.ORDINARY_OHMMETER),
        "null_ohm": null,
        "colour_weight": CODED_WEIGHT if colours == CODED else OTHER_WEIGHT,
    }
    return settings, (wrong,) if wrong else ()


def _grid(tags: tuple[str, ...], readings: dict[Pair, str]) -> tuple[dict[Pair, str], Any]:
    """The grid of pairs as it stands now, and what is wrong with where readings stand."""
    base = st.session_state.get("leads_base")
    if base is None:
        base = st.session_state["leads_base"] = grid_of(tags, readings)
    st.write("**Every pair read so far**, in ohm; **open** where there is no continuity, empty where not read.")
    columns = {tag: st.column_config.TextColumn(tag, width="small") for tag in tags[1:]}
    edited = st.data_editor(
        base, key=f"leads_grid_{st.session_state.get('leads_turn', 0)}", column_config=columns, width="stretch"
    )
    for said in understood_in(edited):
        forms.aloud(said)
    found, faults = readings_in(edited, tags)
    rows = rows_of(found)
    held = session.of(STEP)
    if (list(tags), rows) != (held.get("names") or [], held.get("readings") or []) and (rows or held.get("readings")):
        session.put_leads(tags, rows)
        st.session_state["leads_of"] = _session()
    return found, faults


def _redraw() -> None:
    """Draw the grid anew from what the session holds."""
    st.session_state["leads_turn"] = st.session_state.get("leads_turn", 0) + 1
    st.session_state["leads_base"] = None


def _next_pair(tags: tuple[str, ...], grid: dict[Pair, str], found: LeadsFound | None, faulty: bool) -> None:
    """One pair with a large field: for somebody with a meter in the other hand."""
    wanted = found.next.pair if found else None if faulty else unread(tags, grid)
    if found:
        st.subheader("What to do next", anchor=False)
        if found.next.caution:
            context.caution(words.plain(_without_caution(found.next.caution)))
        st.write(words.plain(found.next.action))
    if wanted is None:
        return
    a, b = ordered(*wanted, tags)
    key = f"leads_next_{a}_{b}"
    forms.number(key, words.plain(f"{a} to {b}, Ω"))
    understood, wrong = understood_ohm(st.session_state[key])
    forms.aloud(understood)
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


def _put(pair: Pair, key: str, tags: tuple[str, ...], grid: dict[Pair, str]) -> None:
    """Put one reading into the session and draw the grid with it."""
    typed = typed_ohm(st.session_state.get(key)) if key else OPEN
    if not typed or understood_ohm(typed)[1]:
        return
    session.put_leads(tags, rows_of({**grid, pair: typed}))
    st.session_state["leads_of"] = _session()
    if key:
        st.session_state[key] = ""
    _redraw()


def _windings(found: LeadsFound | None, faults: tuple[str, ...]) -> None:
    """The windings as they emerge, what contradicts, and why each is taken for what it is."""
    if faults:
        context.show_faults("Something typed is not a reading yet; the rest waits for it.", faults)
    if found is None:
        if not faults:
            st.write("The windings are drawn here as soon as the first pair is read.")
        return
    for one in found.contradictions:
        st.error(words.plain(f"These readings contradict one another: {one.says}."))
    for remark in found.remarks:
        st.warning(words.plain(remark))
    if found.windings:
        chart = charts.windings(found, context.colours())
        context.picture(chart, "leads_chart")
        context.in_words(chart.description)
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


def _keep_and_hand_out(tags: tuple[str, ...], grid: dict[Pair, str]) -> None:
    trouble = st.session_state[session.TROUBLE]
    if trouble:
        st.error(words.plain(f"Not kept yet: {trouble}. The readings stay on this page."))
    elif grid:
        st.caption("Kept with the session on the bench; the page 'What do the meters say?' goes on from here.")
    st.download_button(
        "Hand out the readings (CSV)",
        lead_table(tags, grid),
        file_name="lead-readings.csv",
        mime="text/csv",
        key="leads_csv",
        on_click="ignore",
    )


def tags_of(text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Tags from what was typed, parted by commas (by blanks where there is none), and what is wrong with them."""
    parts = text.replace("\n", ",").split(",") if "," in text or "\n" in text else text.split()
    tags = [" ".join(part.split()) for part in parts if part.strip()]
    once = tuple(dict.fromkeys(tags))
    faults = [f"'{tag}' stands twice: give every lead a tag of its own" for tag in once if tags.count(tag) > 1]
    faults += [
        f"'{tag[:30]}…' is longer than {LONGEST_TAG} characters: shorten it" for tag in tags if len(tag) > LONGEST_TAG
    ]
    if len(tags) > MOST_TAGS:
        faults.append(f"{len(tags)} leads are more than the {MOST_TAGS} that this page takes: use calib leads for them")
    return once, tuple(faults)


def typed_ohm(text: object) -> str:
    """A cell as a reading is kept: ``open``, a plain number of ohms, or as typed where it is neither."""
    typed = "" if text is None or text != text or text == NO_PAIR else str(text).strip()
    if typed.lower() in OPEN_WORDS:
        return OPEN
    if _PLAIN.fullmatch(typed):
        return typed
    try:
        return measured.shown(bench.read_number(typed, "ohm", usual=USUAL_OHM).kept) if typed else ""
    except bench.NotRead:
        return typed


def understood_ohm(text: object) -> tuple[str, str]:
    """What was understood of a reading where that is not plainly what was typed, and why it is no number.

    Each is a sentence, and blank where there is nothing to say.
    """
    typed = str(text or "").strip()
    if not typed or typed_ohm(typed) == OPEN:
        return "", ""
    try:
        return bench.read_number(typed, "ohm", usual=USUAL_OHM).aloud, ""
    except bench.NotRead as error:
        return "", f"{measured.brief(typed)}: {error.problem}; {error.remedy}, or open where there is no continuity."


def grid_of(tags: Sequence[str], readings: Mapping[Pair, str]) -> pd.DataFrame:
    """The grid: a row for every lead but the last, a column for every lead but the first, each pair once."""
    import pandas as pd

    pairs = set(combinations(tags, 2))
    cells = {b: [readings.get((a, b), "") if (a, b) in pairs else NO_PAIR for a in tags[:-1]] for b in tags[1:]}
    return pd.DataFrame(cells, index=pd.Index(tags[:-1], name="lead"), dtype=object)


def readings_in(grid: pd.DataFrame, tags: Sequence[str]) -> tuple[dict[Pair, str], tuple[str, ...]]:
    """Readings from the grid as edited, and what is wrong with where they stand."""
    found: dict[Pair, str] = {}
    faults = []
    for a in grid.index:
        for b in grid.columns:
            typed = typed_ohm(grid.at[a, b])
            if not typed:
                continue
            if a == b:
                faults.append(f"{a} to {b}: a lead is not read against itself; put the reading where it belongs")
                continue
            pair = ordered(str(a), str(b), tags)
            if found.get(pair, typed) != typed:
                faults.append(f"{pair[0]} to {pair[1]}: stands twice, as {found[pair]} and as {typed}; keep one")
            found.setdefault(pair, typed)
    return found, tuple(faults)


def understood_in(grid: pd.DataFrame) -> tuple[str, ...]:
    """What was understood of the grid's cells where that is not plainly what was typed, one sentence each."""
    cells = ((a, b, understood_ohm(grid.at[a, b])[0]) for a in grid.index for b in grid.columns)
    return tuple(f"{a} to {b}: {said}" for a, b, said in cells if said)


def ordered(a: str, b: str, tags: Sequence[str]) -> Pair:
    """A pair in the order of the tags."""
    return (a, b) if list(tags).index(a) < list(tags).index(b) else (b, a)


def rows_of(readings: Mapping[Pair, str]) -> list[list[str]]:
    """Readings as plain rows, lead, lead, ohm, for a session to keep."""
    return [[a, b, typed] for (a, b), typed in readings.items() if typed]


def from_rows(rows: Iterable[Sequence[Any]], tags: Sequence[str]) -> dict[Pair, str]:
    """Readings from rows that a session kept, of the leads that are tagged."""
    return {
        ordered(str(row[0]), str(row[1]), tags): str(row[2])
        for row in rows
        if len(row) == 3 and row[0] != row[1] and {str(row[0]), str(row[1])} <= set(tags)
    }


def every_pair(tags: Sequence[str], readings: Mapping[Pair, str]) -> list[dict[str, str]]:
    """A row for every pair as ``calib leads`` takes it; that of a pair that was not read has an empty cell."""
    return [{"lead_a": a, "lead_b": b, "ohm": readings.get((a, b), "")} for a, b in combinations(tags, 2)]


def lead_table(tags: Sequence[str], readings: Mapping[Pair, str]) -> str:
    """The same as a table (CSV), to be handed out."""
    import pandas as pd

    return pd.DataFrame(every_pair(tags, readings)).to_csv(index=False, lineterminator="\n")


def identified(
    tags: Sequence[str], readings: Mapping[Pair, str], **settings: Any
) -> tuple[LeadsFound | None, list[str]]:
    """What the readings come to: windings and the next step; and what is wrong, a sentence each.

    Parameters
    ----------
    tags : sequence of str
        Every lead, read or not.
    readings : mapping of (str, str) to str
        ``open`` or a number of ohms for each pair that was read [ohm].
    **settings
        As `calib.leads.identify_leads` takes them.

    Returns
    -------
    (LeadsFound or None, list of str)
        None where nothing was read yet or something is wrong; faults name the pair, the value and the remedy.
    """
    if not any(readings.values()):
        return None, []
    rows = every_pair(tags, readings)
    try:
        return identify_leads(lead_readings(rows, HERE, range(len(rows))), **settings), []
    except InputError as error:
        told = []
        for fault in error.faults:
            why = understood_ohm(fault.value)[1].rstrip(".")
            row = rows[fault.row or 0]
            why = why or f"'{fault.value}' {fault.problem}; {fault.remedy}"
            told.append(f"{row['lead_a']} to {row['lead_b']}: {why}")
        return None, told


def unread(tags: Sequence[str], readings: Mapping[Pair, str]) -> Pair | None:
    """The first pair, in the order of the tags, that was not read; None where all were."""
    return next((pair for pair in combinations(tags, 2) if not readings.get(pair)), None)


def null_in(typed: object) -> tuple[float, str, str]:
    """The lead null, 0 where none was entered, what was understood of it, and what is wrong with it."""
    read = measured.read({"null": typed}, {"null": "ohm"}, {"null": NULL_OHM})
    if read.faults:
        return 0.0, "", f"the lead null of {read.faults['null'].rstrip('.')}"
    value = read.kept["null"] or 0.0
    if not NULL_OHM[0] <= value <= NULL_OHM[1]:
        return 0.0, "", f"the lead null of {value:g} Ω is not from 0 to 100 Ω: enter what the meter shows, clips joined"
    return value, read.aloud.get("null", ""), ""


if __name__ == "__main__":
    draw()
