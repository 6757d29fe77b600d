"""Entries in a real browser: units, meters of one's own, and what is emptied is seen to be empty."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.browser.conftest import Look, Server

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

OHMS = "Ohms read on the high-voltage winding"
SHOWN = "([label, value]) => document.querySelector(`input[aria-label='${label}']`)?.value === value"
METER = {"Meter": "Blue", "Range": "20 V", "± per cent of reading": "1", "+ counts": "3", "Last digit": "0.01"}


def field(page: Page, label: str) -> Locator:
    return page.get_by_role("main").get_by_label(label, exact=True)


def type_in(page: Page, label: str, value: str) -> None:
    field(page, label).fill(value)
    field(page, label).press("Tab")


def choose_unit(page: Page, label: str, unit: str) -> None:
    page.get_by_role("radiogroup", name=f"Unit of: {label}").get_by_text(unit, exact=True).click()


def test_cleared_readings_are_empty_and_the_main_job_is_done_by_keyboard_alone(practice: Server, look: Look) -> None:
    visit = look(practice)
    page = visit.open()
    page.wait_for_function(SHOWN, arg=[OHMS, "287.8"])  # the first practice unit's
    for typed in ("", "55"):
        if typed:
            type_in(page, OHMS, typed)
            page.wait_for_selector("text=Still needed for a first answer: volts on the primary")
        page.get_by_role("button", name="Clear the readings").click()
        page.wait_for_function(SHOWN, arg=[OHMS, ""])
    wanted = {"Volts on the primary": "5.58", "Volts read on the high-voltage winding": "26.68", OHMS: "461.5"}
    for _ in range(60):
        page.keyboard.press("Tab")
        label = page.evaluate("document.activeElement.getAttribute('aria-label') || ''")
        if label in wanted:
            page.keyboard.type(wanted.pop(label))
            page.keyboard.press("Enter")
        if not wanted:
            break
    assert wanted == {}
    page.wait_for_selector("#answer >> text=Most likely")
    visit.check()


def test_units_are_understood_and_remembered_and_a_meter_of_ones_own_is_accounted_for(
    practice: Server, look: Look
) -> None:
    """1 1/8 in is 28.575 mm, 68 °F is 20 °C, SWG 30 is 0.315 mm (BS 3737)."""
    visit = look(practice, "phone", "dark")
    page = visit.open()
    page.wait_for_selector("#answer")
    choose_unit(page, "Temperature of the winding then", "°F")
    type_in(page, "Temperature of the winding then", "68")
    page.wait_for_selector("text=68 °F is 20 °C.")
    page.get_by_text("Sharpen it: core").click()
    choose_unit(page, "Tongue", "in")
    type_in(page, "Tongue", "1.125")
    page.wait_for_selector("text=1.125 in (1 1/8) is 28.575 mm.")
    choose_unit(page, "Wire of the high-voltage winding", "SWG")
    type_in(page, "Wire of the high-voltage winding", "30")
    page.wait_for_selector("text=SWG 30 is 0.315 mm bare.")
    type_in(page, "Stack", "4000")
    page.wait_for_selector("text=did you mean 40 mm")
    assert field(page, "Stack").is_visible()  # what was folded out stays so when more is said above it
    page.get_by_role("button", name="Clear the readings").click()
    page.wait_for_selector("text=Still needed")
    inches = page.get_by_role("radiogroup", name="Unit of: Stack").get_by_role("radio", name="in", exact=True)
    assert inches.is_checked()
    page.get_by_role("button", name="Fill in a practice unit").click()
    page.wait_for_selector("#answer")
    page.get_by_text("Your meters: how sure").click()
    page.get_by_text("Put a meter on the list").click()
    for label, value in METER.items():
        type_in(page, label, value)
    page.wait_for_selector("text=A reading of 10 V is then good to ± 0.13 V.")
    page.get_by_role("button", name="Keep this meter").click()
    page.wait_for_selector("text=Blue, 20 V (volts) is on the list.")
    page.wait_for_function("document.querySelector(\"input[aria-label='Last digit']\").value === ''")
    chooser = page.get_by_role("combobox", name="Voltages read on")
    chooser.scroll_into_view_if_needed()
    page.wait_for_timeout(500)  # a list that is opened while the page still scrolls shuts again
    chooser.click()
    page.get_by_role("option", name="Blue, 20 V", exact=True).click()
    page.wait_for_selector("#account >> text=V/R has a standard uncertainty")
    page.wait_for_selector("text=the last digits of the volts put in")
    visit.check()


def test_a_click_on_another_page_in_the_middle_of_an_entry_loses_nothing(own: Server, look: Look) -> None:
    """The server then draws one page while it is already asked for another, and forgets the fields of the first; they
    are there again at the latest when the page is next come to."""
    visit = look(own)
    page = visit.open()
    type_in(page, "Volts on the primary", "4.97")
    type_in(page, OHMS, "188.6")
    field(page, "Volts read on the high-voltage winding").fill("27.7")
    page.get_by_role("link", name="Known units").click()
    page.wait_for_timeout(3000)  # whichever page it ends on
    for title in ("Known units", "What can it give?"):
        page.get_by_role("link", name=title).click()
        page.wait_for_selector(f"h1:has-text('{title}')")
        page.wait_for_timeout(500)
    for label, value in {"Volts on the primary": "4.97", OHMS: "188.6"}.items():
        page.wait_for_function(SHOWN, arg=[label, value])
    visit.check()
