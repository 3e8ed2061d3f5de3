"""What a design can see, beyond the view of each pan: spots, shadows, seams, tolerance, poses.

Part of a :class:`trivet.records.prediction.Prediction`.
"""

from __future__ import annotations

from dataclasses import dataclass

from trivet.arrays import FloatArray


@dataclass(frozen=True)
class FootprintMap:
    """Footprints of a head's pixels on the cooktop plane, at most 32 x 32 of them."""

    head: str
    row_px: FloatArray
    """Rows of the pixels shown. (row,)"""
    col_px: FloatArray
    """Columns of the pixels shown. (col,)"""
    along_m: FloatArray
    """Size across the rows; NaN where a pixel looks past the horizon. (row, col) [m]"""
    across_m: FloatArray
    """Size across the columns. (row, col) [m]"""


@dataclass(frozen=True)
class PanSight:
    """What a head can measure of one pan on one burner."""

    head: str
    burner: str
    pan: str
    along_m: float
    """Footprint across the rows at the pan's centre. [m]"""
    across_m: float
    """Footprint across the columns. [m]"""
    spot_m: float
    """Diameter that holds 95 % of a pixel's energy, blur counted. [m]"""
    pixels_across: float
    ten_by_ten: bool
    """Whether at least 10 pixels lie across the pan."""
    loss_frac: float
    """Share of a central pixel's signal from beside the pan: blur of the card."""
    loss_most_frac: float
    """The same with the upper end of the blur and the assumed halo."""
    rim_loss_most_frac: float
    """The same for a pixel one pixel inside the rim."""
    cold_k: float
    """Error of a central pixel by a cold surround, at the most loss. [K]"""
    hot_k: float
    """Error by a glowing ring or grate all round. [K]"""
    rim_cold_k: float
    rim_hot_k: float
    """The same for a pixel one pixel inside the rim. [K]"""
    far_angle_rad: float
    """Angle of view at the far side of the base, the steepest."""
    crowded_frac: float
    """Visible share of the base with the tallest pan that fits on every other burner."""
    remark: str
    """Why a reading here is doubtful; empty when nothing speaks against it."""


@dataclass(frozen=True)
class FillSight:
    """How much of the contents' surface a head sees over the pan's wall."""

    head: str
    burner: str
    pan: str
    base: str
    fill_m: float
    """Height of the contents over the base. [m]"""
    visible_frac: float
    """Visible share of the surface: of the base when dry."""
    angle_rad: float
    """Angle of view at the surface's centre."""
    far_angle_rad: float
    """Angle of view at its far side."""
    remark: str
    """Liquids beyond 50 degrees and other faults; empty when there is none."""


@dataclass(frozen=True)
class Shadow:
    """How much of a pan's base another pan hides from a head; pairs not listed hide under 0.1 %."""

    head: str
    burner: str
    pan: str
    """The pan of which most is hidden."""
    by_burner: str
    by_pan: str
    """The tallest pan that fits beside it on the other burner."""
    hidden_frac: float
    """Share of the base that the other pan hides."""


@dataclass(frozen=True)
class UnionSight:
    """A pan on a burner as all heads together see it."""

    burner: str
    pan: str
    whole_by: str
    """Head that sees the whole rim with its margin; empty when none does alone."""
    union_frac: float
    """Share of rim and margin that at least one head sees."""
    cut_by: tuple[str, ...]
    """Heads between whose fields a seam cuts the pan."""


@dataclass(frozen=True)
class Seam:
    """The seam between the fields of two heads on the cooktop plane."""

    head: str
    other: str
    overlap_m: float
    """Width of the overlap on the line between the fields' centres; negative is a gap. [m]"""
    burners_cut: tuple[str, ...]
    """Burners with a pan that neither sees whole and both see in part."""


@dataclass(frozen=True)
class ToleranceLine:
    """One pan on one burner under the mount's tolerances."""

    burner: str
    pan: str
    ok_frac: float
    """Share of draws in which one head sees the whole rim with its margin."""
    low_frac: float
    high_frac: float
    """Exact 95 % interval of that probability."""


@dataclass(frozen=True)
class Tolerance:
    """Probability that coverage holds as mounted, by a seeded Monte Carlo."""

    draws: int
    ok_draws: int
    """Draws in which every pan on every burner is covered."""
    ok_frac: float
    low_frac: float
    high_frac: float
    """Exact 95 % interval of the probability."""
    worst_burner: str
    worst_pan: str
    """The burner and pan that fail most; empty when none ever fails."""
    lines: tuple[ToleranceLine, ...]
    spread: str
    """What was drawn."""


@dataclass(frozen=True)
class HeadPose:
    """Where one moving head hangs."""

    head: str
    x_m: float
    y_m: float
    height_m: float
    tilt_rad: float
    pan_rad: float
    roll_rad: float


@dataclass(frozen=True)
class PoseFound:
    """One pose that the search found, of all heads that move, with what it reaches."""

    sensor: str
    x_m: float
    y_m: float
    height_m: float
    tilt_rad: float
    margin_m: float
    """Least margin of all rims. [m]"""
    margin_burner: str
    margin_pan: str
    pixels_across: float
    """Fewest pixels across a pan."""
    pixels_pan: str
    angle_rad: float
    """Steepest view of a pan's centre."""
    fits: bool
    fails: str
    """Constraints that fail and by how much, the worst first; empty when all hold."""
    heads: tuple[HeadPose, ...] = ()
    """Each moving head; x, y, height and tilt above are of the first."""


@dataclass(frozen=True)
class PoseSearch:
    """Poses of the moving heads over the free parameters that the design declares, best first."""

    head: str
    free: tuple[str, ...]
    """Free parameters with their ranges."""
    constraints: tuple[str, ...]
    poses: tuple[PoseFound, ...]
    answer: str
    """The best pose in a sentence, or which constraint fails and by how much."""


@dataclass(frozen=True)
class Seeing:
    """Everything about what a design can see."""

    maps: tuple[FootprintMap, ...] = ()
    pans: tuple[PanSight, ...] = ()
    fills: tuple[FillSight, ...] = ()
    shadows: tuple[Shadow, ...] = ()
    unions: tuple[UnionSight, ...] = ()
    seams: tuple[Seam, ...] = ()
    unseen: tuple[str, ...] = ()
    """Burners of which no head sees any pan."""
    lidded: tuple[str, ...] = ()
    """Pans that are used with a lid: under it nothing of the contents is seen."""
    tolerance: Tolerance | None = None
    search: PoseSearch | None = None
    beside: str = ""
    """The surrounds and the pan temperature of the size-of-source errors."""
