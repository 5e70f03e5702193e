"""Light through leather: the law, against slabs solved by other means and against published figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hidescan.anatomy.transmission import LightLaw, fit_law, thickness_of
from hidescan.settings import LightSettings
from tests.synthetic.slab import transmitted, transmitted_by_thickness

pytestmark = pytest.mark.filterwarnings("error")
SETTINGS = LightSettings()


@pytest.mark.parametrize(
    ("optical_thickness", "flux"),
    [(0.1, 0.9157), (0.5, 0.7040), (1.0, 0.5532), (2.0, 0.3900), (3.0, 0.3016), (5.0, 0.2077)],
)
def test_the_slab_of_the_tests_agrees_with_a_published_table(optical_thickness: float, flux: float) -> None:
    """Heaslet and Warming 1965, Int. J. Heat Mass Transfer 8, 979, as tabulated in handbooks (values from memory).

    Without absorption the light through an isotropically scattering slab is the radiative flux between black walls.
    """
    assert transmitted(optical_thickness, 1.0) == pytest.approx(flux, abs=3e-4)


def _dermis_per_mm(wavelength_nm: float) -> tuple[float, float]:
    """Reduced scattering and absorption of bloodless skin, 1/mm.

    Jacques 2013, Phys. Med. Biol. 58, R37, table 2: skin 46.0 (wavelength / 500 nm)^-1.421 per cm; and his baseline of
    bloodless dermis, 7.84e8 wavelength^-3.255 per cm (from memory).
    """
    return 4.6 * (wavelength_nm / 500) ** -1.421, 7.84e7 * wavelength_nm**-3.255


@pytest.mark.parametrize("wavelength_nm", [550.0, 600.0, 650.0])
def test_thickness_of_skin_with_published_properties(wavelength_nm: float) -> None:
    """Three readings of such skin make the law right between and a third beyond them; its depth is that of diffusion."""
    scattering, absorption = _dermis_per_mm(wavelength_nm)
    total = scattering + absorption
    d = np.array([0.8, 1.0, 1.3, 1.6, 2.0, 2.6])
    density = -np.log(transmitted_by_thickness(d * total, scattering / total))
    read = np.array([1, 2, 4])
    law = fit_law(density[read], d[read], np.full(3, 0.03), SETTINGS)
    assert law.thickness_mm(density) == pytest.approx(d, rel=0.06)


@given(st.floats(-2, 2), st.floats(-1, 3), st.floats(-0.4, 0.4))
def test_more_density_is_never_thinner_and_none_is_none(depth: float, scattering: float, tone: float) -> None:
    parameters = np.array([depth, scattering, tone])
    thickness = thickness_of(np.linspace(0, 12, 200), parameters)
    assert thickness[0] == pytest.approx(0.0, abs=1e-9)
    assert (np.diff(thickness) > 0).all()
    law = LightLaw(parameters, np.zeros((3, 3)), 0.0)
    assert law.density(thickness) == pytest.approx(np.linspace(0, 12, 200), abs=1e-6)


def test_it_takes_three_readings() -> None:
    with pytest.raises(ValueError, match="3 are needed"):
        fit_law(np.array([1.0, 2.0]), np.array([1.0, 1.5]), np.full(2, 0.1), SETTINGS)


def test_its_uncertainty_holds_over_leathers_and_tone_curves() -> None:
    """The law is told by a slab solved by other means, leather of uneven density, and phones' curves."""
    rng = np.random.default_rng(7)
    inside, off = [], []
    for _ in range(60):
        scattering, absorption = rng.uniform(3, 9), float(np.exp(rng.uniform(np.log(0.02), np.log(0.6))))
        d = np.linspace(0.2, 4.5, 40)
        light = transmitted_by_thickness(d * (scattering + absorption), scattering / (scattering + absorption), 6)
        tone = float(np.exp(rng.normal(0, 0.08)))

        def density(mm: np.ndarray, d: np.ndarray = d, light: np.ndarray = light, tone: float = tone) -> np.ndarray:
            return -np.log(np.interp(mm * (1 + rng.normal(0, 0.04, len(mm))), d, light)) / tone

        low = rng.uniform(0.8, 1.4)
        read = rng.uniform(low, low + 1.5, 8)
        law = fit_law(density(read), read + rng.normal(0, 0.05, 8), np.full(8, 0.05), SETTINGS)
        true = rng.uniform(read.min(), read.max(), 40)
        seen = density(true)
        got = law.thickness_mm(seen)
        inside.append(np.abs(got - true) < 2 * np.hypot(law.law_u_mm(seen), 0.04 * got))
        off.append(np.abs(got / true - 1))
    assert np.mean(np.concatenate(off) < 0.15) > 0.95
    assert 0.92 < np.mean(np.concatenate(inside)) < 0.99
