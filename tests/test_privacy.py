import hashlib
import hmac

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coachlab import privacy
from coachlab.errors import DataError

KEY = b"0123456789abcdef"


def test_a_pseudonym_is_the_keyed_hash_of_the_name():
    expected = hmac.new(KEY, b"robin doe", hashlib.sha256).hexdigest()[:8]
    assert privacy.pseudonym("Robin Doe", KEY) == f"s-{expected}"


def test_case_and_blanks_make_no_other_person():
    assert (
        len({privacy.pseudonym(name, KEY) for name in ("Robin Doe", " robin  doe ", "ROBIN DOE", "Robin\u00a0Doe")})
        == 1
    )


def test_another_key_gives_another_id():
    assert privacy.pseudonym("Robin Doe", KEY) != privacy.pseudonym("Robin Doe", KEY[::-1])


def test_the_process_key_is_random_and_stays():
    assert privacy.process_key() == privacy.process_key()
    assert len(privacy.process_key()) == 32


def test_a_blank_name_and_a_short_key_are_refused():
    with pytest.raises(DataError, match="blank"):
        privacy.pseudonym("  ", KEY)
    with pytest.raises(DataError, match="bytes"):
        privacy.pseudonym("Robin Doe", b"short")


def test_a_column_is_hashed_as_its_names_are_and_blanks_stay_missing():
    names = pd.Series(["Robin Doe", None, "", "Kim Roe", "robin doe"], index=[3, 1, 4, 1, 5])
    ids = privacy.pseudonyms(names, KEY)
    assert ids.index.tolist() == names.index.tolist()
    assert ids.isna().tolist() == [False, True, True, False, False]
    assert ids.iloc[0] == ids.iloc[4] == privacy.pseudonym("Robin Doe", KEY)
    assert names.iloc[0] == "Robin Doe"


def test_ids_that_stand_already_are_left_alone():
    own = privacy.pseudonym("Robin Doe", KEY)
    ids = privacy.pseudonyms(pd.Series([own, "Q001", "Q002"]), KEY, known=frozenset({"Q001"}))
    assert ids.tolist() == [own, "Q001", privacy.pseudonym("Q002", KEY)]


@given(st.text(max_size=30))
def test_no_name_stands_in_its_id(name):
    if name.split():
        assert privacy.is_pseudonym(privacy.pseudonym(name, KEY))
