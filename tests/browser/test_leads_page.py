"""The page that tells leads apart, in a real browser: one pair at a time, on a phone and at a desk."""

from __future__ import annotations

import re

import pytest

from tests.browser.conftest import WINDOWS, Look, Server
from tests.counts import share

READ = {("1", "2"): "5.7", ("3", "4"): "92", ("4", "5"): "97.2", ("3", "5"): "188.9"}
ASKED = re.compile(r"(\d) to (\d), Ω")


@pytest.mark.parametrize(("size", "scheme"), WINDOWS[: share(1, 2)])
def test_pair_by_pair_to_the_windings_and_there_again_after_a_reload(
    own: Server, shared: Look, size: str, scheme: str
) -> None:
    visit = shared(own, size, scheme)
    page = visit.turn_to("Which lead is which?")
    tags = page.get_by_role("textbox", name="Tags of all leads, parted by commas")
    tags.fill("1, 2, 3, 4, 5")
    tags.press("Enter")
    asked: set[str] = set()
    while len(asked) < 10:
        field = page.get_by_role("textbox", name=ASKED)
        page.get_by_text(re.compile("What to do next|drawn here as soon")).first.wait_for()
        if "Do the ratio test" in page.get_by_role("main").inner_text():
            break
        name = field.get_attribute("aria-label") or ""
        asked.add(name)
        match = ASKED.match(name)
        assert match
        reading = READ.get((match[1], match[2]))
        if reading:
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
    picture = "[aria-label*='3 to 4 to 5: 189 Ω, high voltage (centre-tapped)']"
    page.wait_for_selector(picture)
    page.wait_for_selector("text=Kept with the session on the bench")
    visit.check()
    page.goto(f"{visit.server.url}/what-do-the-meters-say")
    page.get_by_role("button", name="Go on with this one").first.click()
    page.get_by_role("button", name="2 Leads ✓ done").wait_for()  # the session is there
    visit.turn_to("Which lead is which?")
    page.wait_for_selector(picture)
