"""Where the folders that come with the package stand: the notebooks, and the demo data."""

import sysconfig
from pathlib import Path

from coachlab.errors import DataError


def shipped(name: str) -> Path:
    """Return a folder that comes with the package, ``"notebooks"`` or ``"data/demo"``.

    In a checkout it stands beside the package; a wheel puts it under ``share/coachlab`` of the environment.

    Raises
    ------
    DataError
        If it is in neither place.
    """
    beside = Path(__file__).resolve().parents[2]
    roots = [beside] if (beside / "pyproject.toml").is_file() else []
    # "data" is where a wheel's data files go; an installation for one user has its own
    schemes = {sysconfig.get_default_scheme(), sysconfig.get_preferred_scheme("user")}
    roots += [Path(sysconfig.get_path("data", scheme)) / "share" / "coachlab" for scheme in sorted(schemes)]
    for root in roots:
        if (root / name).is_dir():
            return root / name
    raise DataError(
        f"The folder {name} that comes with coachlab was looked for.",
        f"It is not in {' or '.join(map(str, roots))}.",
        "Install coachlab again, or run it from its own folder.",
        folder=name,
    )
