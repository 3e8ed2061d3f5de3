"""Compiled control of the heat: thermostat, limiter of the hob, lag of the heating element."""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    CAPTURED,
    ELEMENT,
    HEATING,
    HYSTERESIS,
    INPUT,
    LAG_KEEP,
    LAG_MEAN,
    LIMITING,
    MEAN_PAN,
    POWER,
    THERMOSTAT,
    Core,
    compiled,
)


@compiled
def set_heat(core: Core, power_w: FloatArray, step_s: float, c: int) -> None:
    """Set the heat of a step: knob, thermostat and limiter, then the element's lag."""
    fixed, live, cook = core.fixed, core.live, core.cook
    if cook[MEAN_PAN, c] > fixed[THERMOSTAT, c]:
        cook[HEATING, c] = 0.0
    elif cook[MEAN_PAN, c] < fixed[THERMOSTAT, c] - fixed[HYSTERESIS, c]:
        cook[HEATING, c] = 1.0
    wanted = power_w[c] * cook[HEATING, c] * cook[LIMITING, c]
    behind = cook[ELEMENT, c] - wanted  # the element follows exponentially; mean over the step
    live[POWER, c] = max(0.0, wanted + behind * fixed[LAG_MEAN, c])
    cook[ELEMENT, c] = wanted + behind * fixed[LAG_KEEP, c]
    cook[INPUT, c] += live[POWER, c] * fixed[CAPTURED, c] * step_s
