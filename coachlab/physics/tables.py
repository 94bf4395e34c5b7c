"""Every coefficient of strike, flight, air and arc as plain numbers, for a twin of this physics elsewhere."""

from dataclasses import asdict

import numpy as np

from coachlab.physics import motion
from coachlab.physics.aero import ENSEMBLE, FITS, NO_SPIN_NO_LIFT, PARTS
from coachlab.physics.air import (
    CIPM_2007,
    GRAVITY_MPS2,
    ROUGHNESS_M,
    SEA_LEVEL_PA,
    STANDARD_ATMOSPHERE,
    SUTHERLAND,
    WIND_REFERENCE_M,
    Air,
)
from coachlab.physics.arc import ARCS
from coachlab.physics.flight import SPIN_DECAY
from coachlab.physics.impact import E_LOSS_PER_MPS, HEADS
from coachlab.physics.launch import BALL_KG, BALL_RADIUS_M, INERTIA_SHARE


def physics_tables() -> dict[str, object]:
    """Return all coefficients of the default model and its ensemble as a dict that JSON can hold.

    A flat face has ``bulge_mm`` None; polynomials have their lowest power first. Nothing is typed here: each number
    is read from the module that uses it.

    >>> sorted(physics_tables())
    ['aero', 'air', 'arcs', 'ball', 'e_loss_per_mps', 'heads', 'spin_decay', 'steps']
    """
    heads = {name: asdict(head) for name, head in HEADS.items()}
    for head in heads.values():
        head["bulge_mm"] = head["bulge_mm"] if np.isfinite(head["bulge_mm"]) else None
    fits = {}
    for name, fit in FITS.items():
        values = fit._asdict()
        values["re_low"], values["re_high"] = values.pop("re_span")
        fits[name] = values
    gas, dry, vapour = CIPM_2007["molar"]
    lapse, sea_k, standard_kg, standard_gas = STANDARD_ATMOSPHERE
    d, e = CIPM_2007["de"]
    return {
        "ball": {"mass_kg": BALL_KG, "radius_m": BALL_RADIUS_M, "inertia_share": INERTIA_SHARE},
        "heads": heads,
        "e_loss_per_mps": E_LOSS_PER_MPS,
        "arcs": {name: asdict(arc) for name, arc in ARCS.items()},
        "aero": {
            "fits": fits,
            "models": {name: list(parts) for name, parts in PARTS.items()},
            "ensemble": list(ENSEMBLE),
            "no_spin_no_lift": NO_SPIN_NO_LIFT,
        },
        "spin_decay": SPIN_DECAY,
        "air": {
            "gravity_mps2": GRAVITY_MPS2,
            "sea_level_pa": SEA_LEVEL_PA,
            "humidity": Air().humidity,
            "reference_m": WIND_REFERENCE_M,
            "roughness_m": ROUGHNESS_M,
            "gas": gas,
            "dry_kg_per_mol": dry,
            "vapour_kg_per_mol": vapour,
            "lapse_k_per_m": lapse,
            "sea_level_k": sea_k,
            "standard_kg_per_mol": standard_kg,
            "standard_gas": standard_gas,
            "viscosity": SUTHERLAND,
            "saturation": CIPM_2007["saturation"],
            "enhancement": CIPM_2007["enhancement"],
            "compressibility": {name: CIPM_2007[name] for name in "abc"} | {"d": d, "e": e},
        },
        "steps": {
            "step_s": motion.STEP_S,
            "first_step_s": motion.FIRST_STEP_S,
            "growth": motion.STEP_GROWTH,
            "longest_s": motion.LONGEST_S,
        },
    }
