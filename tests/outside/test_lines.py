"""Straight lines against certified and published fits."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from pulsewright_analysis.lines import fit_line


def norris() -> tuple[np.ndarray, np.ndarray]:
    """Return x and y of the data file that ships inside SciPy."""
    path = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"
    rows = np.loadtxt(path, skiprows=60)
    return rows[:, 1], rows[:, 0]


def test_norris_certified_values():
    """Source: NIST Statistical Reference Datasets, Norris (certified to 15 digits)."""
    x, y = norris()
    line = fit_line(x, y)
    assert len(x) == 36
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.intercept_u == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.slope_u == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert line.residual_std == pytest.approx(0.884796396144373, rel=1e-9)


THERMOMETER_T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
THERMOMETER_B = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])


def test_thermometer_calibration():
    """Source: JCGM 100:2008, H.3, table H.6 and the results stated in H.3.3."""
    line = fit_line(THERMOMETER_T - 20, THERMOMETER_B)
    correlation = line.covariance[0, 1] / (line.intercept_u * line.slope_u)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.intercept_u == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_u == pytest.approx(0.00067, abs=5e-6)
    assert correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_std == pytest.approx(0.0035, abs=5e-5)


def test_prediction_from_the_thermometer_line():
    """Source: JCGM 100:2008, H.3.4: at 30 °C −0.1494 °C with u = 0.0041 °C."""
    value, u = fit_line(THERMOMETER_T - 20, THERMOMETER_B).predicted(10.0)
    assert value == pytest.approx(-0.1494, abs=1e-4)
    assert u == pytest.approx(0.0041, abs=5e-5)


def test_weighted_line():
    """Source: ISO/TS 28037:2010, clause 6, recomputed to the digits given."""
    y = np.array([3.2, 4.3, 7.6, 8.6, 11.7, 12.8])
    u = np.array([0.5, 0.5, 0.5, 1.0, 1.0, 1.0])
    line = fit_line(np.arange(1.0, 7.0), y, u, from_scatter=False)
    assert line.intercept == pytest.approx(0.885, abs=5e-4)
    assert line.slope == pytest.approx(2.057, abs=5e-4)
    assert line.intercept_u == pytest.approx(0.530, abs=5e-4)
    assert line.slope_u == pytest.approx(0.178, abs=5e-4)
    assert line.covariance[0, 1] == pytest.approx(-0.082, abs=5e-4)
    assert line.chi_squared == pytest.approx(4.131, abs=5e-4)
