"""The technician's meter readings: drag power, supply, heater.

readings   what was typed or loaded, as frozen values
drag       power against speed, P = a + b n + c n^3, and the reading that does not fit
supply     power factor, voltage, source impedance
heater     element resistance and expected current
"""

from __future__ import annotations

from spinlab.meter.drag import DragFit, fit_drag
from spinlab.meter.heater import HeaterReading, heater_readings
from spinlab.meter.readings import (
    CAUTION,
    MeterAccuracy,
    Reading,
    load_readings,
    parse_reading,
)
from spinlab.meter.supply import PowerFactor, SourceImpedance, power_factors, source_impedance

__all__ = [
    "CAUTION",
    "DragFit",
    "HeaterReading",
    "MeterAccuracy",
    "PowerFactor",
    "Reading",
    "SourceImpedance",
    "fit_drag",
    "heater_readings",
    "load_readings",
    "parse_reading",
    "power_factors",
    "source_impedance",
]
