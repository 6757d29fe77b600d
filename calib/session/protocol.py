"""The steps of a bench session in the order in which a careful person works, as data for page, sheet and program.

They stand in `protocol.toml`, each with its cautions, its fields and the choices with their codes: what is kept is the
code, so that a wording may change.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib import bench, words
from calib.bench.faults import BOND_LIMIT_OHM, LOW_LINE
from calib.bench.insulation import GOOD_ABOVE_MEGOHM, STANDARD_MEGOHM, STOP_BELOW_MEGOHM
from calib.paths import data
from calib.register.fields import FIELDS
from calib.session.fields import Field, Part, Rows, Step

if TYPE_CHECKING:
    import pandas as pd

# The figures that its texts name, and the lists that stand elsewhere.
FIGURES = {
    "bond_limit_ohm": BOND_LIMIT_OHM,
    "feed_rules": " ".join(bench.FEED_RULES),
    "good_above_megohm": GOOD_ABOVE_MEGOHM,
    "hazardous_live_v": bench.HAZARDOUS_LIVE_V,
    "lead_null_u_ohm": bench.LEAD_NULL_U_OHM,
    "low_line": LOW_LINE,
    "pass_proves_little": bench.PASS_PROVES_LITTLE,
    "standard_megohm": STANDARD_MEGOHM,
    "stop_below_megohm": STOP_BELOW_MEGOHM,
    "winding_temp_half_width_k": bench.WINDING_TEMP_HALF_WIDTH_K,
}
LISTS: Mapping[str, Any] = {"before_the_test": bench.BEFORE_THE_TEST, "sheets": words.SHEETS}
ORDINARY, TYPED, SAME_METER = "(ordinary)", "(typed)", "(same)"  # what a meter may be besides one of the user's own
SAID: dict[str, str] = {}  # how page and sheet put each choice
# What each system of gauges is to the bench functions.
SERIES = {"any": bench.SERIES, **{series: (series,) for series in bench.SERIES}}
# The tests of the insulation that a unit needs, each with those that together do as well.
NEEDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "primary-rest": (("primary-core", "primary-hv"),),
    "hv-core": (),
    "hv-rectifier": (("rectifier-rest",),),
    "hv-heaters": (),
    "rectifier-core": (("rectifier-rest",),),
    "heaters-core": (),
}
# What cannot be tested where the maker joined a part of it to the core.
JOINED = {"hv-joined": "hv-core", "heater-joined": "heaters-core"}


@dataclass(frozen=True)
class Protocol:
    """The steps of a bench session in their order. `str` prints them for people, `frame` lists what they ask.

    Attributes
    ----------
    steps : tuple of Step
        Each with its cautions, to be read before it is begun, and its fields.
    """

    steps: tuple[Step, ...]

    def frame(self) -> pd.DataFrame:
        """A row for each field: step, field, label, kind, unit, low, high, choices (codes), times, help.

        A field with `times` above 0 comes so often: its names end in _1 and on.
        """
        import pandas as pd

        rows = []
        for step in self.steps:
            for part in step.parts:
                rows += [(step.name, one, 0) for one in part.fields]
                rows += [(step.name, one, part.rows.most) for one in part.rows.fields] if part.rows else []
        nothing = (float("nan"), float("nan"))
        told = [
            (step, one.name, one.label, one.kind, one.unit, *(one.limits or nothing), one.choices, times, one.help)
            for step, one, times in rows
        ]
        names = ["step", "field", "label", "kind", "unit", "low", "high", "choices", "times", "help"]
        return pd.DataFrame(told, columns=names)

    def __str__(self) -> str:
        asked = self.frame()
        lines = []
        for number, step in enumerate(self.steps, start=1):
            lines += [f"{number}. {step.title} ({step.name})", *(f"   Caution: {text}" for text in step.cautions)]
            for row in asked[asked["step"] == step.name].to_dict("records"):
                name = f"{row['field']}_1 to _{row['times']}" if row["times"] else row["field"]
                of_what = f" [{row['unit']}]" if row["unit"] else ""
                codes = f": {', '.join(row['choices'])}" if row["choices"] else ""
                lines.append(f"   {name}{of_what}, {row['label']}{codes}")
        return "\n".join(lines)


def protocol() -> Protocol:
    """What is done, read and entered in a bench session, step by step, with the cautions before each.

    Examples
    --------
    >>> from calib.session import protocol
    >>> [step.name for step in protocol().steps][:5]
    ['look', 'leads', 'insulation', 'resistance', 'ratio']
    """
    return Protocol(STEPS)


def said(choice: str) -> str:
    """A choice as page and sheet put it."""
    return SAID.get(choice, choice)


def step_named(name: str) -> Step:
    """The step of that name; the first where there is none."""
    return BY_NAME.get(name, STEPS[0])


def translated(entries: Mapping[str, Any]) -> dict[str, Any]:
    """A session's entries as they are kept now.

    Sessions used to keep the words of some choices, as they stood on the page. Those are read on.
    """
    made = {step: dict(fields or {}) for step, fields in entries.items()}
    for step, fields in made.items():
        for name, one in BY_NAME[step].fields.items() if step in BY_NAME else ():
            if one.kind == "pick" and fields.get(name):
                fields[name] = next((code for code in one.choices if SAID[code] == fields[name]), fields[name])
    return made


def practice_entries() -> dict[str, dict[str, Any]]:
    """A session to practise on, made up from first to last: its entries by step and field, for the caller's own."""
    return deepcopy(data("session/practice.toml"))


def _step(told: Mapping[str, Any]) -> Step:
    cautions = told["cautions"]
    cautions = LISTS[cautions] if isinstance(cautions, str) else map(_filled_in, cautions)
    parts = tuple(_part(part) for part in told.get("part", ()))
    return Step(told["name"], told["short"], told["title"], tuple(cautions), parts)


def _part(told: Mapping[str, Any]) -> Part:
    rows = None
    if "rows" in told:
        of_rows = {**told["rows"]}
        like = tuple(of_rows.pop("like", ())) or None
        rows = Rows(fields=tuple(map(_field, of_rows.pop("field"))), like=like, **of_rows)
    texts = {name: _filled_in(told[name]) for name in ("title", "note") if name in told}
    return Part(fields=tuple(map(_field, told.get("field", ()))), rows=rows, closed=told.get("closed", False), **texts)


def _field(told: Mapping[str, Any]) -> Field:
    made: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in told.items()}
    choices = made.get("choices", {})
    choices = LISTS[choices] if isinstance(choices, str) else choices
    SAID.update({code: text for code, text in choices.items() if code != text})
    made |= {"choices": tuple(choices), "placeholder": _filled_in(made.get("placeholder", ""))}
    made["when"] = {name: tuple(allowed) for name, allowed in made.get("when", {}).items()}
    if "column" in made:
        facts = FIELDS[made["column"]]
        made |= {"limits": (facts.low, facts.high), "usual": facts.usual, "above_zero": facts.low_excluded}
    return Field(**made)


def _filled_in(text: str) -> str:
    return text.format(**FIGURES)


STEPS = tuple(map(_step, data("session/protocol.toml")["step"]))
BY_NAME = {step.name: step for step in STEPS}
NAMES = tuple(BY_NAME)
LIVE = ("ratio", "idle")  # what feeds the unit: held up by a finding that says stop
HEATERS, TAPS, TESTS = (  # rows of heater windings, of taps of one winding, of insulation tests
    next(part.rows.most for part in BY_NAME[step].parts if part.rows and part.rows.name == rows)
    for step, rows in (("resistance", "heaters"), ("ratio", "taps"), ("insulation", "tests"))
)
