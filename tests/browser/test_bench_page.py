"""The bench session in a real browser: worked through by keyboard, on a desk and on a phone."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, TimeoutError as PlaywrightTimeout, expect

from calib.session.protocol import STEPS
from tests.browser.conftest import WAIT_MS, WINDOWS, Look, Server
from tests.counts import share

PATH = "what-do-the-meters-say"
AT_REST = "[data-test-script-state=notRunning]"  # nothing is being drawn


def type_in(page: Page, fields: dict[str, str]) -> None:
    for label, value in fields.items():
        field = page.get_by_role("main").get_by_label(label, exact=True)
        field.fill(value)
        field.press("Tab")


def go(page: Page, name: str) -> None:
    """Go to a step by the row of steps, and wait until it is there."""
    number, step = next((at, one) for at, one in enumerate(STEPS, start=1) if one.name == name)
    heading = page.locator(f"h2:has-text('{number}. {step.title}')")
    for _ in range(4):  # a click in the very moment in which the row is drawn anew goes nowhere, and is made again
        page.get_by_role("button", name=re.compile(rf"^(▸ )?{number} {step.short}")).first.click()
        try:
            heading.wait_for(timeout=WAIT_MS / 6)
        except PlaywrightTimeout:
            continue
        page.wait_for_selector(AT_REST)  # else what is typed goes into fields that are about to be drawn anew
        return
    heading.wait_for()


def holds(page: Page, label: str, value: str) -> None:
    """A field comes to hold a value."""
    expect(page.get_by_role("main").get_by_label(label, exact=True)).to_have_value(value)


def begin(page: Page, tag: str) -> None:
    page.wait_for_selector("#bench-session")
    type_in(page, {"Your tag for the unit": tag, "Whose bench": "Alder Lane"})
    page.wait_for_selector(f"#bench-session:has-text('{tag}')")
    page.wait_for_selector(AT_REST)


@pytest.mark.parametrize(("size", "scheme"), WINDOWS[: share(1, 4)])
def test_every_step_of_the_practice_session_fits_its_window_and_the_sheet_comes_down(
    practice: Server, look: Look, size: str, scheme: str
) -> None:
    visit = look(practice, size, scheme)
    page = visit.open(PATH)
    page.get_by_role("button", name="Take a session to practise on").click()
    page.wait_for_selector("#bench-session:has-text('AL-5')")
    for step in STEPS:
        go(page, step.name)
        page.wait_for_selector(f"text={step.cautions[0][:30]}")
        visit.check()
    page.wait_for_selector("#answer")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Download the blank bench sheet").click()
    assert waiting.value.suggested_filename == "bench-sheet.pdf"
    with open(waiting.value.path(), "rb") as sheet:
        assert sheet.read(5) == b"%PDF-"
    visit.check()


def test_a_click_on_another_page_in_the_middle_of_an_entry_loses_nothing(own: Server, shared: Look) -> None:
    visit = shared(own)
    page = visit.turn_to("What do the meters say?")
    begin(page, "AL-5")
    for turn in range(share(1, 2)):
        page.get_by_role("main").get_by_label("Marks and stamps on it", exact=True).fill(f"mark {turn}")
        page.get_by_role("link", name="Known units").click()
        page.wait_for_timeout(3000)  # whichever page it ends on
        page.wait_for_selector(AT_REST)
        visit.turn_to("What do the meters say?")
        type_in(page, {"What it came out of": f"set {turn}"})
        holds(page, "Your tag for the unit", "AL-5")
        holds(page, "Marks and stamps on it", f"mark {turn}")
        holds(page, "What it came out of", f"set {turn}")
    visit.check()
