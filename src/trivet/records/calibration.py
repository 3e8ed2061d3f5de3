"""A calibration: what was fitted from calibration cooks, with covariance; the rest nominal.

``stages/calibrate`` makes one::

    calibrate(design: Design, *, recordings: Sequence[Recording]) -> Calibration

from recordings of one evidence grade, all with purpose ``calibration``; with no
recordings it returns the design's nominal terms and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trivet.arrays import BoolArray, FloatArray
from trivet.records.design import Contents
from trivet.records.product import Reporter
from trivet.records.requirement import Evidence

How = Literal["fitted", "nominal"]

POSE_TERMS = ("x_m", "y_m", "height_m", "tilt_rad", "pan_rad", "roll_rad")
DRIFT_TERMS = ("offset_k", "per_housing_k", "per_housing_rate_s", "wake_k")


@dataclass(frozen=True)
class PoseCalibration:
    """Where a head looks: six numbers in the order of POSE_TERMS, and their covariance."""

    how: How
    value: FloatArray
    """(6,)"""
    covariance: FloatArray
    """(6, 6)"""
    residual_rms_m: float
    """Misfit on the cooktop plane; NaN when nominal. [m]"""
    reason: str


@dataclass(frozen=True)
class DriftCalibration:
    """Offset of the apparent temperature, in the order of DRIFT_TERMS.

    offset = a + b (T_housing - T_ref) + c dT_housing/dt + d exp(-t_awake / tau)
    """

    how: How
    value: FloatArray
    """(4,) a [K], b [-], c [s], d [K]"""
    covariance: FloatArray
    """(4, 4)"""
    housing_ref_k: float
    tau_s: float
    residual_rms_k: float
    """Misfit; NaN when nominal. [K]"""
    reason: str


@dataclass(frozen=True)
class PixelCalibration:
    """What each pixel adds to the head's mean, from even scenes.

    scene = (apparent - offset - housing) / gain + housing, pixel by pixel.
    """

    offset_k: FloatArray
    """(row, col) at the housing's temperature; 0 for a bad pixel. [K]"""
    gain: FloatArray
    """(row, col) on scene minus housing; 1 where one level alone was seen. [-]"""
    bad: BoolArray
    """(row, col) dead, stuck, wild or far off: not to be read."""
    residual_rms_k: float
    """Left over the good pixels. [K]"""
    reason: str


@dataclass(frozen=True)
class HeadCalibration:
    """All terms of one head."""

    head: str
    pose: PoseCalibration
    drift: DriftCalibration
    transmittance: float
    """Of the window. [-]"""
    transmittance_u: float
    """Standard uncertainty. [-]"""
    gain_u: float
    """Standard uncertainty of the sensor's gain on (scene - housing). [-]"""
    transmittance_how: How = "nominal"
    transmittance_reason: str = ""
    reflected_k: float = math.nan
    """Radiative temperature of what the pans mirror, as measured; NaN: the design's. [K]"""
    reflected_u_k: float = math.nan
    """Standard uncertainty. [K]"""
    reflected_reason: str = ""
    pixels: PixelCalibration | None = None
    """None: no even scene was recorded."""

    @property
    def fitted(self) -> bool:
        """Whether any term was measured on a sensor unit as it hung."""
        hows = (self.pose.how, self.drift.how, self.transmittance_how)
        return "fitted" in hows or self.pixels is not None


@dataclass(frozen=True)
class SurfaceCalibration:
    """Effective band emissivity of what is seen with given base contents in a given pan finish."""

    contents: Contents
    finish: str
    """Pan finish it holds for; empty: any."""
    how: How
    emissivity: float
    """[-]"""
    emissivity_u: float
    """Standard uncertainty, spread between cooks included. [-]"""
    film_m: float
    """Effective film thickness, NaN where the surface is opaque. [m]"""
    film_u_m: float
    """[m]"""
    span_low_k: float
    span_high_k: float
    """Temperatures that the fit covers; NaN when nominal. [K]"""
    cooks: int
    """Independent cooks behind it."""
    reduced_chi2: float
    reason: str
    film_covariance: FloatArray | None = None
    """(3, 3) of log thickness (spread between cooks included), emissivity of the pan below, log of
    the liquid's k scale; None without a film."""
    film: bool = False
    """Whether it is of oil so thin that the pan shows through, its thickness known or not."""


@dataclass(frozen=True)
class Calibration:
    """Everything that reading frames needs beside the design."""

    evidence: Evidence
    """Grade of the recordings behind it; ``predicted`` when all is nominal."""
    heads: tuple[HeadCalibration, ...]
    surfaces: tuple[SurfaceCalibration, ...]
    recordings: tuple[str, ...]
    """Names of the recordings it was fitted on."""
    refusals: tuple[str, ...]
    """What the data could not carry, why, and what stays in force."""
    units: tuple[str, ...] = ()
    """Sensor units that the recordings were made with; an unnamed one is empty text."""
    advice: tuple[str, ...] = ()
    """What to do at the bench: clean the window, hang the mount again."""
    reporter: Reporter = "area-mean"
    """Which one number stands for a pan."""
    reporter_reason: str = "as designed"
    """Why this one."""

    def holds_for(self, unit: str) -> bool:
        """Return whether it may read a recording of a sensor unit.

        Terms measured on one unit hold for that one; those of several units are
        pooled over them, and nominal ones hold for every unit of the kind.
        """
        return len(self.units) != 1 or unit in self.units or not any(h.fitted for h in self.heads)

    def head(self, name: str) -> HeadCalibration:
        """Return the calibration of a head."""
        return next(head for head in self.heads if head.head == name)


@dataclass(frozen=True)
class ReporterTrial:
    """One reporter on one calibration cook, against the probes on the same surface."""

    reporter: Reporter
    cook: str
    plan: str
    """Repeats of one plan share it; they are left out together."""
    moments: int
    bias_k: float
    noise_k: float
    """From second to second. [K]"""
    lag_s: float
    """NaN where the cook does not tell. [s]"""
    hot_side_k: float
    """By how much the hottest probe is hotter than the number, on average. [K]"""
    loss: float


@dataclass(frozen=True)
class ReporterScore:
    """One reporter over all cooks of the trial."""

    reporter: Reporter
    cooks: int
    bias_k: float
    bias_spread_k: float
    """Standard deviation from cook to cook. [K]"""
    noise_k: float
    lag_s: float
    hot_side_k: float
    loss: float
    """Mean of the cooks' losses."""


@dataclass(frozen=True)
class ReporterFold:
    """What the other cooks would have chosen, and what that costs on the one left out."""

    left_out: str
    chosen: Reporter
    loss: float


@dataclass(frozen=True)
class ReporterChoice:
    """The reporter that calibration cooks of one grade favour, with the evidence."""

    evidence: Evidence
    chosen: Reporter
    reason: str
    weights: dict[str, float]
    """What 1 K of bias, 1 K of noise, 1 s of lag and 1 K on the hot side cost."""
    scores: tuple[ReporterScore, ...]
    """Best first."""
    folds: tuple[ReporterFold, ...]
    left_out_loss: float
    """Mean loss of the choice on plans that it did not see; NaN where there is no choice."""
    trials: tuple[ReporterTrial, ...]
