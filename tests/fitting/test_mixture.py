"""The same digits on one core and on two."""

from __future__ import annotations

import threadpoolctl

from calib.fitting import fit
from tests.fitting.making import scene_asked, scene_known


def digits(threads: int) -> list[str]:
    with threadpoolctl.threadpool_limits(threads):
        model = fit(scene_known(count=2000, spoiled=0.05, seed=5))
        made = model.estimate(scene_asked(count=20)).select_dtypes("number").to_numpy().ravel().tolist()
        checked = [value for value in vars(model.check()).values() if isinstance(value, float)]
    return [float(value).hex() for value in (*made, *checked)]


def test_one_thread_and_two_give_the_same_digits():
    """With 2,000 records the library's own sums in two threads end in other digits than in one."""
    one = digits(1)
    assert len(one) > 100
    assert digits(2) == one
