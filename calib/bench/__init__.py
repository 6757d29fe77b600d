"""What the meters say: readings to facts. Pure functions; what each module lists is what other wings may use."""

from calib import units
from calib.bench import core, faults, insulation, magnetics, ratio_test, resistance, uncertainty, wire, wire_gauge
from calib.bench.core import *
from calib.bench.faults import *
from calib.bench.insulation import *
from calib.bench.magnetics import *
from calib.bench.ratio_test import *
from calib.bench.resistance import *
from calib.bench.uncertainty import *
from calib.bench.wire import *
from calib.bench.wire_gauge import *
from calib.units import *

_PARTS = (core, faults, insulation, magnetics, ratio_test, resistance, uncertainty, wire, wire_gauge, units)
__all__ = [name for part in _PARTS for name in part.__all__]
