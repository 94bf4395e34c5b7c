"""A simulated academy with known truth: demo data, and the oracle of the tests.

Everything here is made up. `simulate_academy` draws it, `write_academy` writes it as an academy's bays and coaches
would, and `Academy.truth` says what a right analysis must find.
"""

from coachlab.academy.assumptions import Assumptions, BallSensor, HeadNumbers, Spread
from coachlab.academy.cards import CUES, TRUTHS, CueTruth
from coachlab.academy.demo import demo_readme, write_demo
from coachlab.academy.exports import write_academy
from coachlab.academy.simulate import simulate_academy
from coachlab.academy.value import LOG_COLUMNS, Academy

__all__ = [
    "CUES",
    "LOG_COLUMNS",
    "TRUTHS",
    "Academy",
    "Assumptions",
    "BallSensor",
    "CueTruth",
    "HeadNumbers",
    "Spread",
    "demo_readme",
    "simulate_academy",
    "write_academy",
    "write_demo",
]
