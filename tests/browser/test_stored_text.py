"""Text from a register in a real browser: shown as it stands, no link, no picture, nothing asked of another host."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from tests.app.hostile import NAMES, fill
from tests.browser.conftest import Look, Serve
from tests.counts import share

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

MADE = """() => [...document.querySelectorAll("[href], [src], iframe, object, embed, .katex")]
    .filter(one => new URL(one.href ?? one.src ?? "about:blank", document.baseURI).origin !== location.origin)
    .concat([...document.querySelectorAll(".stMain img, .stTooltipContent img, #vg-tooltip-element img")])
    .map(one => one.outerHTML)"""


SHOWN = """names => names.every(name => document.body.innerText.replaceAll("\u2060", "").includes(name))"""


def held_harmless(page: Page, shown: tuple[str, ...]) -> None:
    """Nothing on the page was made of text but text, and these names stand in it as they are."""
    page.wait_for_function(SHOWN, arg=list(shown))
    assert page.evaluate(MADE) == []


def hover_each(page: Page, places: list[Locator]) -> str:
    """What stands in the bubbles that open over these places."""
    from playwright.sync_api import TimeoutError

    said = []
    for place in places:
        bubble = page.locator(".stTooltipContent")
        for _ in range(10):  # what the pointer came to before the page stood still opens nothing until it comes anew
            place.hover()
            with suppress(TimeoutError):
                bubble.wait_for(timeout=1000)
                break
            page.mouse.move(0, 0)
        said.append(bubble.inner_text().replace("\u2060", ""))
        held_harmless(page, ())
        page.mouse.move(0, 0)
        bubble.wait_for(state="detached")
    return "\n".join(said)


def test_no_name_in_a_register_becomes_a_link_or_a_picture_on_any_page(
    serve: Serve, look: Look, tmp_path: Path
) -> None:
    fill(tmp_path / "register.duckdb", tmp_path)
    server = serve()
    visit = look(server)
    page = visit.open()
    page.get_by_text("Your meters: how sure the readings are").click()
    page.get_by_role("button", name="Remove").last.wait_for()
    held_harmless(page, tuple(f"{name}, {name}" for name in NAMES))
    assert "Take " in hover_each(page, page.get_by_role("button", name="Remove").all()[:1])
    visit.turn_to("Known units")
    page.wait_for_selector("text=27 of 27 known units")
    page.locator(".stDataFrame .dvn-scroller").first.hover(position={"x": 60, "y": 60})
    held_harmless(page, ())
    visit.turn_to("How the multiplier")
    page.wait_for_selector("text=Doubtful, and so counted for less")
    held_harmless(page, NAMES[:1])
    visit.turn_to("What do the meters say?")
    page.wait_for_selector("text=Sessions to go on with: 9")
    held_harmless(page, NAMES)
    hovered = slice(share(3, len(NAMES)))
    said = hover_each(page, page.get_by_role("button", name="Go on with this one").all()[hovered])
    assert sum(f"Go on with this one: {name}" in said for name in NAMES) == len(NAMES[hovered])
    page.get_by_role("button", name="Go on with this one").first.click()
    page.wait_for_selector("text=4. ")
    held_harmless(page, (NAMES[0], NAMES[3]))
    visit.turn_to("Which lead is which?")
    page.locator(".stVegaLiteChart canvas, .stVegaLiteChart svg").first.wait_for()
    held_harmless(page, NAMES)
    over_every_mark(page)
    visit.check()


def over_every_mark(page: Page) -> None:
    """Lead the pointer over the first windings of the picture, so that the bubbles of their leads open."""
    box = page.locator(".stVegaLiteChart").first.bounding_box()
    assert box is not None
    met = 0
    for down in range(130, 310, 88):
        for across in range(20, int(box["width"]), 20):
            page.mouse.move(box["x"] + across, box["y"] + down)
            bubble = page.locator("#vg-tooltip-element.visible")
            if bubble.count():
                met += 1
                held_harmless(page, ())
    assert met
