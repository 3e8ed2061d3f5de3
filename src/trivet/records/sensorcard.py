"""A sensor head: its card, what the datasheet says (None: unknown, never 0), mount and window."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any, Literal

from pydantic import Field, field_validator
from pydantic_core import PydanticCustomError

from trivet.errors import QuantityError
from trivet.records.figures import (
    Amount,
    Angle,
    AngleOrZero,
    Broken,
    Difference,
    DifferenceOrZero,
    Duration,
    FieldAngle,
    Fraction,
    Frequency,
    Length,
    LengthOrZero,
    Number,
    NumberOrZero,
    Part,
    PositiveFraction,
    PositiveLength,
    Power,
    Temperature,
    figure,
)
from trivet.units import parse_quantity

LensModel = Literal["rectilinear", "equal-angle", "brown-conrady"]


class SensorCard(Part):
    """One sensor with its lens."""

    name: str
    """Its name, by which heads refer to it."""
    technology: Literal["thermopile", "bolometer"]
    """Thermopile or bolometer."""
    rows: int = Field(ge=1)
    """Pixels down."""
    cols: int = Field(ge=1)
    """Pixels across."""
    fov_h_rad: FieldAngle
    """Full horizontal field of view, along the columns' direction."""
    fov_v_rad: FieldAngle
    """Full vertical field of view."""
    lens: LensModel = "rectilinear"
    """How the angle of a ray becomes a place in the picture."""
    distortion: tuple[float, ...] = ()
    """Brown-Conrady k1, k2, k3, p1, p2."""
    band_low_m: PositiveLength = figure("8 um", "length")
    """Short end of the spectral band."""
    band_high_m: PositiveLength = figure("14 um", "length")
    """Long end of the spectral band."""
    response: tuple[tuple[float, float], ...] = ()
    """Spectral response in place of a flat band: a CSV file beside the design with columns
    `wavelength_um` and `response`, or pairs such as `["8.5 um", "0.7"]`."""
    frame_rate_hz: Frequency
    """Whole frames a second as used."""
    netd_delta_k: DifferenceOrZero
    """Noise of one pixel in one whole frame at the frame rate, at netd_at."""
    netd_at_k: Temperature = figure("25 degC", "temperature")
    """Scene temperature at which the noise is stated."""
    accuracy_delta_k: DifferenceOrZero | None = None
    """Half-width of the offset error, settled."""
    accuracy_gain_frac: Fraction | None = None
    """Half-width of the error in proportion to scene minus sensor temperature."""
    range_low_k: Temperature | None = None
    """Lowest scene temperature."""
    range_high_k: Temperature | None = None
    """Highest scene temperature; above it a pixel saturates."""
    settle_s: Duration | None = None
    """Time after wake until the stated accuracy holds."""
    settle_delta_k: Difference | None = Field(default=None, alias="settle_offset")
    """Offset right after wake, decaying over settle time."""
    housing_drift_per_k: Number | None = Field(default=None, alias="housing_drift")
    """Offset in kelvin for one kelvin of housing away from calibration."""
    self_heating_delta_k: DifferenceOrZero | None = Field(default=None, alias="self_heating")
    """Rise of the die over the housing's air by its own power; what varies of it drifts."""
    constants_delta_k: DifferenceOrZero | None = Field(default=None, alias="constants")
    """Half-width of the error of factory constants stored in few bits, beyond the accuracy."""
    blur_px: NumberOrZero = figure("0.5", "number")
    """Standard deviation of the point spread, in pixels."""
    step_delta_k: DifferenceOrZero = figure("0.01 K", "difference")
    """Step of the output."""
    half_frames: bool = False
    """Whether each frame refreshes half of the pixels."""
    measure_w: Power | None = None
    """Power while measuring."""
    sleep_w: Power | None = None
    """Power asleep."""
    board_price: Amount | None = None
    """Price of a board with it."""
    source: str
    """Where the figures come from."""
    notes: str = ""
    """Grade of the figures, and remarks."""

    def broken(self) -> Iterator[Broken]:
        """Yield a lens that cannot be, and a range or band that does not rise."""
        for key, angle in (("fov_h", self.fov_h_rad), ("fov_v", self.fov_v_rad)):
            if self.lens == "rectilinear" and angle >= math.pi:
                found = f"{angle.text} with a rectilinear lens"
                yield key, found, "under 180 deg, or another lens"
        low, high = self.range_low_k, self.range_high_k
        if low is not None and high is not None and low >= high:
            yield "range_low", f"{low.text} is not below range_high = {high.text}", "a rising range"
        short, long = self.band_low_m, self.band_high_m
        if short >= long:
            yield "band_low", f"{short.text} is not below band_high = {long.text}", "a rising band"

    @field_validator("response", mode="before")
    @classmethod
    def _pairs_in_metres(cls, raw: Any) -> Any:
        allowed = 'a CSV file beside the design, or rising pairs such as ["8.5 um", "0.7"]'

        def fail(found: str) -> PydanticCustomError:
            return PydanticCustomError("response", "{found}", {"found": found, "allowed": allowed})

        if isinstance(raw, str):
            raise fail(f"curve {raw!r} was not read")
        try:
            pairs = tuple((_metres(one[0]), float(one[1])) for one in raw)
        except (QuantityError, TypeError, ValueError, IndexError, KeyError) as error:
            raise fail(f"no pairs of wavelength and response ({error})") from None
        if pairs and len(pairs) < 2:
            raise fail("one pair is no curve")
        if any(not 1e-7 <= wavelength <= 1e-3 for wavelength, _ in pairs):
            raise fail("a wavelength outside 0.1 um to 1 mm")
        if any(not two[0] > one[0] for one, two in pairwise(pairs)):
            raise fail("wavelengths that do not rise")
        if any(not 0.0 <= share < float("inf") for _, share in pairs):
            raise fail("a response below zero or none")
        if pairs and not any(share > 0.0 for _, share in pairs):
            raise fail("a response of zero everywhere")
        return pairs


def _metres(raw: Any) -> float:
    """Return a wavelength from text with its unit, or from a stored number of metres."""
    return parse_quantity(raw, "length") if isinstance(raw, str) else float(raw)


class Mount(Part):
    """Place and direction of a head; angles as in docs/conventions.md."""

    x_m: Length = figure("0 m", "length")
    """Lens, to the right of the middle."""
    y_m: Length = figure("0 m", "length")
    """Lens, away from the cook."""
    height_m: PositiveLength
    """Height of the lens over the cooktop plane."""
    tilt_rad: Angle = figure("0 deg", "angle")
    """From straight down towards the back."""
    pan_rad: Angle = figure("0 deg", "angle")
    """About the vertical, counter-clockwise seen from above."""
    roll_rad: Angle = figure("0 deg", "angle")
    """About the optical axis."""
    position_tolerance_m: LengthOrZero = figure("5 mm", "length")
    """Half-width of the error of each coordinate as mounted."""
    angle_tolerance_rad: AngleOrZero = figure("1 deg", "angle")
    """Half-width of the error of each angle as mounted."""


class Window(Part):
    """The optical window in front of the lens."""

    material: str = "polyethylene"
    """What it is made of."""
    transmittance_frac: PositiveFraction
    """Clean, in the sensor's band."""
    rise_delta_k: Difference = figure("0 K", "difference")
    """Temperature of the window over the sensor housing."""
    reflectance_frac: Fraction | None = None
    """What both faces mirror towards the sensor: its housing; counted as glow if left out."""
    grease_m: LengthOrZero | None = None
    """Grease that comes on the window and is not corrected, with its range."""
    grease_growth_m: LengthOrZero = figure("0 um", "length")
    """Grease that comes on the window in a week, in simulated cooks with an aged window."""
    condenses: bool = False
    """Whether simulated windows mist over when they are colder than the dew point at the hood."""
    condensed_frac: Fraction | None = None
    """Share of the window covered by condensed droplets and not corrected, with its range."""

    def broken(self) -> Iterator[Broken]:
        """Yield a window that mirrors and passes more than there is."""
        mirror, tau = self.reflectance_frac, self.transmittance_frac
        if mirror is not None and mirror + tau > 1.0:
            found = f"{mirror.text} beside transmittance = {tau.text}: over 1 together"
            allowed = f"at most {1.0 - float(tau):.3g}: what a window does not pass"
            yield "reflectance", found, allowed


class Head(Part):
    """One sensor head: sensor, mount, window."""

    name: str
    """Its name."""
    sensor: str
    """Name of a sensor card, of the library or of this file."""
    mount: Mount
    """Place and direction."""
    window: Window
    """The optical window."""
