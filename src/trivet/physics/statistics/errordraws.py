"""The measurement equation, forth and back, for many cases and draws in one pass; Sobol shares.

The same equation as :mod:`trivet.physics.radiation.measurement`, fused: no array of draws is ever
held for an intermediate quantity, and what does not vary in a case is computed once for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy import stats

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.errors import InputError
from trivet.physics.radiation.planck import Band, ChebyshevSeries, band_radiance

FIELDS = (
    "emissivity",
    "reflected_k",
    "transmittance",
    "window_k",
    "source_frac",
    "around_k",
    "offset_k",
    "gain",
    "step_k",
    "column_frac",
    "column_k",
    "mirrored_frac",
    "housing_k",
)
"""What may vary, in the order of the columns of ``nominal``."""
# columns of ``nominal`` by name
(EPS, REFLECTED, TAU, WINDOW, SOURCE, AROUND, OFFSET, GAIN, STEP, COLUMN, COLUMN_K, MIRRORED) = (
    range(12)
)
HOUSING = 12  # the last of FIELDS
LEAST_COEFFICIENT = 1e-6  # own estimate: a share that still divides
DRAWS_ABREAST = 64  # own estimate: fits the fastest cache
LUKEWARM_K = 300.0  # own estimate: tells "too cold" from "too hot" beyond the series
CUT_FRAC = 3e-11
"""Coefficients under this share of the largest are left out: 1e-7 K at most."""


@dataclass(frozen=True, eq=False)
class TermSpread:
    """How the terms move the fields: deviation = shift + scale * unit.

    field : (term,) index into FIELDS
    shift, scale : (term, case) in the field's unit; NaN counts as none
    """

    field: IntArray
    shift: FloatArray
    scale: FloatArray


def reading_errors_k(
    temperature_k: FloatArray,
    *,
    nominal: FloatArray,
    spread: TermSpread,
    units: FloatArray,
    band: Band,
    range_k: tuple[float, float] = (-math.inf, math.inf),
) -> FloatArray:
    """Return the error of a reading for every case and draw.

    temperature_k : (case,) true temperatures [K]
    nominal : (case, field) what the product believes, in the order of FIELDS
    spread : how each term moves its field
    units : (term, draw) unit draws that all cases share
    band : spectral response
    range_k : pair of float: ends of the sensor's range; a number beyond them is clipped and is none
        [K]
    Returns : (case, draw) read minus true temperature [K]; plus infinity where the sensor saturates
        or no temperature explains the signal from above, minus infinity from below
    Raises : InputError if the arrays do not fit one another
    Notes : Shares are held within 1e-6 to 1 and the mirrored share below what the window does not
        pass. Agrees with the unfused equation within 1e-9 K. About 60 ns a draw on one core.
    Source : :mod:`trivet.physics.radiation.measurement`; JCGM 101:2008 for the use
    """
    cases, terms = temperature_k.size, spread.field.size
    if nominal.shape != (cases, len(FIELDS)) or units.shape[0] != terms:
        raise InputError(f"draws: nominal {nominal.shape} and units {units.shape} do not fit")
    if spread.shift.shape != (terms, cases) or spread.scale.shape != (terms, cases):
        raise InputError(f"draws: shift and scale must have shape {(terms, cases)}")
    out = np.empty((cases, units.shape[1]))
    lukewarm = float(band_radiance(LUKEWARM_K, band=band))
    _fill(
        np.ascontiguousarray(temperature_k, dtype=np.float64),
        np.ascontiguousarray(nominal),
        (
            spread.field,
            np.nan_to_num(spread.shift),
            np.nan_to_num(spread.scale),
            np.ascontiguousarray(units),
        ),
        (
            _packed(band.forward),
            _packed(band.inverse),
            np.array([range_k[0], range_k[1], lukewarm]),
            np.empty((3, DRAWS_ABREAST)),
        ),
        out,
    )
    return out


def _packed(series: ChebyshevSeries) -> FloatArray:
    """Return ends and coefficients of a series in one array, cut where they stop to count."""
    size = np.abs(series.coefficients)
    last = int(np.flatnonzero(size > CUT_FRAC * size.max())[-1])
    return np.concatenate([[series.low, series.high], series.coefficients[: last + 1]])


Tables = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""Packed series forward and inverse, range with the lukewarm radiance, work space."""


@njit(cache=True, error_model="numpy")
def _series(value: FloatArray, count: int, packed: FloatArray, work: FloatArray) -> None:
    """Replace values by those of a packed series, NaN outside its interval."""
    low, high = packed[0], packed[1]
    for i in range(count):
        work[0, i] = (2.0 * value[i] - low - high) / (high - low)
        work[1, i] = 0.0
        work[2, i] = 0.0
    for k in range(packed.size - 1, 2, -1):
        for i in range(count):
            ahead = packed[k] + 2.0 * work[0, i] * work[1, i] - work[2, i]
            work[2, i] = work[1, i]
            work[1, i] = ahead
    for i in range(count):
        inside = low <= value[i] <= high
        total = packed[2] + work[0, i] * work[1, i] - work[2, i]
        value[i] = total if inside else np.nan


@njit(cache=True, error_model="numpy")
def _radiance(value: FloatArray, count: int, tables: Tables) -> None:
    _series(value, count, tables[0], tables[3])
    for i in range(count):
        square = value[i] * value[i]
        value[i] = square * square


@njit(cache=True, error_model="numpy")
def _temperature(value: FloatArray, count: int, tables: Tables) -> None:
    for i in range(count):
        value[i] = math.sqrt(math.sqrt(value[i])) if value[i] > 0.0 else np.nan
    _series(value, count, tables[1], tables[3])


@njit(cache=True, error_model="numpy")
def _fill(
    temperature_k: FloatArray,
    nominal: FloatArray,
    moves: tuple[IntArray, FloatArray, FloatArray, FloatArray],
    tables: Tables,
    out: FloatArray,
) -> None:
    """Fill the errors case by case, DRAWS_ABREAST draws at a time."""
    field, shift, scale, units = moves
    fields, draws = nominal.shape[1], units.shape[1]
    now = np.empty((fields + 1, DRAWS_ABREAST))
    moved = np.zeros(fields, dtype=np.bool_)
    for case in range(temperature_k.size):
        believed = nominal[case]
        moved[:] = False
        for term in range(field.size):
            if shift[term, case] != 0.0 or scale[term, case] != 0.0:
                moved[field[term]] = True
        fixed = _fixed_radiances(believed, temperature_k[case], tables)
        for start in range(0, draws, DRAWS_ABREAST):
            count = min(DRAWS_ABREAST, draws - start)
            for f in range(fields):
                for i in range(count):
                    now[f, i] = believed[f]
            for term in range(field.size):
                f, base, width = field[term], shift[term, case], scale[term, case]
                if base == 0.0 and width == 0.0:
                    continue
                for i in range(count):
                    now[f, i] += base + width * units[term, start + i]
            _hold_shares(now, count)
            _apparent(now, count, moved, fixed, tables)
            _read(now, count, believed, fixed, tables)
            for i in range(count):
                out[case, start + i] = now[fields, i] - temperature_k[case]


@njit(cache=True, error_model="numpy")
def _fixed_radiances(believed: FloatArray, temperature_k: float, tables: Tables) -> FloatArray:
    """Return radiances at the believed temperatures in the order of use; last the true one."""
    value = np.array(
        [
            temperature_k - believed[STEP],
            believed[REFLECTED],
            believed[AROUND],
            believed[WINDOW],
            believed[COLUMN_K],
            believed[HOUSING],
            temperature_k,
        ]
    )
    _radiance(value, value.size - 1, tables)
    return value


@njit(cache=True, error_model="numpy")
def _hold_shares(now: FloatArray, count: int) -> None:
    for f in (EPS, TAU, SOURCE, COLUMN):
        for i in range(count):
            now[f, i] = min(max(now[f, i], LEAST_COEFFICIENT), 1.0)
    for i in range(count):
        now[MIRRORED, i] = min(max(now[MIRRORED, i], 0.0), 1.0 - now[TAU, i])


@njit(cache=True, error_model="numpy")
def _source(row: FloatArray, count: int, moves: bool, fixed: float, tables: Tables) -> None:
    """Replace a row of temperatures by radiances; one number where nothing moves."""
    if moves:
        _radiance(row, count, tables)
    else:
        for i in range(count):
            row[i] = fixed


@njit(cache=True, error_model="numpy")
def _apparent(
    now: FloatArray, count: int, moved: BoolArray, fixed: FloatArray, tables: Tables
) -> None:
    """Put what the sensor states into the last row."""
    stated = now[now.shape[0] - 1]
    for i in range(count):
        stated[i] = fixed[6] - now[STEP, i]
    _source(stated, count, moved[STEP], fixed[0], tables)
    for i in range(count):
        now[STEP, i] = now[HOUSING, i]  # kept for the gain; the step is spent
    _source(now[REFLECTED], count, moved[REFLECTED], fixed[1], tables)
    _source(now[AROUND], count, moved[AROUND], fixed[2], tables)
    _source(now[WINDOW], count, moved[WINDOW], fixed[3], tables)
    _source(now[COLUMN_K], count, moved[COLUMN_K], fixed[4], tables)
    _source(now[HOUSING], count, moved[HOUSING], fixed[5], tables)
    for i in range(count):
        eps, share, tau = now[EPS, i], now[SOURCE, i], now[TAU, i]
        clear, mirrored = now[COLUMN, i], now[MIRRORED, i]
        own = eps * stated[i] + (1.0 - eps) * now[REFLECTED, i]
        seen = share * own + (1.0 - share) * now[AROUND, i]
        seen = clear * seen + (1.0 - clear) * now[COLUMN_K, i]
        glow = (1.0 - tau - mirrored) * now[WINDOW, i] + mirrored * now[HOUSING, i]
        stated[i] = tau * seen + glow
    _temperature(stated, count, tables)
    for i in range(count):
        stated[i] += now[OFFSET, i] + now[GAIN, i] * (stated[i] - now[STEP, i])


@njit(cache=True, error_model="numpy")
def _read(
    now: FloatArray, count: int, believed: FloatArray, fixed: FloatArray, tables: Tables
) -> None:
    """Replace what the sensor states by what the product reads; infinite where it cannot."""
    stated, ends = now[now.shape[0] - 1], tables[2]
    explained, clipped, cool = now[EPS], now[TAU], now[GAIN]
    eps, share, tau = believed[EPS], believed[SOURCE], believed[TAU]
    clear, mirrored, gain = believed[COLUMN], believed[MIRRORED], believed[GAIN]
    glow = (1.0 - tau - mirrored) * fixed[3] + mirrored * fixed[5]
    behind = (1.0 - share) * fixed[2]
    for i in range(count):
        clipped[i] = 1.0 if stated[i] > ends[1] else -1.0 if stated[i] < ends[0] else 0.0
        stated[i] = (stated[i] - believed[OFFSET] + gain * believed[HOUSING]) / (1.0 + gain)
        explained[i] = stated[i]
        cool[i] = 1.0 if stated[i] < LUKEWARM_K else 0.0
    _radiance(explained, count, tables)
    for i in range(count):
        seen = ((explained[i] - glow) / tau - (1.0 - clear) * fixed[4]) / clear
        explained[i] = ((seen - behind) / share - (1.0 - eps) * fixed[1]) / eps
        stated[i] = explained[i]
    _temperature(stated, count, tables)
    for i in range(count):
        if clipped[i] != 0.0:
            stated[i] = np.inf if clipped[i] > 0.0 else -np.inf
        elif math.isnan(stated[i]):
            # Beyond the series there is no radiance either: the stated number decides.
            below = cool[i] > 0.0 if math.isnan(explained[i]) else explained[i] < ends[2]
            stated[i] = -np.inf if below else np.inf
        else:
            stated[i] += believed[STEP]


def sobol_points(
    inputs: int,
    *,
    groups: Sequence[Sequence[int]],
    generator: np.random.Generator,
    count: int = 1024,
) -> FloatArray:
    """Return the points at which a model must be known for its Sobol indices.

    inputs : number of inputs
    groups : sequence of sequence of int: inputs that are exchanged together: each group one column
        of the result
    generator : source of the scrambling
    count : base points, a power of two
    Returns : (input, count * (2 + group)) numbers in (0, 1): first set, second set, then the first
        with one group of the second, group by group
    Raises : InputError if the count is not a power of two
    Notes : A scrambled Sobol sequence of twice the inputs. With 1024 points indices of smooth
        models are good to 0.02.
    Source : Saltelli et al., Computer Physics Communications 181, 259-270 (2010), from memory
    """
    if count < 2 or count & (count - 1):
        raise InputError(f"sobol: count is {count}; allowed: a power of two")
    sequence = stats.qmc.Sobol(2 * inputs, scramble=True, rng=generator)
    raw = np.clip(sequence.random(count).T, 1e-9, 1.0 - 1e-9)
    first, second = raw[:inputs], raw[inputs:]
    sets = [first, second]
    for group in groups:
        mixed = first.copy()
        rows = list(group)
        mixed[rows] = second[rows]
        sets.append(mixed)
    return np.concatenate(sets, axis=1)


def total_order_shares(values: FloatArray, *, groups: int) -> FloatArray:
    """Return the share of the variance in which each group takes part.

    values : (output, count * (2 + group)) the model at the points of :func:`sobol_points`; finite
    groups : number of groups
    Returns : (group, output) total-order indices; NaN for an output that does not vary. They sum to
        1 for a model without interactions and to more with them.
    Raises : InputError if the values do not fit or are not finite
    Notes : Estimator of Saltelli (2010) as scipy computes it; at 1024 points the scatter is about
        0.02, so small shares can come out a little below 0 and are held at 0.
    Source : Saltelli et al. (2010); scipy.stats.sobol_indices
    """
    outputs, total = values.shape
    if total % (2 + groups) or not np.all(np.isfinite(values)):
        raise InputError("sobol: values must be finite and fit the points")
    count = total // (2 + groups)
    parts = values.reshape(outputs, 2 + groups, count)
    still = np.ptp(parts, axis=(1, 2)) == 0.0
    lively = np.where(still[:, None, None], np.arange(count) / count, parts)
    found = stats.sobol_indices(
        func={
            "f_A": lively[:, 0],
            "f_B": lively[:, 1],
            "f_AB": np.swapaxes(lively[:, 2:], 0, 1),
        },
        n=count,
    )
    shares = np.maximum(np.asarray(found.total_order, float), 0.0).reshape(outputs, groups).T
    return np.where(still[None, :], np.nan, shares)
