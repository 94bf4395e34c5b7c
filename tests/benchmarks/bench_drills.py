"""How long a trainee waits for a question: drawn, and held under every model of ball and face."""

import time

import numpy as np
from timing import Row

import coachlab as cl
from coachlab.drills import EXERCISES
from coachlab.drills.worlds import Worlds, usual
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.impact import Delivery

VARIANTS = 6
OPTIONS = 4
AT_ONCE_S = 0.05
"""What a reader takes for at once; a miss is printed beside the row."""


def measure() -> list[Row]:
    """Time questions of all exercises, each in turn with the balls of one question flown one at a time."""
    worlds = Worlds()
    shots = [usual("driver", face_open_deg=float(face)) for face in range(OPTIONS)]
    ours: dict[str, list[float]] = {name: [] for name in EXERCISES}
    alone = []
    for variant in range(VARIANTS + 1):
        for name in EXERCISES:
            taken = seconds(lambda name=name, variant=variant: cl.drill(name, seed=1, variant=variant))
            if variant:  # the first turn loads what is loaded when first used
                ours[name].append(taken)
        if variant:
            alone.append(seconds(lambda: one_at_a_time(shots, worlds)))
    slowest = max(ours, key=lambda name: np.median(ours[name]))
    every = [taken for times in ours.values() for taken in times]
    yardstick = {
        "yardstick": "the balls of one question, each flown alone",
        "yardstick_s": float(np.median(alone)),
        "aim": 1.0,
    }
    late = "" if np.quantile(every, 0.95) <= AT_ONCE_S else ", later than at once"
    return [
        Row(what="a question, median of 24", ours_s=float(np.median(every)), **yardstick),
        Row(what=f"a question, p95{late}", ours_s=float(np.quantile(every, 0.95)), **yardstick),
        Row(what=f"a question of {slowest}, the slowest", ours_s=float(np.median(ours[slowest])), **yardstick),
    ]


def one_at_a_time(shots: list, worlds: Worlds) -> None:
    """Strike and fly each delivery under each model, by plain calls."""
    names = ("club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg")
    for controls in shots:
        delivery = Delivery(**{name: controls[name] for name in names})
        for e_t in worlds.grips_of("driver"):
            launch = cl.strike(delivery, "driver", float(e_t))
            for aero in ENSEMBLE:
                cl.fly(launch, None, aero)


def seconds(action) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start
