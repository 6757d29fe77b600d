"""The whole way in a real browser: loose leads, the session, the set, the bench, the printed sheet, a known unit."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

import pytest
from playwright.sync_api import Page, TimeoutError as PlaywrightTimeout, expect

import calib
from tests.browser.conftest import TRIES, WAIT_MS, WINDOWS, Look, Server, Visit
from tests.browser.test_bench_page import begin, go, holds, type_in
from tests.paper.reading import beyond, figures, pages, text

# In each window the leads, what is read between pairs of them, and the picture that these come to.
LEADS = {
    "desk": (
        {("1", "2"): "5.7", ("3", "4"): "92", ("4", "5"): "97.2", ("3", "5"): "188.9"},
        "3 to 4 to 5: 189 Ω, high voltage (centre-tapped)",
    ),
    "phone": ({("1", "2"): "5.7", ("3", "4"): "188.9"}, "3 to 4: 189 Ω"),
}
ASKED = re.compile(r"(\d) to (\d), Ω")
SET = {"Valve or load 1": "6V6-GT", "Valve or load 2": "6SQ7", "First capacitor": "60"}
SET |= {"Rectifier valve (empty: diodes)": "5Y3-GT"}
RESISTANCE = {"End to end": "188.6", "Temperature of the winding": "20"}
RATIO = {"Line voltage of the primary": "117", "Line frequency": "60", "Volts fed in": "4.97"}
RATIO |= {"High voltage, end to end": "27.76"}
OHMS = "Ohms read on the high-voltage winding"
CLOCK = re.compile(r"\d\d:\d\d UTC")


def leads_to_windings(page: Page, read: dict[tuple[str, str], str]) -> None:
    """Put in the pairs that the page asks for, one at a time, until it has what it needs."""
    tags = page.get_by_role("textbox", name="Tags of all leads, parted by commas")
    tags.fill(", ".join(sorted({lead for pair in read for lead in pair})))
    tags.press("Enter")
    for _ in range(10):
        page.get_by_text(re.compile("What to do next|drawn here as soon")).first.wait_for()
        if "Do the ratio test" in page.get_by_role("main").inner_text():
            break
        field = page.get_by_role("textbox", name=ASKED)
        name = field.get_attribute("aria-label") or ""
        match = ASKED.match(name)
        assert match
        if reading := read.get((match[1], match[2])):
            field.fill(reading)
            field.press("Tab")
            page.get_by_role("button", name="Put it in").click()
        else:
            page.get_by_role("button", name="No continuity").click()
        page.wait_for_function(
            "name => document.querySelector(`input[aria-label='${name}']`) === null || document.body.innerText"
            ".includes('Do the ratio test')",
            arg=name,
        )
    page.wait_for_selector("text=Kept with the session on the bench")


def fits(visit: Visit, size: str) -> None:
    """Nothing went wrong, and the page fits windows of every size, whichever it was come to in."""
    assert visit.trouble == []
    if size == "phone":
        visit.check()


def again_after_a_reload(visit: Visit, picture: str) -> None:
    """The session with its leads is there in a page that was loaded anew."""
    page = visit.page
    page.goto(f"{visit.server.url}/what-do-the-meters-say")
    page.get_by_role("button", name="Go on with this one").first.click()
    page.get_by_role("button", name="2 Leads ✓ done").wait_for()  # the session is there
    visit.turn_to("Which lead is which?")
    page.wait_for_selector(f"[aria-label*='{picture}']")


def keep(page: Page, tag: str) -> None:
    page.get_by_role("button", name=f"Keep it on the bench as {tag}").click()
    page.wait_for_selector(f"text=On the bench as {tag}, kept")


def choose(page: Page, label: str, value: str) -> None:
    """Choose from a list; one that opens while the page still scrolls to it folds itself again."""
    box = page.get_by_role("combobox", name=label)
    for _ in range(TRIES):
        box.scroll_into_view_if_needed()
        box.click()
        with suppress(PlaywrightTimeout):
            page.get_by_role("option", name=value).click(timeout=WAIT_MS / TRIES / 6)
            return
    page.get_by_role("option", name=value).click()


def printed(page: Page) -> bytes:
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Print this unit's sheet (PDF, A4)").click()
    return Path(waiting.value.path()).read_bytes()


def read_to_an_answer(page: Page, tag: str) -> None:
    """From the session's tag, by keyboard alone to the next step, by its readings to the estimate's form."""
    go(page, "look")
    begin(page, tag)
    assert tab_to(page, "Next: Leads")
    page.keyboard.press("Enter")
    page.wait_for_selector("h2:has-text('2. Find the leads')")
    go(page, "resistance")
    type_in(page, RESISTANCE)
    page.wait_for_selector("text=High voltage, whole winding, at 20 °C")
    page.get_by_role("button", name="Next: Ratio").click()
    page.wait_for_selector("text=No insulation test is noted")
    heading = page.locator("h2:has-text('5. Read the ratio')")
    expect(heading).to_be_in_viewport()
    expect(heading).to_be_focused()
    type_in(page, RATIO)
    page.wait_for_selector("text=No-load voltage, whole winding, at 117 V")
    go(page, "sum")
    page.wait_for_selector("td:has-text('V/R')")
    assert "Most likely" in page.locator("#answer").inner_text()
    page.get_by_role("button", name="Fill the estimate's form with these").click()
    page.wait_for_selector("h1:has-text('What can it give?')")
    holds(page, OHMS, "188.6")
    page.wait_for_selector("#answer")


def answered_for_the_set(page: Page) -> set[str]:
    """The figures of the set's page, once a set was entered."""
    type_in(page, SET)
    page.wait_for_selector("#demand")
    page.wait_for_selector("td:has-text('Beyond its limit')")
    page.wait_for_selector("text=Nothing of this answer is kept")
    said = page.get_by_role("main").inner_text()
    return figures(said[said.index("Beyond its limit") : said.index("Nothing of this answer is kept")])


def printed_as_shown(page: Page, tag: str, asked: set[str]) -> None:
    """The unit's sheet has every figure of its page, the hours of the day apart, and of its set's."""
    page.wait_for_selector(f"h2:has-text('{tag} of Alder Lane')")
    page.wait_for_selector("h3:has-text('Its history')")
    said = page.get_by_role("main").inner_text()
    asked = asked | figures(CLOCK.sub("", said[said.index("What it can give") : said.index("Its heat run")]))
    sheet = printed(page)
    told = text(sheet)
    assert (pages(sheet), beyond(sheet)) == (1, [])
    assert len(asked) > 50
    assert sorted(asked - figures(told)) == []
    for word in (tag, "Alder Lane", "188.6", "27.76", "4.97", "BROKEN, first capacitor: 60 µF", "not a certificate"):
        assert word in told, word


def tab_to(page: Page, text: str) -> bool:
    """Whether the focus comes to a button of that text by tabbing on."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == text:
            return True
    return False


@pytest.mark.parametrize(("size", "scheme"), WINDOWS[:2])
def test_from_loose_leads_to_a_printed_sheet_and_a_known_unit(
    own: Server, shared: Look, size: str, scheme: str
) -> None:
    """Nothing is typed twice on the way, and what was kept is there after a reload."""
    tag = f"AL-5 on the {size}"
    visit = shared(own, size, scheme)
    page = visit.turn_to("Which lead is which?")
    read, picture = LEADS[size]
    leads_to_windings(page, read)
    page.wait_for_selector(f"[aria-label*='{picture}']")
    fits(visit, size)
    if size == "desk":
        again_after_a_reload(visit, picture)
    visit.turn_to("What do the meters say?")
    read_to_an_answer(page, tag)
    fits(visit, size)
    keep(page, tag)
    visit.turn_to("Does it feed the set?")
    asked = answered_for_the_set(page)
    keep(page, tag)
    fits(visit, size)
    visit.turn_to("What is on the bench?")
    page.locator(f"p:has-text('{tag}')").first.wait_for()
    page.get_by_role("button", name="Open it").first.click()
    printed_as_shown(page, tag, asked)
    type_in(page, {"Rated current": "90"})
    choose(page, "Evidence", "nameplate: on the unit itself")
    page.get_by_role("button", name="Make it a known unit").click()
    page.wait_for_selector("text=Its record counts among the known units.")
    fits(visit, size)
    with calib.Register(own.register) as register:
        record = register.record("Alder Lane", tag)
    assert (record.rated_current_ma, record.evidence, record.hv_resistance_ohm) == (90.0, "nameplate", 188.6)
