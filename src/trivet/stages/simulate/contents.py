"""What lies on the base of a pan: nothing, water, deep oil, butter or an uneven film; which oil."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.facts.contents import TemperatureSpread, oil_limits
from trivet.models.oilpoints import COMMON
from trivet.physics.heat.boiling import nucleate_w_m2k3, surface_factor
from trivet.physics.heat.loads import OIL_KG_M3, Layer, oil_layer, water_layer
from trivet.physics.heat.oilfilm import film_thickness_m, smooth_field
from trivet.records.design import Base, Pan
from trivet.stages.simulate.draws import Kitchen


@dataclass(frozen=True)
class OilDraw:
    """One oil: its name in the library and the temperatures drawn for this cook."""

    name: str
    smoke_k: float
    ignition_k: float | None
    """None where it does not ignite by itself, as butter."""


def oil_draw(base: Base, generator: np.random.Generator) -> OilDraw:
    """Draw an oil's smoke point and auto-ignition temperature from their distributions."""
    name = base.oil or COMMON.get(base.contents, "vegetable")
    limits = oil_limits(name)
    smoke, ignites = limits.smoke.after(base.uses), limits.autoignition
    u = generator.uniform(size=2)
    return OilDraw(
        name=name,
        smoke_k=_at(smoke, float(u[0])),
        ignition_k=None if ignites is None else _at(ignites, float(u[1])),
    )


def _at(spread: TemperatureSpread, u: float) -> float:
    return spread.low_k + (spread.high_k - spread.low_k) * u


WET_FRAC = (0.7, 1.0)  # own estimate: share of a base that a poured film wets
UNEVENNESS = (0.2, 0.6)  # own estimate: of the logarithm of a film's thickness
PATCH_M = 0.06  # own estimate: from hill to hill of a film
FILM_UNDER_M = 0.5e-3  # own estimate: a deeper oil levels itself
FILM_EMISSIVITY = 0.6  # own estimate: total, of film and metal together
TILT_RAD = 0.005  # own estimate: hobs out of level by 0.3 degrees
BOW_M = 0.3e-3  # own estimate: pans of 26 cm
WATER_KG_M3 = 998.0  # at 20 C: IAPWS-95
OIL_MEASURED_KG_M3 = 917.0  # at 20 C: Choi and Okos 1986
# Whole butter: 80 to 82 % fat, at most 16 % water (Codex standard 279), the rest milk solids.
BUTTER_KG_M3, BUTTER_WATER_FRAC = 911.0, 0.16
BUTTER_RELEASE_1_KS = 0.004  # water gone in a minute at 4 K over the boiling point: assumed
BUTTER_STIRRED_S = 10.0  # its bubbles even it out sideways: assumed


def contents(
    base: Base,
    *,
    area: FloatArray,
    x: FloatArray,
    y: FloatArray,
    room: Kitchen,
    generator: np.random.Generator,
) -> tuple[FloatArray, Layer]:
    """Return the thickness of oil in each cell and the layer for the heat balance."""
    volume, none = float(base.volume_m3), np.zeros(area.size)
    field = smooth_field(x, y_m=y, wavelength_m=PATCH_M, generator=generator)
    wet = generator.uniform(*WET_FRAC)
    unevenness = generator.uniform(*UNEVENNESS)
    if base.contents == "dry" or volume <= 0.0:
        return none, Layer(start_k=room.ambient_k)
    if base.contents == "water":
        layer = water_layer(volume * WATER_KG_M3, start_k=room.ambient_k, boil_k=room.boiling_k)
        return none, layer
    water = 0.0
    if base.contents == "butter":
        water = volume * BUTTER_KG_M3 * BUTTER_WATER_FRAC
        volume = (volume * BUTTER_KG_M3 - water) / OIL_KG_M3
    depth = volume / float(area.sum())
    if depth >= FILM_UNDER_M:
        film = np.full(area.size, depth)
    else:
        film = film_thickness_m(
            field, area_m2=area, volume_m3=volume, wet_frac=wet, unevenness=unevenness
        )
    layer = oil_on_base(film, area_m2=area, room=room)
    return film, with_butter_water(layer, water, room) if water else layer


def oil_on_base(film_m: FloatArray, *, area_m2: FloatArray, room: Kitchen) -> Layer:
    """Return the layer of the heat balance that a film or a depth of oil makes."""
    wetted = film_m > 0.0
    if not wetted.any():
        return Layer(start_k=room.ambient_k)
    volume = float((film_m * area_m2).sum())
    wet_m2, all_m2 = float(area_m2[wetted].sum()), float(area_m2.sum())
    if volume / all_m2 >= FILM_UNDER_M:
        return oil_layer(volume / all_m2, start_k=room.ambient_k)
    return oil_layer(
        volume / wet_m2,
        start_k=room.ambient_k,
        cover_frac=wet_m2 / all_m2,
        emissivity=FILM_EMISSIVITY,
    )


def with_butter_water(layer: Layer, water_kg: float, room: Kitchen) -> Layer:
    """Return fat with the water of butter in it."""
    return dataclasses.replace(
        layer,
        mass_kg=water_kg,
        boil_k=room.boiling_k,
        release_1_ks=BUTTER_RELEASE_1_KS,
        mixing_s=BUTTER_STIRRED_S,
    )


def boiling_as(layer: Layer, *, pan: Pan, room: Kitchen) -> Layer:
    """Return water that boils as it does on the pan's face."""
    if not float(np.asarray(layer.film_kg_m2)) > 0.0:
        return layer
    steep = nucleate_w_m2k3(room.boiling_k, factor=surface_factor(pan.finish))
    return dataclasses.replace(layer, nucleate_w_m2k3=steep)


def base_height_m(x: FloatArray, *, y: FloatArray, generator: np.random.Generator) -> FloatArray:
    """Return the height of a base's face in each cell: hob out of level, pan bowed."""
    tilt = generator.normal(0.0, TILT_RAD, 2)
    bow = generator.uniform(-BOW_M, BOW_M)
    radius2 = float((x**2 + y**2).max())
    return np.asarray(tilt[0] * x + tilt[1] * y + bow * (1.0 - (x**2 + y**2) / radius2))


def fat_kg(base: Base) -> float:
    """Return the mass of oil, or of butter without its water, as it is measured out."""
    if base.contents == "butter":
        return float(base.volume_m3) * BUTTER_KG_M3 * (1.0 - BUTTER_WATER_FRAC)
    return float(base.volume_m3) * OIL_MEASURED_KG_M3


def refuse_contents(base: Base) -> None:
    """Name contents that contradict themselves."""
    if base.oil and base.contents not in ("oil", "butter"):
        raise InputError(
            f"base {base.name!r} is {base.contents} and names the oil {base.oil!r}; "
            'leave oil out, or set contents = "oil"'
        )
