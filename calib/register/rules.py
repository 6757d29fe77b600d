"""What the fields of one record must be together: the rules that no single field can tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

# What the rules between fields read; of the other fields they ask only whether they are filled in.
READ_BY_RULES = frozenset({"rectifier", "filter", "centre_tapped"})
VOLTAGES = ("excitation_v", "hv_v", "no_load_v")


@dataclass(frozen=True)
class Contradiction:
    """Two fields that do not go together: the one to mend, what is wrong, and the remedy."""

    column: str
    problem: str
    remedy: str


class Contradictions(ValueError):
    """Every contradiction of one record."""

    def __init__(self, found: list[Contradiction]) -> None:
        super().__init__("; ".join(f"{each.column} {each.problem}" for each in found))
        self.found = tuple(found)


def contradictions(given: Mapping[str, object]) -> list[Contradiction]:
    """Find what does not go together among the fields that are filled in.

    Parameters
    ----------
    given : mapping of str to object
        The fields that are not blank: `rectifier`, `filter` and `centre_tapped` (True or False) where they can be read;
        of the others presence alone counts.

    Returns
    -------
    list of Contradiction
        Empty for a sound record.
    """
    return [*_voltage(given), *_supply(given), *_core(given), *_stop(given)]


def _voltage(given: Mapping[str, object]) -> list[Contradiction]:
    if "no_load_v" in given or {"excitation_v", "hv_v"} <= given.keys():
        return []
    if not {"excitation_v", "hv_v"} & given.keys():
        return [
            Contradiction(
                "no_load_v", "no voltage is given", "fill in excitation_v and hv_v of a ratio test, or else no_load_v"
            )
        ]
    missing, there = ("hv_v", "excitation_v") if "excitation_v" in given else ("excitation_v", "hv_v")
    return [
        Contradiction(
            missing, f"is needed beside {there}", "fill in both voltages of the ratio test, or else no_load_v"
        )
    ]


def _supply(given: Mapping[str, object]) -> list[Contradiction]:
    found = []
    rectifier, filter_input, tapped = (given.get(name) for name in ("rectifier", "filter", "centre_tapped"))
    if rectifier == "none" and filter_input in ("capacitor", "choke"):
        found.append(
            Contradiction(
                "filter", "does not go with rectifier none (an ac rating)", "write none, or name the rectifier"
            )
        )
    if rectifier == "full-wave" and tapped is False:
        found.append(
            Contradiction(
                "centre_tapped",
                "does not go with rectifier full-wave, which needs a centre tap",
                "write true, or bridge as the rectifier",
            )
        )
    if rectifier == "doubler" and filter_input in ("choke", "none"):
        found.append(
            Contradiction(
                "filter",
                "does not go with rectifier doubler",
                "write capacitor as the filter",
            )
        )
    return found


def _stop(given: Mapping[str, object]) -> list[Contradiction]:
    if "stop_cleared" in given and "stop" not in given:
        return [
            Contradiction("stop_cleared", "clears a stop that is not there", "write the stop too, or leave it empty")
        ]
    if "rated_current_ma" in given and "stop" in given and "stop_cleared" not in given:
        problem = "a unit that must not be fed is no known unit"
        return [Contradiction("stop", problem, "clear it with the reason in stop_cleared, or leave the unit out")]
    return []


def _core(given: Mapping[str, object]) -> list[Contradiction]:
    found = []
    for pair, instead in (
        (("tongue_mm", "stack_mm"), " and give core_area_cm2 if it is known"),
        (("window_width_mm", "window_height_mm"), ""),
    ):
        missing = [name for name in pair if name not in given]
        if len(missing) == 1:
            there = next(name for name in pair if name in given)
            remedy = f"fill in both, or leave {there} empty{instead}"
            found.append(Contradiction(missing[0], f"is needed beside {there}", remedy))
    return found
