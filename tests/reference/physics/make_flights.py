"""Write flights.csv: flights integrated by SciPy's DOP853 from equations written a second time, in vectors.

Run ``python tests/reference/physics/make_flights.py``. Nothing of coachlab is imported: density, viscosity, coefficients,
spin axis and forces are all written here again, from the formulas of the sources. Tolerances 1e-11 relative and absolute,
no step above 0.02 s, the landing by an event.
"""

import csv
import sys
from pathlib import Path

import numpy as np
import scipy
from scipy.integrate import solve_ivp

M, R, G = 0.04593, 0.04267 / 2, 9.80665
AREA, INERTIA = np.pi * R**2, 0.40 * M * R**2
COLUMNS = [
    "ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg", "temperature_c", "altitude_m",
    "humidity", "tail_mps", "cross_mps", "profile", "aero", "carry_m", "side_m", "peak_m", "flight_s", "land_angle_deg",
    "land_speed_mps", "land_spin_rpm", "land_direction_deg",
]  # fmt: skip


def density(t, altitude, h):
    p = 101325 * (1 - 0.0065 * altitude / 288.15) ** (G * 0.0289644 / (8.31447 * 0.0065))
    T = t + 273.15
    psv = np.exp(np.polyval([1.2378847e-5, -1.9121316e-2, 33.93711047], T) - 6343.1645 / T)
    xv = h * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t) * psv / p
    Z = (
        1
        - (p / T)
        * (
            np.polyval([1.1043e-10, -2.9331e-8, 1.58123e-6], t)
            + (5.707e-6 - 2.051e-8 * t) * xv
            + (1.9898e-4 - 2.376e-6 * t) * xv**2
        )
        + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * xv**2)
    )
    return p * 0.02896546 / (Z * 8.314472 * T) * (1 - xv * (1 - 0.01801528 / 0.02896546))


def ferguson(S, Re):
    sd, sl = min(S, 0.9287 / 1.6518), min(S, 1.2031 / 2.298)
    return 0.1304 + 0.9287 * sd - 0.8259 * sd**2, 0.0504 + 1.2031 * sl - 1.1490 * sl**2


def naruo(S, Re):
    S = min(S, 1.13)
    return (
        0.2049 + 0.2148 * S + 1.098 * S**2 - 1.760 * S**3 + 0.7510 * S**4,
        0.0616 + 1.250 * S - 1.644 * S**2 + 1.006 * S**3 - 0.2158 * S**4,
    )


def mean(S, Re):
    return np.mean([ferguson(S, Re), naruo(S, Re)], axis=0)


def patent(S, Re):
    S, Re = min(S, 0.218), float(np.clip(Re / 1e5, 0.81, 2.0))
    return 0.2028 + 2.8466 * S**2 + 0.0165 * Re - 0.2159 * S, 0.0860 + 0.6463 * S - 0.0122 * Re**-2 + 1.4789 * S**2


MODELS = {"mean": mean, "ferguson": ferguson, "naruo": naruo, "patent": patent}


def fly(speed, up, out, spin, tilt, t, altitude, h, tail, cross, profile, aero):
    rho = density(t, altitude, h)
    mu = 1.716e-5 * ((t + 273.15) / 273.15) ** 1.5 * 383.55 / (t + 273.15 + 110.4)
    a, az, tau = np.radians([up, out, tilt])
    forward, right, vertical = (
        np.array([np.cos(az), -np.sin(az), 0]),
        np.array([-np.sin(az), -np.cos(az), 0]),
        np.array([0, 0, 1.0]),
    )
    start = speed * (np.cos(a) * forward + np.sin(a) * vertical)
    # perpendicular to the start, elevation -tau seen as the right-handed axis, and pointing to the right of the flight
    along = np.sin(tau) * np.tan(a)
    axis = along * forward + np.sqrt(1 - np.sin(tau) ** 2 - along**2) * right - np.sin(tau) * vertical
    wind_at_10 = np.array([tail, -cross, 0.0])

    def change(_, s):
        height = max(s[2], 0.0)
        share = np.log((height + 0.03) / 0.03) / np.log(10.03 / 0.03) if profile == "log" else 1.0
        v = s[3:6] - share * wind_at_10
        V = np.linalg.norm(v)
        side = np.cross(axis, v)
        S = R * s[6] * np.linalg.norm(side) / V**2
        cd, cl = MODELS[aero](S, rho * V * 2 * R / mu)
        cl = cl * (1 - np.exp(-S / 0.01))
        acceleration = (
            -G * vertical
            - rho * AREA / (2 * M) * cd * V * v
            + rho * AREA / (2 * M) * cl * V**2 * side / np.linalg.norm(side)
        )
        return np.concatenate([s[3:6], acceleration, [-rho * AREA * R * 0.010 * R / INERTIA * V * s[6]]])

    def down(time, s):
        return s[2] if time > 1e-6 else 1.0

    def top(_, s):
        return s[5]

    down.terminal, down.direction, top.direction = True, -1, -1
    state = np.concatenate([np.zeros(3), start, [spin * 2 * np.pi / 60]])
    answer = solve_ivp(change, (0, 60), state, "DOP853", events=(down, top), rtol=1e-11, atol=1e-11, max_step=0.02)
    end = answer.y_events[0][0]
    flat = np.hypot(end[3], end[4])
    return (
        np.hypot(end[0], end[1]),
        -end[1],
        max(row[2] for row in answer.y_events[1]),
        answer.t_events[0][0],
        np.degrees(np.arctan2(-end[5], flat)),
        np.linalg.norm(end[3:6]),
        end[6] * 60 / (2 * np.pi),
        np.degrees(np.arctan2(-end[4], end[3])),
    )


def main(shots=160):
    """Shots from chip to drive, a fifth of them extreme, in all models, half of them in a wind."""
    rng = np.random.default_rng(20)
    rows = []
    for i in range(shots):
        speed = 8.0 if i == 0 else 85.0 if i == 1 else rng.uniform(8, 85)
        # a usual shot: slower ones higher, with less spin at chip speed
        up = 40 - 0.38 * speed + rng.normal(0, 3) if i % 5 else rng.uniform(1, 60)
        spin = max(speed * (150 - 1.4 * speed) + rng.normal(0, 400), 100) if i % 5 else rng.uniform(50, 12000)
        tilt = rng.normal(0, 8) if i % 5 else rng.uniform(-0.9, 0.9) * (90 - up)
        windy = i % 2
        launch = (speed, max(up, 1.0), rng.normal(0, 4), spin, tilt)
        air = (rng.uniform(0, 35), rng.choice([0.0, 200.0, 1600.0]), rng.uniform(0, 1))
        wind = (rng.uniform(-12, 12), rng.uniform(-8, 8)) if windy else (0.0, 0.0)
        profile = "log" if windy and i % 4 == 3 else "uniform"
        aero = ["mean", "ferguson", "naruo", "patent"][(i // 4) % 4]
        shot = (*launch, *air, *wind, profile, aero)
        rows.append([*shot, *fly(*shot)])
    with open(Path(__file__).with_name("flights.csv"), "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows([value if isinstance(value, str) else repr(float(value)) for value in row] for row in rows)
    print(
        f"{len(rows)} flights with Python {sys.version.split()[0]}, NumPy {np.__version__}, SciPy {scipy.__version__}"
    )


if __name__ == "__main__":
    main()
