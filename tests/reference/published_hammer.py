"""Published values of water hammer that both the closed forms and the stepped delivery line are held against."""

from __future__ import annotations

LENGTH, WAVE_SPEED = 37.23, 1319.0
"""Of a rig after Bergant and Simpson 1999 [m], [m/s]; dimensions read."""

SUDDEN_HIGH, SUDDEN_LOW, SUDDEN_REFLECTION = 58.900, 5.100, 0.056452
"""Sudden closing without friction of 0.2 m/s under 32 m (Joukowsky 1898): heads at the valve by turns [m], and the time
in which a wave returns [s]."""

ALLIEVI_SOURCE = "Allievi 1913, interlocking equations"
ALLIEVI_HIGHEST = [
    (0.5, 1.0, 2.0000),
    (0.5, 2.0, 1.4069),
    (0.5, 3.0, 1.2536),
    (1.0, 1.0, 3.0000),
    (1.0, 2.0, 1.7519),
    (1.0, 3.0, 1.4330),
    (2.0, 1.0, 5.0000),
    (2.0, 2.0, 2.7990),
    (2.0, 3.0, 1.9523),
]
"""Linear closing: rho = a V0/(2 g H0), theta = closing time over reflection time, highest head over H0."""

FIRST_CAVITY = {
    "first head": 62.350,
    "collapse": 0.12101,
    "head after collapse": 46.150,
    "pulse": 110.650,
    "pulse begins": 0.16936,
    "pulse ends": 0.17746,
}
"""First cavity at a valve shut at once on 0.30 m/s under 22 m with vapour at -10.25 m, by the wave equations in closed
form [m], [s]."""
