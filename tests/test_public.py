import inspect
import json
import subprocess
import sys
from pathlib import Path

import pytest

import coachlab
from coachlab import schema, units

PACKAGE = Path(coachlab.__file__).parent
DEFAULTS = {"level": 0.95, "seed": None, "ax": None}
"""Options that mean the same everywhere, and so have one default everywhere."""
BARE = {"humidity", "direction", "dose_value"}
"""Numbers without a unit suffix: a fraction, a sign, and an amount whose unit stands in the column beside it."""


def test_importing_the_package_loads_nothing_heavy_and_draws_nothing():
    code = "import sys, json; import coachlab; print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))"
    loaded = json.loads(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout)
    assert "coachlab" in loaded
    assert set(loaded).isdisjoint(
        {"numpy", "pandas", "scipy", "matplotlib", "IPython", "ipywidgets", "statsmodels", "rich"}
    )


@pytest.mark.parametrize("name", coachlab.__all__)
def test_each_public_name_loads_and_says_what_it_is(name):
    value = getattr(coachlab, name)
    assert value.__name__ == name
    assert inspect.getdoc(value)


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'nothing_of_the_kind'"):
        _ = coachlab.nothing_of_the_kind


def test_no_public_name_is_hidden_by_a_module():
    modules = {path.stem for path in PACKAGE.glob("*.py")} | {path.name for path in PACKAGE.iterdir() if path.is_dir()}
    assert len(modules) > 5
    assert modules.isdisjoint(coachlab.__all__)


def test_every_error_of_the_package_is_public():
    from coachlab import errors

    kinds = {name for name, value in vars(errors).items() if inspect.isclass(value)}
    assert kinds <= set(coachlab.__all__)


@pytest.mark.parametrize("name", coachlab.__all__)
def test_no_public_signature_swallows_a_misspelt_option(name):
    for signature in signatures(getattr(coachlab, name)):
        kinds = {parameter.kind for parameter in signature.parameters.values()}
        assert inspect.Parameter.VAR_KEYWORD not in kinds


@pytest.mark.parametrize("name", coachlab.__all__)
def test_the_same_option_has_the_same_default_everywhere(name):
    for signature in signatures(getattr(coachlab, name)):
        found = {key: value.default for key, value in signature.parameters.items() if key in DEFAULTS}
        assert found == {key: DEFAULTS[key] for key in found}


@pytest.mark.parametrize("table", schema.TABLES)
def test_every_column_ends_in_its_unit_or_is_declared_to_have_none(table):
    for name, column in schema.TABLES[table].items():
        if column.kind == "number" and name not in BARE:
            assert units.suffix_of(name) in units.SUFFIXES, name
        if column.kind in ("label", "flag"):
            assert units.suffix_of(name) in (None, "_0_10"), name


def signatures(value):
    """Every signature of a public function or class with its public methods; errors take facts of any name."""
    if inspect.isclass(value) and issubclass(value, Exception):
        return []
    methods = []
    if inspect.isclass(value):
        methods = [method for name, method in inspect.getmembers(value, callable) if not name.startswith("_")]
    return [inspect.signature(each) for each in [value, *methods]]
