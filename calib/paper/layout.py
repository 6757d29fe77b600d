"""A unit's sheet of one page: what stands against it first, then what it can give, what was read, what was proven.

What the sheet shows is a plain record, `UnitSheet`, whatever it was filled from; here it is laid out. A part that does
not fit is cut with a sentence that says so and where the rest stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

from calib.paper.picture import Mark, draw_estimate
from calib.paper.stationery import (
    HAIR_MM,
    HEADING,
    HEAVY_MM,
    INK,
    RULE_MM,
    SMALL,
    SOFT,
    TEXT,
    TITLE,
    WHITE,
    Stationery,
    Strip,
    Style,
    gap,
    height_of,
)
from calib.paths import data
from calib.words import joined_names

if TYPE_CHECKING:
    import pandas as pd

SAYS = data("paper/unit_sheet.toml")
FINDING, PLATE = Style(10.6, bold=True, leading=4.6), Style(13.0, bold=True)
MOST_AGAINST, MOST_FINDING = 0.24, 0.10  # of the page's height, for what stands against it and for what it can give
GUTTER_MM, FIGURES_MM, LEAST_PT = 6.0, 66.0, 6.0
LEAST_WORKING_MM, LEAST_PHOTO_MM, PHOTO_MM = 17.0, 24.0, 46.0
ITEMS = 100_000  # more than a block has
PHOTO_PX, PHOTO_QUALITY = 1000, 85
WORKING_SHARES = (0.27, 0.53, 0.20)


@dataclass(frozen=True)
class Block:
    """A part of a sheet: its title, labels with their values, and sentences."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Photograph:
    """A picture of the unit: what the file is called, its bytes, and how many more files there are."""

    name: str
    content: bytes = field(repr=False)
    others: int = 0


@dataclass(frozen=True)
class UnitSheet:
    """What a unit's sheet shows.

    Attributes
    ----------
    unit, about : str
        Its tag, and in a few words whose it is and what kind of unit.
    source : str
        Which fit of which register stands behind it.
    where : str
        Where all of it stands, for what has to be cut.
    simulated : bool
        Whether the unit or a known unit behind it is simulated.
    dated : datetime or None
        When what it shows was kept last, in UTC; None where nothing was.
    against : tuple of (str, str)
        What stands against it, each with its kind: stop; cleared, a stop with why it no longer stands; doubt; or
        doubts_cleared, likewise.
    finding : tuple of str
        What it can give, in sentences; the first is the chief one.
    figures : tuple of (str, str)
        The same as labels with values.
    answer : mapping of str to object or None
        One row of the table of estimates, for the picture; None where no current is told.
    curve : pandas.DataFrame or None
        How its rating is spread, as :class:`calib.UnitEstimate` has it.
    marks : tuple of Mark
        The currents that the picture names.
    current : str
        What the picture's axis is called, with its unit.
    blocks : tuple of Block
        All else, the first first.
    working : tuple of (str, str, str)
        Step, how, what it gives.
    photograph : Photograph or None
        One of it.
    cautions : tuple of str
        To be read before it is used.
    """

    unit: str
    about: str
    source: str
    where: str
    simulated: bool
    dated: datetime | None = None
    against: tuple[tuple[str, str], ...] = ()
    finding: tuple[str, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    answer: Mapping[str, object] | None = field(default=None, repr=False)
    curve: pd.DataFrame | None = field(default=None, repr=False)
    marks: tuple[Mark, ...] = ()
    current: str = ""
    blocks: tuple[Block, ...] = field(default=(), repr=False)
    working: tuple[tuple[str, str, str], ...] = field(default=(), repr=False)
    photograph: Photograph | None = None
    cautions: tuple[str, ...] = field(default=(), repr=False)

    def pdf(self, paper: str = "a4") -> bytes:
        """The sheet as a PDF of one page, the same bytes for the same content.

        Parameters
        ----------
        paper : str
            a4 or letter.

        Raises
        ------
        InputError
            The paper is neither.
        """
        return _Layout(self, paper).drawn()


class Plan(NamedTuple):
    """How closely a sheet is set: columns of blocks, height of the picture [mm], share of the letters' size.

    The working stands across the columns, or in them, where it takes less of the height.
    """

    columns: int
    picture_mm: float
    share: float
    working_in_columns: bool = False

    @property
    def text(self) -> Style:
        """Of what is read."""
        return replace(TEXT, size=TEXT.size * self.share, leading=TEXT.leading * self.share)

    @property
    def small(self) -> Style:
        """Of the working and of sentences."""
        size = max(SMALL.size * self.share, LEAST_PT)
        return replace(SMALL, size=size, leading=SMALL.leading * size / SMALL.size)


PLANS: tuple[Plan, ...] = (
    Plan(2, 47.0, 1.0),
    Plan(3, 44.0, 0.92),
    Plan(3, 42.0, 0.84),
    Plan(3, 37.0, 0.79),
    Plan(3, 40.0, 0.79, working_in_columns=True),
    Plan(3, 37.0, 0.74, working_in_columns=True),
)  # the first in which all of it has room
FULL = PLANS[3]
# Where there is no room for all, these parts are left out whole, the first first, and named.
LEFT_OUT = ("opinions", "narrowing", "working", "repairs", "meters", "heaters", "mending", "heater_side")


class Columns(NamedTuple):
    """Blocks in columns: how wide one is, their strips, the height of the tallest [mm], which has the photograph."""

    wide: float
    strips: list[list[Strip]]
    tall: float
    photograph: int | None


class _Layout:
    """A sheet on its way to paper."""

    def __init__(self, shown: UnitSheet, paper: str) -> None:
        self.shown, self.left_out = shown, list[str]()
        self.sheet = Stationery(paper, f"{SAYS['kind']}: {shown.unit}", shown.dated)
        self.width, self.left = self.sheet.width, self.sheet.left
        self.more = SAYS["cut"].format(where=shown.where.replace("{", "(").replace("}", ")"))

    def drawn(self) -> bytes:
        """The file. What stands at the foot is measured first, and what is between takes the room that is left."""
        y = self._head()
        y = self._against(y)
        finding = self._finding()
        plan = self._chosen(y + height_of(finding))
        foot = self._foot()
        bottom = self.sheet.bottom - height_of(foot)
        y = self.sheet.stack(finding, self.left, y)
        y = self._answer(y, plan)
        self._middle((y, bottom - 2.0), plan)
        if self.sheet.strange:
            self.sheet.put(self.left + self.width, self.sheet.bottom + 1.2, SAYS["strange"], SMALL, "R")
        self.sheet.stack(foot, self.left, bottom)
        return self.sheet.bytes()

    def _chosen(self, y: float) -> Plan:
        """The first plan that has room for all below y; where none has, parts are left out that can be done without.

        What is longer than the page even so is cut where it stands.
        """
        whole = self.shown
        out, left = list[str](), [SAYS["block"][name] for name in LEFT_OUT]
        plan = self._without(whole, out, PLANS, y)
        while plan is None and left:
            out.append(left.pop(0))
            plan = self._without(whole, out, PLANS[3:], y)
        for one in reversed(out[:-1]):  # what there is room for again, once something longer is out
            fewer = [title for title in out if title != one]
            if plan is not None and (better := self._without(whole, fewer, PLANS[3:], y)):
                out, plan = fewer, better
        self._without(whole, out, (), y)
        return plan or FULL

    def _without(self, whole: UnitSheet, out: Sequence[str], plans: Sequence[Plan], y: float) -> Plan | None:
        """Leave parts out, and give the first of some plans that has room for the rest; None where none has."""
        blocks = tuple(one for one in whole.blocks if one.title not in out)
        working = () if SAYS["block"]["working"] in out else whole.working
        self.shown = replace(whole, blocks=blocks, working=working)
        here = {one.title for one in whole.blocks} | ({SAYS["block"]["working"]} if whole.working else set())
        self.left_out = [one for one in out if one in here]
        room = self.sheet.bottom - height_of(self._foot()) - 2.0 - y
        return next((one for one in plans if self._fits(one, room)), None)

    def _head(self) -> float:
        """Kind of sheet and disclaimer, the tag, whose it is."""
        sheet, shown = self.sheet, self.shown
        y = sheet.named(SAYS["kind"], SAYS["disclaimer"]) + 1.2
        style = TITLE
        while style.size > 9.0 and sheet.text_width(sheet.known(shown.unit), style) > self.width:
            style = replace(style, size=style.size - 1.0)
        strips = sheet.fitted(sheet.paragraph(shown.unit, self.width, style), 15.0, self.width, self.more)
        strips += sheet.fitted(sheet.paragraph(shown.about, self.width, TEXT), 10.5, self.width, self.more)
        y = sheet.stack(strips, self.left, y) + 1.5
        if shown.simulated:
            high = HEADING.line_mm + 2.2
            sheet.box((self.left, y, self.width, high), HEAVY_MM)
            sheet.put(self.left + self.width / 2.0, y + 1.1, SAYS["simulated"], HEADING, "C")
            y += high + 1.6
        return y

    def _against(self, y: float) -> float:
        """Stops on a black plate, what was cleared and doubts with a bar beside them; or that there is nothing."""
        found: dict[str, list[str]] = {}
        for kind, said in self.shown.against:
            found.setdefault(kind, []).append(said)
        if not found:
            return (
                self.sheet.stack(self.sheet.paragraph(SAYS["nothing_against"], self.width, SMALL), self.left, y) + 1.0
            )
        kinds = [kind for kind in SAYS["against"] if kind in found]
        room = MOST_AGAINST * self.sheet.bottom
        for number, kind in enumerate(kinds):
            share = room / (len(kinds) - number)
            high = self._one_against(kind, found[kind], y, share)
            room, y = room - high, y + high
        return y + 0.6

    def _one_against(self, kind: str, said: Sequence[str], y: float, room: float) -> float:
        sheet, stopped = self.sheet, kind == "stop"
        inset = 21.0 if stopped else 3.5
        width = self.width - inset - 2.0
        strips = [gap(0.9), *sheet.paragraph(SAYS["against"][kind], width, HEADING)]
        lines = [strip for item, one in enumerate(said) for strip in sheet.paragraph(one, width, TEXT, item, "•")]
        strips += sheet.fitted(lines, room - height_of(strips) - 2.6, width, self.more)
        high = max(height_of(strips) + 1.2, 10.0 if stopped else 0.0)
        if stopped:
            sheet.box((self.left, y, self.width, high), HEAVY_MM)
            sheet.fill((self.left, y, 18.0, high))
            sheet.put(self.left + 9.0, y + high / 2.0 - PLATE.line_mm / 2.0, "STOP", replace(PLATE, shade=WHITE), "C")
        else:
            sheet.box((self.left, y, self.width, high), RULE_MM, SOFT)
            sheet.fill((self.left, y, 1.4, high), INK if kind == "doubt" else SOFT)
        sheet.stack(strips, self.left + inset, y)
        return high + 1.4

    def _finding(self) -> list[Strip]:
        """What it can give, in sentences."""
        sheet, shown = self.sheet, self.shown
        strips = sheet.paragraph(shown.finding[0], self.width, FINDING) if shown.finding else []
        strips = sheet.fitted(strips, MOST_FINDING * sheet.bottom, self.width, self.more)
        for said in shown.finding[1:]:
            strips += sheet.fitted(sheet.paragraph(said, self.width, TEXT), 10.0, self.width, self.more)
        return [gap(1.0), *strips, gap(1.2)]

    @property
    def _has_picture(self) -> bool:
        return self.shown.answer is not None and self.shown.curve is not None

    def _answer(self, y: float, plan: Plan) -> float:
        """The picture of what it can give, with the figures beside it; where there is none, the figures alone."""
        sheet, shown, wide = self.sheet, self.shown, self.width - FIGURES_MM - GUTTER_MM
        room = plan.picture_mm
        rows = sheet.fitted(sheet.pairs(shown.figures, FIGURES_MM, plan.text), room, FIGURES_MM, self.more)
        if shown.answer is None or shown.curve is None:
            return sheet.stack(rows, self.left, y) + 1.0 * bool(rows)
        draw_estimate(sheet, (self.left, y, wide, room), shown.answer, shown.curve, shown.marks, shown.current)
        sheet.stack(rows, self.left + wide + GUTTER_MM, y)
        return y + room + 1.0

    def _foot(self) -> list[Strip]:
        """Cautions between rules, and what stands behind it."""
        sheet, width = self.sheet, self.width

        def rule(x: float, y: float) -> None:
            sheet.line((x, y + 0.5, x + width, y + 0.5), RULE_MM)

        strips = []
        if self.left_out:
            told = [f"{one[:1].lower()}{one[1:]}" for one in self.left_out]
            said = SAYS["left_out"].format(titles=joined_names(told), where=self.shown.where)
            strips = [gap(0.6), *sheet.paragraph(said, width, replace(SMALL, bold=True))]
        strips += [Strip(1.4, rule), *sheet.paragraph(SAYS["cautions"], width, replace(SMALL, bold=True))]
        for text in self.shown.cautions:
            strips += sheet.paragraph(text, width, SMALL, hang="•")
        return [*strips, Strip(1.4, rule), *sheet.paragraph(self.shown.source, width, SMALL)]

    def _columns(self, plan: Plan) -> Columns:
        """The blocks in columns of about one height, in each in their order, the photograph below one of them.

        The longest block first goes where there is most room: longest processing time first (Graham 1969).
        """
        wide = (self.width - (plan.columns - 1) * GUTTER_MM) / plan.columns
        made = [
            [one if one.item < 0 else numbered(one, number) for one in self._block(block, wide, plan)]
            for number, block in enumerate(self._blocks(plan))
        ]
        high = [height_of(one) + 1.2 for one in made] + [LEAST_PHOTO_MM + 14.0] * bool(self.shown.photograph)
        places: list[list[int]] = [[] for _ in range(plan.columns)]
        for number in sorted(range(len(high)), key=lambda one: -high[one]):
            min(places, key=lambda column: sum(high[one] for one in column)).append(number)
        places.sort(key=lambda column: min(column, default=len(high)))
        between = gap(1.2)
        columns = [
            [strip for one in sorted(column) if one < len(made) for strip in (*made[one], between)][:-1]
            for column in places
        ]
        tall = max(sum(high[one] for one in column) for column in places)
        photograph = next((at for at, column in enumerate(places) if len(made) in column), None)
        return Columns(wide, columns, tall, photograph)

    def _blocks(self, plan: Plan) -> list[Block]:
        """The blocks, with the working in two halves among them where it stands in the columns."""
        rows = [(f"{step}: {how}", gives) for step, how, gives in self.shown.working]
        if not plan.working_in_columns or not rows:
            return [*self.shown.blocks]
        half, title = (len(rows) + 1) // 2, SAYS["block"]["working"]
        more = [Block(SAYS["block"]["working_on"], tuple(rows[half:]))] if len(rows) > 1 else []
        return [*self.shown.blocks, Block(title, tuple(rows[:half])), *more]

    def _fits(self, plan: Plan, room: float) -> bool:
        """Whether all of it has room by a plan, the photograph too."""
        figures = height_of(self.sheet.pairs(self.shown.figures, FIGURES_MM, plan.text))
        above = plan.picture_mm if self._has_picture else min(figures, plan.picture_mm)
        needed = self._columns(plan).tall + height_of(self._working(plan)) + 2.6
        return figures <= plan.picture_mm and above + needed <= room

    def _middle(self, ends: tuple[float, float], plan: Plan) -> None:
        """Blocks in columns, the photograph below one of them, and the working across all of them."""
        (top, bottom), columns, working = ends, self._columns(plan), self._working(plan)
        room = bottom - top - 0.6
        for_working = min(height_of(working), max(LEAST_WORKING_MM, room - columns.tall))
        for_columns, end = room - for_working, top
        for number, column in enumerate(columns.strips):
            below: list[Strip] = []
            if number == columns.photograph:
                below = self._photograph(columns.wide, for_columns - height_of(column))
            fitted = self.sheet.fitted(column, for_columns - height_of(below), columns.wide, self.more)
            at = self.left + number * (columns.wide + GUTTER_MM)
            end = max(end, self.sheet.stack([*fitted, *below], at, top))
        if working:
            end += 0.6
            end = self.sheet.stack(self.sheet.fitted(working, bottom - end, self.width, self.more), self.left, end)
        self.sheet.ruled(SAYS["block"]["remarks"], end + 1.5, bottom)

    def _block(self, block: Block, width: float, plan: Plan) -> list[Strip]:
        strips = [self.sheet.heading(block.title, width), *self.sheet.pairs(block.rows, width, plan.text)]
        for item, said in enumerate(block.said):
            strips += self.sheet.paragraph(said, width, plan.small, item, "•" if len(block.said) > 1 else "")
        return strips

    def _working(self, plan: Plan) -> list[Strip]:
        if plan.working_in_columns or not self.shown.working:
            return []
        widths = [share * self.width for share in WORKING_SHARES]
        rows = [
            self.sheet.row(one, widths, plan.small, (2,))._replace(item=at) for at, one in enumerate(self.shown.working)
        ]
        return [self.sheet.heading(SAYS["block"]["working"], self.width), *rows]

    def _photograph(self, width: float, room: float) -> list[Strip]:
        """The photograph as large as there is room for; or a sentence where there is too little, or it is none."""
        photo, sheet = self.shown.photograph, self.sheet
        assert photo is not None
        facts = {"name": photo.name, "where": self.shown.where}
        noun = "file" if photo.others == 1 else "files"
        more = SAYS["photo_more"].format(count=photo.others, noun=noun) if photo.others else ""
        told = f"{photo.name}{more}"
        head = [gap(1.2), sheet.heading(SAYS["block"]["photograph"], width)]
        caption = sheet.fitted(sheet.paragraph(told, width, SMALL), 9.0, width, self.more)
        left = min(PHOTO_MM, room - height_of([*head, *caption]) - 1.0)
        if left < LEAST_PHOTO_MM:
            return [gap(1.2), *sheet.paragraph(SAYS["photo_no_room"].format(**facts), width, SMALL)]
        drawn = as_printed(photo.content)
        if drawn is None:
            return [*head, *sheet.paragraph(SAYS["photo_broken"].format(**facts), width, SMALL)]
        content, across, high = drawn
        scale = min(width / across, left / high)

        def draw(x: float, y: float) -> None:
            sheet.pdf.image(BytesIO(content), x, y, across * scale, high * scale)
            sheet.box((x, y, across * scale, high * scale), HAIR_MM, SOFT)

        return [*head, Strip(high * scale + 1.0, draw), *caption]


def numbered(strip: Strip, block: int) -> Strip:
    """A strip whose item is told apart from those of other blocks."""
    return strip._replace(item=strip.item + block * ITEMS)


def as_printed(content: bytes) -> tuple[bytes, int, int] | None:
    """A photograph no larger than paper shows, with its width and height; None where it cannot be read."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(BytesIO(content)) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGBA")
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError, ValueError, SyntaxError):
        return None
    ground = Image.new("RGBA", picture.size, "white")
    ground.alpha_composite(picture)
    made = ground.convert("RGB")
    made.thumbnail((PHOTO_PX, PHOTO_PX))
    kept = BytesIO()
    made.save(kept, "JPEG", quality=PHOTO_QUALITY)
    return kept.getvalue(), *made.size
