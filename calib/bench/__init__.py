"""What the meters say: readings to facts. Pure functions; what each module lists is what other wings may use."""

from calib import units
from calib.bench import (
    core,
    faults,
    insulation,
    magnetics,
    ratio_test,
    resistance,
    uncertainty,
    wire,
    wire_gauge,
)
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

__all__: list[str] = []
__all__ += core.__all__
__all__ += faults.__all__
__all__ += insulation.__all__
__all__ += magnetics.__all__
__all__ += ratio_test.__all__
__all__ += resistance.__all__
__all__ += uncertainty.__all__
__all__ += wire.__all__
__all__ += wire_gauge.__all__
__all__ += units.__all__
