"""The single-precision pass: NaN and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation.inversion import InversionTerms, surface_temperature_stack_k
from trivet.physics.radiation.planck import flat_band

BAND = flat_band(8e-6, 14e-6)


def terms(**changes):
    given = {
        "emissivity": 0.9,
        "surround_k": 300.0,
        "transmittance": 0.9,
        "window_k": 300.0,
        "band": BAND,
        "scale_k": 0.02,
    }
    return InversionTerms(**(given | changes))


@pytest.mark.parametrize("emissivity", [0.0, -0.1, 1.01])
def test_emissivity_out_of_range(emissivity):
    with pytest.raises(OutOfRangeError, match="emissivity"):
        terms(emissivity=np.array([[0.9, emissivity]]))


@pytest.mark.parametrize("transmittance", [0.0, -0.5, 1.001, np.nan])
def test_transmittance_out_of_range(transmittance):
    with pytest.raises(OutOfRangeError, match="transmittance"):
        terms(transmittance=transmittance)


def test_scale_and_surroundings_out_of_range():
    with pytest.raises(OutOfRangeError, match="scale"):
        terms(scale_k=0.0)
    frame = np.full((2, 2), 320.0, np.float32)
    with pytest.raises(OutOfRangeError, match="kelvin"):
        surface_temperature_stack_k(frame, terms=terms(surround_k=25.0))


def test_shapes_that_do_not_fit():
    stack = np.full((5, 4, 3), 320.0, np.float32)
    with pytest.raises(InputError, match="emissivity has shape"):
        surface_temperature_stack_k(stack, terms=terms(emissivity=np.full((3, 4), 0.9)))
    with pytest.raises(InputError, match="frames"):
        surface_temperature_stack_k(stack, terms=terms(surround_k=np.full(4, 300.0)))
    with pytest.raises(InputError, match="moments"):
        surface_temperature_stack_k(
            stack, terms=terms(surround_k=np.full(4, 300.0), window_k=np.full(5, 300.0))
        )
    with pytest.raises(InputError, match="float64"):
        surface_temperature_stack_k(stack.astype(float), terms=terms())
    with pytest.raises(InputError, match="axes"):
        surface_temperature_stack_k(stack[0, 0], terms=terms())


def test_saturated_counts_are_nan():
    counts = np.array([[20000, 24999, 25000, 65535]], np.uint16)
    out = surface_temperature_stack_k(counts, terms=terms(saturated_count=25000))
    assert np.isfinite(out).tolist() == [[True, True, False, False]]
    open_top = terms(scale_k=0.01)
    full = surface_temperature_stack_k(np.array([[65534, 65535]], np.uint16), terms=open_top)
    assert np.isfinite(full).tolist() == [[True, False]]


def test_unexplained_signals_are_nan():
    """A surface cannot look colder than its reflection and the window allow."""
    cold = np.array([[260.0, 295.0, 1000.0, 200.0, np.nan]], np.float32)
    dim = terms(emissivity=0.1, transmittance=0.5)
    out = surface_temperature_stack_k(cold, terms=dim)
    assert np.isnan(out).all()
    assert np.isfinite(
        surface_temperature_stack_k(np.full((1, 5), 301.0, np.float32), terms=dim)
    ).all()


def test_nan_emissivity_stays_nan():
    eps = np.array([[0.9, np.nan]])
    out = surface_temperature_stack_k(
        np.full((1, 2), 400.0, np.float32), terms=terms(emissivity=eps)
    )
    assert np.isfinite(out).tolist() == [[True, False]]


def test_read_only_and_strided_stacks():
    stack = np.full((4, 6, 8), 400.0, np.float32)
    stack.setflags(write=False)
    whole = surface_temperature_stack_k(stack, terms=terms())
    part = surface_temperature_stack_k(stack[::2, :, ::2], terms=terms())
    assert part.shape == (2, 6, 4)
    assert np.array_equal(part, whole[::2, :, ::2])
