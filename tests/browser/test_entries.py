"""Entries in a real browser: units, and a click in the middle of an entry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.browser.conftest import Look, Server

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

OHMS = "Ohms read on the high-voltage winding"
SHOWN = "([label, value]) => document.querySelector(`input[aria-label='${label}']`)?.value === value"


def field(page: Page, label: str) -> Locator:
    return page.get_by_role("main").get_by_label(label, exact=True)


def type_in(page: Page, label: str, value: str) -> None:
    field(page, label).fill(value)
    field(page, label).press("Tab")


def choose_unit(page: Page, label: str, unit: str) -> None:
    page.get_by_role("radiogroup", name=f"Unit of: {label}").get_by_text(unit, exact=True).click()


def test_units_are_understood_and_remembered(practice: Server, shared: Look) -> None:
    """1 1/8 in is 28.575 mm, 68 °F is 20 °C, SWG 30 is 0.315 mm (BS 3737)."""
    visit = shared(practice, "phone", "dark")
    page = visit.turn_to("What can it give?")
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
    visit.check()


def test_a_click_on_another_page_in_the_middle_of_an_entry_loses_nothing(own: Server, shared: Look) -> None:
    """The server then draws one page while it is already asked for another, and forgets the fields of the first; they
    are there again at the latest when the page is next come to."""
    visit = shared(own)
    page = visit.turn_to("What can it give?")
    type_in(page, "Volts on the primary", "4.97")
    type_in(page, OHMS, "188.6")
    field(page, "Volts read on the high-voltage winding").fill("27.7")
    page.get_by_role("link", name="Known units").click()
    page.wait_for_timeout(3000)  # whichever page it ends on
    for title in ("Known units", "What can it give?"):
        visit.turn_to(title)
        page.wait_for_timeout(500)
    for label, value in {"Volts on the primary": "4.97", OHMS: "188.6"}.items():
        page.wait_for_function(SHOWN, arg=[label, value])
    visit.check()
