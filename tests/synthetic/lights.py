"""Spectra of lights, 2,700 to 6,500 K, relative power at 400 to 700 nm."""

from __future__ import annotations

import numpy as np

from tests.synthetic.spectra import NM, Floats, table

KINDS = ("tungsten", "daylight", "led", "led-red", "fluorescent", "fluorescent-old")


def planck(kelvin: float) -> Floats:
    """Return a glowing body's spectrum (Planck's law), 1 at 560 nm."""
    metre = NM * 1e-9
    power = metre**-5 / (np.exp(1.4388e-2 / (metre * kelvin)) - 1)
    return np.asarray(power / power[NM == 560])


def daylight(kelvin: float) -> Floats:
    """Return CIE daylight of 4,000 K and more (CIE 15:2018, 4.1.2), 1 at 560 nm."""
    t = max(kelvin, 4000.0)
    if t <= 7000:
        x = -4.6070e9 / t**3 + 2.9678e6 / t**2 + 0.09911e3 / t + 0.244063
    else:
        x = -2.0064e9 / t**3 + 1.9018e6 / t**2 + 0.24748e3 / t + 0.237040
    y = -3.000 * x**2 + 2.870 * x - 0.275
    m = 0.0241 + 0.2562 * x - 0.7341 * y
    m1, m2 = (-1.3515 - 1.7703 * x + 5.9114 * y) / m, (0.0300 - 31.4424 * x + 30.0717 * y) / m
    column = table()
    return np.asarray((column["S0"] + m1 * column["S1"] + m2 * column["S2"]) / 100)


def _bump(middle: float, width: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((NM - middle) / width) ** 2))


def _matching() -> Floats:
    column = table()
    return np.stack([column["x2"], column["y2"], column["z2"]])


def led(kelvin: float) -> Floats:
    """Return a white LED: a blue pump at 450 nm and a broad phosphor (invented shape)."""
    warm = np.clip((6500 - kelvin) / 3800, 0, 1)
    pump, phosphor = _bump(450, 11), _bump(558 + 38 * warm, 50 + 6 * warm)
    _, Y, Z = _matching() @ planck(kelvin)
    (_, y1, z1), (_, y2, z2) = _matching() @ pump, _matching() @ phosphor
    share = (z2 - y2 * Z / Y) / (y1 * Z / Y - z1)  # the light's Z over Y as a glowing body's
    return np.asarray(share * pump + phosphor)


def led_with_red(kelvin: float) -> Floats:
    """Return a white LED with a green and a red phosphor, better at reds, with a glowing body's X, Y and Z (invented)."""
    return _mixed(kelvin, np.zeros(len(NM)), np.stack([_bump(452, 12), _bump(540, 42), _bump(622, 32)]))


def _mixed(kelvin: float, fixed: Floats, bumps: Floats) -> Floats:
    """Mix three bumps (3, 31) so that with the fixed part the light has a glowing body's X, Y and Z."""
    amounts = np.linalg.solve(_matching() @ bumps.T, _matching() @ (planck(kelvin) - fixed))
    return np.asarray(np.clip(amounts, 0, None) @ bumps + fixed)


def fluorescent(kelvin: float) -> Floats:
    """Return a three-band lamp: phosphors near 450, 545 and 611 nm, mercury lines at 405, 436 and 578 nm (invented)."""
    lines = 0.4 * _bump(405, 4) + 1.0 * _bump(436, 5) + 0.5 * _bump(578, 5) + 0.6 * _bump(490, 7) + 0.12
    _, Y, Z = _matching() @ planck(kelvin)
    lines = lines * (0.15 * Y / (_matching()[1] @ lines)) * min(1.0, Z / Y)
    return _mixed(kelvin, lines, np.stack([_bump(450, 18), _bump(545, 7), _bump(611, 7)]))


def light(kind: str, kelvin: float) -> Floats:
    """Return the (31,) spectrum of a light, Y (CIE 1931) = 1."""
    if kind == "tungsten":
        power = planck(kelvin)
    elif kind == "daylight":
        power = daylight(kelvin)
    elif kind == "led":
        power = led(kelvin)
    elif kind == "led-red":
        power = led_with_red(kelvin)
    elif kind == "fluorescent":
        power = fluorescent(kelvin)
    elif kind == "fluorescent-old":
        power = table()["FL2"]
    elif kind in ("D50", "D65", "FL11"):
        power = table()[kind]
    else:
        raise ValueError(f"no light called {kind!r}")
    return np.asarray(power / (_matching()[1] @ power))
