"""What each reading took off a unit's interval is what the model says of the unit with and without it."""

from __future__ import annotations

import numpy as np
import pytest

from calib.estimate.working import ADDED
from tests.estimate.asking import estimated
from tests.fitting.making import practice_fit, unknown

READ = {"core": {"tongue_mm": 28, "stack_mm": 30}, "gauge": {"awg": 32}, "weight": {"weight_kg": 1.5}}


def of(*names: str) -> dict[str, object]:
    return {"unit": "Q1", **{key: value for name in names for key, value in READ[name].items()}}


def test_each_line_is_the_estimate_of_a_unit_read_so_far_and_the_last_the_answer():
    made = estimated(of(*READ))
    table, answer = made.narrowing, made.answer.iloc[0]
    assert table["reading"].tolist() == ["v_over_r", *READ]
    assert table["reading"].tolist()[1:] == [name for name in ADDED if name in READ]
    for place in range(len(table)):
        so_far = practice_fit().estimate(unknown(of(*list(READ)[:place]))).iloc[0]
        shown = table.iloc[place][["rated_current_ma", "low_ma", "high_ma"]].astype(float)
        assert shown.to_numpy() == pytest.approx(so_far[shown.index].to_numpy(dtype=float), rel=1e-9)
    assert table["high_ma"].iloc[-1] == pytest.approx(answer["high_ma"], rel=1e-12)
    assert table["width"].to_numpy() == pytest.approx(table["high_ma"] / table["low_ma"])


@pytest.mark.parametrize("left", READ)
def test_what_is_left_out_alone_is_the_estimate_without_it(left):
    table = estimated(of(*READ)).narrowing.set_index("reading")
    alone = practice_fit().estimate(unknown(of(*(name for name in READ if name != left)))).iloc[0]
    assert table.at[left, "without"] == pytest.approx(alone["high_ma"] / alone["low_ma"], rel=1e-9)
    assert np.isnan(table["without"].iloc[0])


def test_it_is_told_in_print_where_more_than_one_set_of_readings_speaks():
    one = estimated(of("core")).narrowing.iloc[-1]
    assert f"core {one['low_ma']:.0f} to {one['high_ma']:.0f} mA." in str(estimated(of("core")))
    assert "Reading by reading" not in str(estimated({"unit": "Q1"}))
    assert not len(estimated({"unit": "Q1"}).narrowing)
