"""Reference values for cross_check.rs, by a general-purpose numeric library.

    python3 tests/analysis/cross_check.py > fixtures/cross_check.csv

Needs numpy and scipy. Signals are defined by formulas that cross_check.rs repeats; the fits here are plain least
squares on the whole signal, with no window, no transform and no search but scipy's own.
"""

import numpy as np
import scipy
from scipy import optimize, stats

# name, rate Hz, seconds, f0 Hz, partials, exponent of the fall, amplitude of the first partial, noise, second series
CASES = [
    ("middle", 48000, 2.0, 440.7, 12, 1.0, 1.0, 1e-3, None),
    ("bass", 44100, 3.0, 55.3, 30, 0.5, 0.05, 1e-3, None),
    ("high", 48000, 1.5, 1760.9, 8, 1.5, 1.0, 1e-3, None),
    ("near", 48000, 3.0, 392.1, 12, 1.0, 1.0, 1e-3, (9.3, 0.03)),
    ("flat", 44100, 3.0, 220.4, 16, 0.7, 1.0, 1e-3, (-14.2, 0.02)),
    ("other", 48000, 2.5, 262.2, 14, 1.0, 1.0, 1e-3, (203.1, 0.01)),
]


def noise(n):
    """Even in -1..1, from a linear congruence modulo 2^32."""
    state, values = 1, np.empty(n)
    for i in range(n):
        state = (1664525 * state + 1013904223) % 2**32
        values[i] = state / 2**31 - 1.0
    return values


def series(t, f0, amplitudes, twist):
    x = np.zeros_like(t)
    for k, a in enumerate(amplitudes, start=1):
        x += a * np.cos(2 * np.pi * k * f0 * t + twist * k * k)
    return x


def amplitudes(n, fall, first):
    a = np.arange(1, n + 1) ** -fall
    a[0] *= first
    return a


def basis(t, f0, n):
    columns = []
    for k in range(1, n + 1):
        columns += [np.cos(2 * np.pi * k * f0 * t), np.sin(2 * np.pi * k * f0 * t)]
    return np.column_stack(columns)


def fit(x, matrix):
    weights, *_ = np.linalg.lstsq(matrix, x, rcond=None)
    return weights, np.sum((x - matrix @ weights) ** 2)


def one(name, quantity, value):
    print(f"{name},{quantity},{value!r}" if isinstance(value, str) else f"{name},{quantity},{value:.12g}")


print(f"# numpy {np.__version__} and scipy {scipy.__version__}; see cross_check.py for what stands behind each line")
print("case,quantity,value")
for name, rate, seconds, f0, n, fall, first, noise_level, second in CASES:
    t = np.arange(int(rate * seconds)) / rate
    a = amplitudes(n, fall, first)
    x = series(t, f0, a, 0.7) + noise_level * noise(len(t))
    if second:
        x = x + second[1] * series(t, f0 * 2 ** (second[0] / 1200), a, 1.1)
    x = 0.1 * x
    # About the middle of the signal the pitch and the phases do not depend on each other.
    u = t - t.mean()
    width = 0.2 / seconds / n
    if second:
        cost = lambda p: fit(x, np.hstack([basis(u, p[0], n), basis(u, p[1], n)]))[1]
        start = [f0, f0 * 2 ** (second[0] / 1200)]
        corners = [start, [start[0] + 0.01, start[1]], [start[0], start[1] + 0.02]]
        options = {"initial_simplex": corners, "xatol": 1e-8, "fatol": 1e-16, "maxiter": 160}
        p = optimize.minimize(cost, start, method="Nelder-Mead", options=options).x
        weights, _ = fit(x, np.hstack([basis(u, p[0], n), basis(u, p[1], n)]))
        main, other = weights[: 2 * n], weights[2 * n :]
        one(name, "offset_cents", 1200 * np.log2(p[1] / p[0]))
        one(name, "second_level_db", 10 * np.log10(np.sum(other**2) / np.sum(main**2)))
        pitch = p[0]
    else:
        cost = lambda f: fit(x, basis(u, f, n))[1]
        found = optimize.minimize_scalar(cost, bounds=(f0 - width, f0 + width), method="bounded", options={"xatol": 1e-10})
        main, pitch = fit(x, basis(u, found.x, n))[0], found.x
    one(name, "f0_hz", pitch)
    levels = 10 * np.log10(main[0::2] ** 2 + main[1::2] ** 2)
    for k, level in enumerate(levels - levels.max(), start=1):
        one(name, f"partial_{k}_db", level)
    one(name, "level_dbfs", 10 * np.log10(np.mean(x**2)))

for hits, trials in [(0, 59), (18, 20), (97, 100), (488, 500), (3, 1500), (500, 500)]:
    low = stats.beta.ppf(0.025, hits, trials - hits + 1) if hits else 0.0
    high = stats.beta.ppf(0.975, hits + 1, trials - hits) if hits < trials else 1.0
    one("binomial", f"{hits}_of_{trials}_low", low)
    one("binomial", f"{hits}_of_{trials}_high", high)
