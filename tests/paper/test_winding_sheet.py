"""The winding sheet: one page with the figures of the plan, the caution before the work, room for what is wound."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calib.estimate.old_winding import OldWinding, as_it_was
from calib.estimate.rewind import RewindPlan
from calib.paper import Behind, winding_sheet
from tests.estimate.test_rewind import CORES, planned
from tests.fitting.making import practice_fit
from tests.paper.reading import beyond, coloured, figures, pages, size_mm, text


@pytest.fixture(scope="module")
def plan() -> RewindPlan:
    return planned(CORES[2])


@pytest.fixture(scope="module")
def behind() -> Behind:
    return Behind.of("club.duckdb", True, "typed", practice_fit())


@pytest.mark.parametrize(("paper", "height"), [("a4", 297.0), ("letter", 279.4)])
def test_every_figure_of_the_plan_stands_on_one_page(
    plan: RewindPlan, behind: Behind, paper: str, height: float
) -> None:
    was = as_it_was(plan, OldWinding(was_turns=3600.0, was_winding_v=12.0, was_turn_v=0.004, was_wire_mm=0.18))
    assert was is not None
    made = winding_sheet(plan, behind, was, paper)
    assert (pages(made), beyond(made), coloured(made)) == (1, [], [])
    assert size_mm(made)[1] == pytest.approx(height, abs=0.01)
    assert made == winding_sheet(plan, behind, was, paper)
    said = text(made)
    asked = {f"{getattr(one, name):.3g}" for one in plan.windings for name in ("mean_turn_mm", "metres", "amperes")}
    asked |= {str(getattr(one, name)) for one in plan.windings for name in ("turns", "layers", "per_layer")}
    asked |= {f"{one.beneath_mm:.2f}" for one in plan.windings} | {f"{one.stress_v:.0f}" for one in plan.windings}
    asked |= {f"{plan.makers_ma:.3g}", f"{plan.makers_low_ma:.3g}", f"{plan.makers_high_ma:.3g}", f"{plan.free_mm:.1f}"}
    asked |= {f"{one.volts:.4g}" for one in plan.windings} | {f"{plan.v_over_r:.4g}", f"{plan.unit_multiplier:.4g}"}
    asked |= {f"{plan.turns_per_volt:.4g}", f"{plan.density_a_mm2:.2f}", f"{plan.rise_k:.0f}", f"{plan.copper_w:.1f}"}
    asked |= {f"{value:.4g}" for row in was.rows() for value in row[1:]}
    there = {float(one) for one in figures(said)}
    assert sorted(one for one in asked if float(one) not in there) == []
    for word in (
        plan.windings[1].wire,
        "3600",
        "the loose turn tells 3000",
        f"{plan.windings[1].turns / 3600.0 - 1.0:+.1%}",
        "As wound, by hand",
        "SIMULATED",
        behind.fit,
    ):
        assert word in said, word
    assert said.index("Before the first mains") < said.index("As planned, from the limb outward")


def test_the_weight_of_copper_is_that_of_its_wire(plan: RewindPlan, behind: Behind) -> None:
    """Of one metre at 1 mm² 8.89 g; IEC 60028."""
    hv = plan.windings[1]
    grams = hv.metres * 3.14159265 / 4.0 * hv.bare_mm**2 * 8.89
    assert f"{grams:.3g}" in figures(text(winding_sheet(plan, behind)))


def test_doubts_stand_before_the_plan_and_what_does_not_fit_is_said(plan: RewindPlan, behind: Behind) -> None:
    many = replace(plan, windings=(*plan.windings, *[plan.windings[-1]] * 60), doubts=("it would run hot",))
    made = winding_sheet(many, behind, paper="letter")
    assert (pages(made), beyond(made)) == (1, [])
    said = text(made)
    assert said.index("it would run hot") < said.index("As planned")
    assert said.count("Cut here for want of room") == 3
