"""Which cue works for which swing pattern, and how sure are we.

The public names are loaded when first used (PEP 562), so that ``import coachlab`` costs next to nothing.
"""

from importlib import import_module

_HOMES = {
    "coachlab.errors": (
        "CoachlabError",
        "DataError",
        "FitError",
        "FlightError",
        "FormulaError",
        "LibraryError",
        "MapError",
    ),
    "coachlab.settings": ("Settings", "read_settings", "read_cues"),
    "coachlab.intake.shots": ("Shots",),
    "coachlab.intake.combine": ("combine_shots",),
    "coachlab.intake.columns": ("ColumnMap",),
    "coachlab.intake.read": ("read_shots",),
    "coachlab.intake.guess": ("propose_map",),
    "coachlab.intake.clean": ("clean_shots", "exclude"),
    "coachlab.intake.log": ("join_log",),
    "coachlab.intake.bring": ("bring_shots", "save_shots"),
    "coachlab.intake.cleaning": ("audit_shots", "cleaning_report"),
    "coachlab.intake.clock": ("find_offset",),
    "coachlab.intake.decide": ("apply_decisions", "restore"),
    "coachlab.intake.infer": ("infer_delivery",),
    "coachlab.intake.study": ("read_study",),
    "coachlab.physics.arc": ("arc_azimuth",),
    "coachlab.physics.air": ("Air",),
    "coachlab.physics.impact": ("Delivery", "check_delivery", "strike"),
    "coachlab.physics.launch": ("Launch", "check_launch"),
    "coachlab.physics.flight": ("Flight", "fly"),
    "coachlab.physics.roll": ("roll_out",),
    "coachlab.physics.inverse": ("infer_club",),
    "coachlab.orders": ("draw_orders",),
    "coachlab.worth": (
        "costliest",
        "shift_worth",
        "split_path",
        "student_windows",
        "target_window",
        "useful_shifts",
    ),
    "coachlab.drills.draw": ("drill",),
    "coachlab.drills.marking": ("mark",),
    "coachlab.drills.pages": ("explain_flight",),
    "coachlab.drills.progress": ("drill_progress",),
    "coachlab.academy": ("simulate_academy",),
    "coachlab.mixed.moments": ("moments", "Moments"),
    "coachlab.mixed.fit": ("fit_mixed",),
    "coachlab.mixed.bootstrap": ("bootstrap",),
    "coachlab.mixed.boundary": ("spread_test",),
    "coachlab.mixed.profile": ("profile_spread",),
    "coachlab.mixed.estimates": ("contrasts", "means", "predictions"),
    "coachlab.mixed.newcomer": ("new_level",),
    "coachlab.cues.table": ("model_table",),
    "coachlab.cues.grade": ("evidence_grade",),
    "coachlab.cues.shift": ("cue_shifts",),
    "coachlab.cues.diagnose": ("diagnose",),
    "coachlab.cues.second": ("second_opinion",),
    "coachlab.cues.split": ("free_and_earned",),
    "coachlab.cues.value": ("cue_worth",),
    "coachlab.widgets.explorer": ("explore_cues",),
    "coachlab.widgets.trust": ("explore_trust",),
    "coachlab.widgets.chooser": ("choose_student",),
    "coachlab.widgets.flight": ("flight_page",),
    "coachlab.widgets.bring": ("bring_panel",),
    "coachlab.widgets.logbook": ("lesson_panel",),
    "coachlab.widgets.cardbook": ("cards_panel",),
    "coachlab.widgets.mapping": ("map_panel",),
    "coachlab.widgets.drill": ("drill_panel",),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)


def __getattr__(name: str) -> object:
    if name not in _HOME_OF:
        raise AttributeError(f"module 'coachlab' has no attribute {name!r}")
    value = getattr(import_module(_HOME_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
