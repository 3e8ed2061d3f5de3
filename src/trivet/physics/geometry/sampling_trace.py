"""Compiled parts of the sampling matrix: tracing lines of the image, weighing their pieces."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from trivet.physics.geometry.optics import camera_ray

BLUR_REACH = 4.0  # own estimate: sigmas beyond which the blur is cut off: 6e-5 of its weight
MIN_PIXEL_SHARE = 1e-5  # own estimate: of a pixel's signal: smaller shares are dropped, 5e-4 in sum


@njit(cache=True)
def _grown(array: Any, room: int) -> Any:
    more = np.empty(room, dtype=array.dtype)
    more[: array.size] = array
    return more


@njit(cache=True)
def _pan_hit(pan: Any, eye: Any, dx: float, dy: float) -> tuple[float, int]:
    """First meeting of a ray with one pan: drop to it, and 1 for the opening, 2 for the side.

    The ray is eye + s * (dx, dy, -1); 0 says that it passes by.
    """
    rim_r = pan[2] + (pan[4] - pan[3]) * pan[6]
    s_rim = eye[2] - pan[4]
    px = eye[0] - pan[0] + s_rim * dx
    py = eye[1] - pan[1] + s_rim * dy
    if px * px + py * py <= rim_r * rim_r:
        return s_rim, 1
    height = pan[4] - pan[3]
    if height == 0.0:
        return math.inf, 0
    # outside of the wall: |p + s d| = rim_r - s * slope, 0 <= s <= height
    a = dx * dx + dy * dy - pan[6] * pan[6]
    b = px * dx + py * dy + rim_r * pan[6]
    c = px * px + py * py - rim_r * rim_r
    if abs(a) < 1e-15:
        if b >= 0.0:
            return math.inf, 0
        s = -c / (2.0 * b)
    else:
        root = b * b - a * c
        if root < 0.0:
            return math.inf, 0
        root = math.sqrt(root)
        s = (-b - root) / a if a > 0.0 else (-b + root) / a
        if a < 0.0 and s < 0.0:
            s = (-b - root) / a
    if 0.0 <= s <= height and rim_r - s * pan[6] > 0.0:
        return s_rim + s, 2
    return math.inf, 0


@njit(cache=True)
def _pans_of_line(row: float, ends: tuple[float, float], view: Any, near: Any) -> int:
    """List the pans that a line of the image can meet; return how many.

    Behind a lens without distortion a line of the image is a plane through the eye.
    """
    lens, rot, eye, pans, _ = view
    if lens[0] != 0.0:
        near[:] = np.arange(pans.shape[0])
        return int(pans.shape[0])
    ax, ay, az = camera_ray(row, ends[0], lens)
    bx, by, bz = camera_ray(row, ends[1], lens)
    normal = rot @ np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
    normal /= math.sqrt((normal * normal).sum())
    count = 0
    for i in range(pans.shape[0]):
        half = 0.5 * (pans[i, 4] - pans[i, 3])
        away = normal[0] * (pans[i, 0] - eye[0]) + normal[1] * (pans[i, 1] - eye[1])
        away += normal[2] * (pans[i, 3] + half - eye[2])
        widest = max(pans[i, 2], pans[i, 2] + 2.0 * half * pans[i, 6])
        # the plate around the base lies on the hob, the pan's foot above it
        low = half + pans[i, 3]
        if abs(away) <= math.sqrt((widest + pans[i, 9]) ** 2 + low * low):
            near[count] = i
            count += 1
    return count


@njit(cache=True)
def _surface(row: float, col: float, view: Any, near: Any) -> int:
    """Column of the surface that a pixel position looks at; ``near`` lists the pans to try."""
    lens, rot, eye, pans, starts = view
    n = pans.shape[0]
    walls = starts[n]
    x, y, z = camera_ray(row, col, lens)
    down = -(rot[2, 0] * x + rot[2, 1] * y + rot[2, 2] * z)
    if not down > 1e-9:
        return int(walls + 2 * n + 1)
    dx = (rot[0, 0] * x + rot[0, 1] * y + rot[0, 2] * z) / down
    dy = (rot[1, 0] * x + rot[1, 1] * y + rot[1, 2] * z) / down
    nearest, which, kind = math.inf, -1, 0
    for i in near:
        s, k = _pan_hit(pans[i], eye, dx, dy)
        if k > 0 and s < nearest:
            nearest, which, kind = s, i, k
    if which < 0:
        for i in near:
            px = eye[0] + eye[2] * dx - pans[i, 0]
            py = eye[1] + eye[2] * dy - pans[i, 1]
            if px * px + py * py < (pans[i, 2] + pans[i, 9]) ** 2:
                return int(walls + n + i)
        return int(walls + 2 * n)
    if kind == 2:
        return int(walls + which)
    pan = pans[which]
    s = eye[2] - pan[5]
    px = eye[0] - pan[0] + s * dx
    py = eye[1] - pan[1] + s * dy
    radius = pan[2] + (pan[5] - pan[3]) * pan[6]
    r = math.sqrt(px * px + py * py)
    if r > radius:
        return int(walls + which)
    ring = min(int(r / radius * pan[7]), int(pan[7]) - 1)
    turn = math.atan2(py, px) / (2.0 * math.pi)
    sector = int((turn + 1.0 if turn < 0.0 else turn) * pan[8]) % int(pan[8])
    return int(starts[which] + ring * int(pan[8]) + sector)


@njit(cache=True)
def _kind(column: Any, starts: Any) -> Any:
    """One number for all cells of a pan, and one for each background column."""
    n = starts.shape[0] - 1
    if column >= starts[n]:
        return int(n + column)
    for i in range(n):
        if column < starts[i + 1]:
            return i
    return n


@njit(cache=True)
def line_pieces(line_row: Any, edges: Any, view: Any) -> tuple[Any, Any, Any, Any, Any]:
    """Cut lines of the image into pieces that look at one surface each.

    line_row : (line,) row of each line [px]
    edges : (step,) columns at which surfaces are looked up [px]
    view : tuple: lens vector, rotation, eye, pan vectors (pan, 10), first column of each pan
    Returns : start, low, high, column, order: pieces of line i are start[i] to start[i + 1]: their
        ends [px] and the surface's column; order is a hash of the sequence of kinds of surface
    Notes : Changes between pans, walls and hob are found to 1e-7 px, between cells of one pan to
        1/16 of a step.
    Source : Bisection; own derivation
    """
    starts = view[4]
    room = line_row.size * 64
    low, high = np.empty(room), np.empty(room)
    column = np.empty(room, dtype=np.int64)
    order = np.zeros(line_row.size, dtype=np.int64)
    start = np.zeros(line_row.size + 1, dtype=np.int64)
    listed = np.empty(view[3].shape[0], dtype=np.int64)
    count = 0
    for i in range(line_row.size):
        row = line_row[i]
        x0 = edges[0]
        near = listed[: _pans_of_line(row, (x0, edges[-1]), view, listed)]
        c0 = _surface(row, x0, view, near)
        begin, now = x0, c0
        if count + 2 > room:
            room *= 2
            low, high, column = _grown(low, room), _grown(high, room), _grown(column, room)
        for j in range(1, edges.size):
            x1 = edges[j]
            c1 = _surface(row, x1, view, near)
            a, ca = x0, c0
            while ca != c1:
                # the next change after a; a third surface between is met on a later turn
                b, cb = x1, c1
                fine = _kind(ca, starts) != _kind(cb, starts)
                for _ in range(22 if fine else 3):
                    m = 0.5 * (a + b)
                    cm = _surface(row, m, view, near)
                    if cm == ca or (_kind(cm, starts) == _kind(ca, starts) and fine):
                        a, ca = m, cm
                    else:
                        b, cb = m, cm
                cut = 0.5 * (a + b)
                if count + 2 > room:
                    room *= 2
                    low, high, column = _grown(low, room), _grown(high, room), _grown(column, room)
                low[count], high[count], column[count] = begin, cut, now
                count += 1
                if fine:
                    order[i] = (order[i] * 31 + _kind(cb, starts) + 1) % 2147483647
                begin, now = cut, cb
                a, ca = b, cb
            x0, c0 = x1, c1
        low[count], high[count], column[count] = begin, x0, now
        count += 1
        start[i + 1] = count
    return start, low[:count], high[:count], column[:count], order


@njit(cache=True)
def _cdf(x: float, sigma: float) -> float:
    """Distribution function of a unit box convolved with a Gaussian cut at BLUR_REACH."""
    reach = 0.5 + BLUR_REACH * sigma
    if x <= -reach:
        return 0.0
    if x >= reach:
        return 1.0
    if sigma == 0.0:
        return x + 0.5
    total = 0.0
    for sign in (1.0, -1.0):
        z = (x + sign * 0.5) / sigma
        part = z * 0.5 * math.erfc(-z / math.sqrt(2.0)) + math.exp(-0.5 * z * z) / math.sqrt(
            2.0 * math.pi
        )
        total += sign * sigma * part
    return total


@njit(cache=True)
def _density(x: float, sigma: float) -> float:
    """Density of a unit box convolved with a Gaussian cut at BLUR_REACH."""
    if sigma == 0.0:
        return 1.0 if abs(x) <= 0.5 else 0.0
    if abs(x) > 0.5 + BLUR_REACH * sigma:
        return 0.0
    scale = sigma * math.sqrt(2.0)
    return 0.5 * (math.erf((x + 0.5) / scale) - math.erf((x - 0.5) / scale))


@njit(cache=True)
def line_weights(line_row: Any, width: Any, rows: int, sigma: float) -> Any:
    """Return the weight of each line in each pixel row.

    line_row, width : (line,) rows of the lines and what each stands for [px]
    sigma : standard deviation of the blur [px]
    Returns : (row, line) every pixel row's weights sum to 1
    Notes : Weights beyond 4 sigma from a pixel's edge are zero.
    Source : Density of a box convolved with a Gaussian
    """
    out = np.zeros((rows, line_row.size))
    for r in range(rows):
        for i in range(line_row.size):
            out[r, i] = width[i] * _density(line_row[i] - r, sigma)
        out[r] /= out[r].sum()
    return out


@njit(cache=True)
def gathered_rows(
    pieces: Any, line_weight: Any, cols: int, n_columns: int, sigma: float
) -> tuple[Any, Any, Any]:
    """Sum the weighed pieces into the rows of a sparse matrix.

    pieces : tuple: start, low, high, column of :func:`line_pieces`
    line_weight : (row, line)
    cols, n_columns : pixels to a row, surfaces
    sigma : standard deviation of the blur [px]
    Returns : data, indices, indptr: compressed sparse rows, one a pixel, each summing to 1
    Notes : One dense row of pixels is held at a time.
    Source : Exact integral of the blurred box along a line; own derivation
    """
    start, low, high, column = pieces
    rows, reach = line_weight.shape[0], 0.5 + BLUR_REACH * sigma
    first, offset, weight = _spread(low, high, cols, reach, sigma)
    indptr = np.zeros(rows * cols + 1, dtype=np.int64)
    room = 1 << 16
    indices, data = np.empty(room, dtype=np.int64), np.empty(room)
    # pixels innermost: a piece touches neighbours, which share a cache line
    buffer = np.zeros((n_columns, cols))
    touched = np.empty(n_columns, dtype=np.int64)
    known = np.zeros(n_columns, dtype=np.bool_)
    for r in range(rows):
        count = 0
        for i in range(line_weight.shape[1]):
            w = line_weight[r, i]
            if w == 0.0:
                continue
            for k in range(start[i], start[i + 1]):
                here = column[k]
                if not known[here]:
                    known[here] = True
                    touched[count] = here
                    count += 1
                line, begin = buffer[here], first[k] - offset[k]
                for n in range(offset[k], offset[k + 1]):
                    line[begin + n] += w * weight[n]
        mine = np.sort(touched[:count])
        used = indptr[r * cols]
        while used + count * cols > room:
            room *= 2
            indices, data = _grown(indices, room), _grown(data, room)
        _row_of_pixels(buffer, mine, indptr[r * cols : (r + 1) * cols + 1], (indices, data))
        for k in mine:
            buffer[k] = 0.0
            known[k] = False
    used = indptr[-1]
    return data[:used].copy(), indices[:used].copy(), indptr


@njit(cache=True)
def _row_of_pixels(buffer: Any, mine: Any, indptr: Any, out: Any) -> None:
    """Write the shares of one row of pixels, the smallest dropped, each pixel's sum 1."""
    indices, data = out
    cols = buffer.shape[1]
    total, kept = np.zeros(cols), np.zeros(cols)
    for k in mine:
        total += buffer[k]
    for k in mine:
        for c in range(cols):
            if buffer[k, c] > MIN_PIXEL_SHARE * total[c]:
                kept[c] += buffer[k, c]
                indptr[c + 1] += 1
    at = np.empty(cols, dtype=np.int64)
    for c in range(cols):
        at[c] = indptr[c]
        indptr[c + 1] += indptr[c]
    for k in mine:
        for c in range(cols):
            if buffer[k, c] > MIN_PIXEL_SHARE * total[c]:
                indices[at[c]], data[at[c]] = k, buffer[k, c] / kept[c]
                at[c] += 1


@njit(cache=True)
def _spread(low: Any, high: Any, cols: int, reach: float, sigma: float) -> tuple[Any, Any, Any]:
    """Weights of every piece in the pixel columns that it touches."""
    n = low.size
    first, offset = np.empty(n, dtype=np.int64), np.zeros(n + 1, dtype=np.int64)
    for k in range(n):
        a = max(0, math.ceil(low[k] - reach))
        b = min(cols - 1, math.floor(high[k] + reach))
        first[k] = a
        offset[k + 1] = offset[k] + max(0, b - a + 1)
    weight = np.empty(offset[n])
    for k in range(n):
        for m in range(offset[k + 1] - offset[k]):
            c = first[k] + m
            weight[offset[k] + m] = _cdf(high[k] - c, sigma) - _cdf(low[k] - c, sigma)
    return first, offset, weight
