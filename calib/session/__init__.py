"""What was done at the bench: the steps of a session as data, and what their entries come to.

From readings as the meters showed them to the record that is estimated::

    from calib.session import interpret, protocol

    print(protocol())                          # what to do and to read, the cautions before each step
    session = interpret({"ratio": {"excitation_v": "4,97", ...}, "resistance": {...}}, meters)
    print(session)                             # what was understood, what stands against the unit
    estimate = calib.estimate_unit(model, session.unit(), heaters=session.heaters)
"""

from calib.session.bench_unit import UnitNow, kept_demand, kept_estimate, kept_heat_run, unit_on_the_bench
from calib.session.fields import Field, Part, Rows, Step
from calib.session.interpret import Session, found_leads, interpret
from calib.session.on_the_bench import Bench, BenchUnit, known_of, make_known, of_bench, on_the_bench, side_by_side
from calib.session.protocol import Protocol, protocol
from calib.session.sheet import bench_sheet
from calib.session.steps import Fact, StepRead

__all__ = ["Bench", "BenchUnit", "Fact", "Field", "Part", "Protocol", "Rows", "Session", "Step", "StepRead"]
__all__ += ["UnitNow", "kept_demand", "kept_estimate", "kept_heat_run", "unit_on_the_bench"]
__all__ += ["known_of", "make_known", "of_bench", "side_by_side"]
__all__ += ["bench_sheet", "found_leads", "interpret", "on_the_bench", "protocol"]
