"""What looks unlikely in a record that is within every limit: flagged for a second look, never refused."""

from __future__ import annotations

from collections.abc import Iterator

from calib.bench.copper import INFERRED_ZERO_C, resistance_at
from calib.bench.core import core_area_cm2
from calib.bench.ratio import no_load_voltage
from calib.bench.wire import awg_diameter_mm
from calib.register.records import KnownUnit, Unit

# Where readings of mains transformers of valve sets usually lie: judgement of the bench, to catch slips of a digit
# or a unit, or half a winding taken for the whole.
NO_LOAD_V = (40.0, 3000.0)
LINE_V = (95.0, 260.0)
LINE_HZ = (24.0, 62.0)
WINDING_TEMP_C = (5.0, 40.0)
AREA_CM2 = (1.0, 60.0)
STACK_OVER_TONGUE = (0.5, 2.5)
MULTIPLIER = (4.0, 250.0)
# The ratio test leaves out the drop of the exciting current, some tenths of a per cent; 3 % is no drop any more.
VOLTAGES_APART = 0.03
AREAS_APART = 0.1
DIAMETERS_APART = 0.1
U_PCT = 10.0


def improbabilities(record: Unit) -> list[str]:
    """Say what is worth a second look in a record.

    Parameters
    ----------
    record : KnownUnit or UnknownUnit
        Within the limits, as every record is.

    Returns
    -------
    list of str
        One sentence each, naming the columns; empty where nothing is unlikely. No clock, no other record is consulted.
    """
    return [
        *_voltages(record),
        *_supply(record),
        *_core(record),
        *_wire(record),
        *_meters(record),
        *_multiplier(record),
    ]


def _outside(value: float | None, limits: tuple[float, float]) -> bool:
    return value is not None and not limits[0] <= value <= limits[1]


def _scaled(record: Unit) -> float | None:
    """No-load voltage by the ratio test [V]."""
    if record.excitation_v is None or record.hv_v is None:
        return None
    return float(no_load_voltage(record.excitation_v, record.hv_v, record.line_voltage_v))


def _voltages(record: Unit) -> Iterator[str]:
    scaled, stated = _scaled(record), record.no_load_v
    if scaled is not None and stated is not None and abs(scaled / stated - 1) > VOLTAGES_APART:
        apart = f"{100 * abs(scaled / stated - 1):.1f} %"
        yield f"no_load_v, {stated:g} V, and the ratio test, {scaled:.4g} V, are {apart} apart; the ratio test counts"
    if (record.excitation_v is None) != (record.hv_v is None):
        yield "excitation_v and hv_v: one of them is empty, so the ratio test is not used"
    volts = scaled if scaled is not None else stated
    if _outside(volts, NO_LOAD_V):
        yield f"a no-load voltage of {volts:.4g} V is unusual for a high-voltage winding"


def _supply(record: Unit) -> Iterator[str]:
    if _outside(record.line_voltage_v, LINE_V):
        yield f"line_voltage_v of {record.line_voltage_v:g} V is no usual mains voltage"
    if _outside(record.line_frequency_hz, LINE_HZ):
        yield f"line_frequency_hz of {record.line_frequency_hz:g} Hz is no usual mains frequency"


def _core(record: Unit) -> Iterator[str]:
    tongue, stack, area = record.tongue_mm, record.stack_mm, record.core_area_cm2
    measured = float(core_area_cm2(tongue, stack)) if tongue is not None and stack is not None else None
    if measured is not None and area is not None and abs(measured / area - 1) > AREAS_APART:
        yield f"core_area_cm2, {area:g} cm², and tongue times stack, {measured:.4g} cm², differ; the latter counts"
    if tongue is not None and stack is not None and _outside(stack / tongue, STACK_OVER_TONGUE):
        yield f"stack_mm, {stack:g} mm, is unusual with tongue_mm, {tongue:g} mm"
    if _outside(measured if measured is not None else area, AREA_CM2):
        yield f"a core of {measured if measured is not None else area:.4g} cm² is unusual for a valve set"


def _wire(record: Unit) -> Iterator[str]:
    if record.awg is None or record.wire_diameter_mm is None:
        return
    bare = float(awg_diameter_mm(record.awg))
    if abs(bare / record.wire_diameter_mm - 1) > DIAMETERS_APART:
        yield (
            f"awg {record.awg:g} is {bare:.3f} mm bare and wire_diameter_mm says {record.wire_diameter_mm:g} mm; "
            "the diameter counts"
        )


def _meters(record: Unit) -> Iterator[str]:
    if _outside(record.winding_temp_c, WINDING_TEMP_C):
        yield f"winding_temp_c of {record.winding_temp_c:g} °C is unusual for a unit that has stood in a room"
    for name in ("u_voltage_pct", "u_resistance_pct"):
        spread = getattr(record, name)
        if spread is not None and not 0 < spread <= U_PCT:
            yield f"{name} of {spread:g} % is unusual for a meter"


def _multiplier(record: Unit) -> Iterator[str]:
    """Rated current over V/R at 20 °C [mA per V/ohm] far from any transformer's: a slip of a digit or of a unit."""
    scaled = _scaled(record)
    volts = scaled if scaled is not None else record.no_load_v
    if not isinstance(record, KnownUnit) or volts is None:
        return
    zero = INFERRED_ZERO_C[record.conductor or "copper"]
    ohm = float(resistance_at(record.hv_resistance_ohm, record.winding_temp_c, inferred_zero_c=zero))
    multiplier = record.rated_current_ma * ohm / volts
    if _outside(multiplier, MULTIPLIER):
        yield (
            f"rated_current_ma, {record.rated_current_ma:g} mA, is {multiplier:.3g} times V/R: look for ohms read as "
            "kilohms, a slipped digit, or half a winding"
        )
