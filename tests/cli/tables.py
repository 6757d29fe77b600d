"""Sound tables of the fictional workshops, to be spoiled by the tests."""

from __future__ import annotations

from pathlib import Path

HEADER = (
    "unit,contributor,evidence,rectifier,filter,rated_current_ma,line_voltage_v,line_frequency_hz,centre_tapped,"
    "excitation_v,hv_v,no_load_v,hv_resistance_ohm,winding_temp_c,tongue_mm,stack_mm"
)
ROWS = (
    "AL 1,Alder Lane,nameplate,full-wave,capacitor,70,117,60,true,5.0,27.9,,212,20.5,25.4,28",
    "AL 2,Alder Lane,nameplate,full-wave,capacitor,120,117,60,true,5.0,30.1,,98.5,20.5,31.8,38",
    "QB 1,Quarry Bank,maker-data,bridge,capacitor,90,230,50,false,,,310,61,19,28.6,31",
    "TS 1,Tin Street,heat-run,full-wave,choke,150,117,60,true,,,800,122,22,38.1,41",
)
UNKNOWN_HEADER = (
    "unit,rectifier,filter,line_voltage_v,line_frequency_hz,centre_tapped,excitation_v,hv_v,no_load_v,hv_resistance_ohm,"
    "winding_temp_c,tongue_mm,stack_mm,demand_ma"
)
UNKNOWN_ROWS = (
    "spare 1,full-wave,capacitor,117,60,true,4.97,27.76,,188.6,21.5,28.6,31.0,70",
    "spare 2,full-wave,choke,117,60,true,5.02,31.4,,265,21.5,,,",
)


def table(path: Path, *lines: str) -> Path:
    """Write lines as a file."""
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def spoiled(header: str, row: str, column: str, value: str) -> str:
    """The row with another value in one column."""
    cells = dict(zip(header.split(","), row.split(","), strict=True))
    assert column in cells
    return ",".join((cells | {column: value}).values())
