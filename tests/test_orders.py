"""Balance counted out, order by order."""

from collections import Counter

import numpy as np
import pytest

from coachlab.errors import DataError
from coachlab.orders import ORDER_COLUMNS, deal, draw_orders, draw_pairs, williams_orders

SIZES = [2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("k", SIZES)
def test_each_condition_stands_equally_often_in_each_period(k):
    orders = williams_orders(k)
    times = len(orders) // k
    assert len(orders) == (2 * k if k % 2 else k)
    for period in orders.T:
        assert Counter(period.tolist()) == dict.fromkeys(range(k), times)


@pytest.mark.parametrize("k", SIZES)
def test_each_condition_follows_each_other_equally_often(k):
    orders = williams_orders(k)
    pairs = Counter((int(a), int(b)) for row in orders for a, b in zip(row[:-1], row[1:], strict=True))
    assert set(pairs) == {(a, b) for a in range(k) for b in range(k) if a != b}
    assert set(pairs.values()) == {2 if k % 2 else 1}


def test_the_orders_of_three_and_four_are_the_published_ones():
    assert ["".join(map(str, row)) for row in williams_orders(3).tolist()] == ["012", "120", "201", "210", "021", "102"]
    assert ["".join(map(str, row)) for row in williams_orders(4).tolist()] == ["0132", "1203", "2310", "3021"]


@pytest.mark.parametrize("k", SIZES)
def test_every_set_of_students_holds_each_order_once(k):
    drawn = draw_orders([f"c{number}" for number in range(k)], 3 * len(williams_orders(k)), seed=k)
    for _, one_set in drawn.table.groupby("set"):
        assert sorted(one_set["order_plan"]) == sorted(drawn.plans)


def test_the_table_has_fixed_columns_and_plans_of_single_blanks():
    drawn = draw_orders(["plain", "I2", "S1"], ["q1", "q2"], seed=11)
    assert tuple(drawn.table.columns) == ORDER_COLUMNS
    assert drawn.table["student"].tolist() == ["q1", "q2"]
    assert drawn.table["order_seed"].tolist() == ["11", "11"]
    for plan in drawn.table["order_plan"]:
        assert sorted(plan.split(" ")) == ["I2", "S1", "plain"]


def test_the_same_seed_gives_the_same_draw_and_seal_and_another_does_not():
    first, again = (draw_orders(["plain", "I2"], 24, seed=5) for _ in range(2))
    assert first.table.equals(again.table)
    assert first.seal == again.seal
    other = draw_orders(["plain", "I2"], 24, seed=6)
    assert not first.table["order_plan"].equals(other.table["order_plan"])
    assert first.seal != other.seal


def test_a_draw_without_a_seed_keeps_the_one_it_drew():
    drawn = draw_orders(["plain", "I2"], 24)
    again = draw_orders(["plain", "I2"], 24, seed=drawn.seed)
    assert drawn.table.equals(again.table)


def test_pairs_hold_plain_and_cue_once_each_and_both_orders_equally_often():
    drawn = draw_pairs("I2", 40, seed=3)
    first = Counter()
    for plan in drawn.table["order_plan"]:
        blocks = plan.split(" ")
        assert sorted(blocks[:2]) == sorted(blocks[2:]) == ["I2", "plain"]
        first[blocks[0]] += 1
    assert first == {"plain": 20, "I2": 20}
    assert drawn.table["order_plan"].nunique() == 4


def test_the_sentence_gives_nobodys_order_away_and_the_card_does():
    drawn = draw_orders(["plain", "I2"], ["q1", "q2", "q3"], seed=1)
    assert "plain" not in drawn.text()
    assert "q1" not in drawn._repr_html_()
    assert "not every order is dealt equally often" in drawn.text()
    assert drawn.card("q2") == f"q2: {drawn.table['order_plan'][1].replace(' ', ', then ')}."


def test_dealing_favours_no_order_at_any_place():
    # 2,000 draws of 4 orders: a share of 1/4 has a standard error of 0.0097; four of them are allowed
    rng = np.random.default_rng(0)
    place = np.array([deal(4, 6, rng) for _ in range(2000)])
    share = np.array([(place == order).mean(axis=0) for order in range(4)])
    assert np.abs(share - 0.25).max() < 4 * 0.0097


@pytest.mark.parametrize(
    ("conditions", "students", "found"),
    [
        (["plain"], 4, "Conditions were given as"),
        ("plain", 4, "Conditions were given as"),
        (["plain", "plain"], 4, "stands there twice"),
        (["plain", "ball forward"], 4, "holds a blank"),
        (["plain", ""], 4, "is empty"),
        (["plain", "I2"], 0, "0 students"),
        (["plain", "I2"], [], "No student"),
        (["plain", "I2"], ["q1", "q1"], "'q1' stands there twice"),
        (["plain", "I2"], "q1", "as one text"),
    ],
)
def test_what_cannot_be_ordered_is_refused(conditions, students, found):
    with pytest.raises(DataError, match=found):
        draw_orders(conditions, students, seed=0)


def test_a_card_of_nobody_and_pairs_of_none_are_refused():
    with pytest.raises(DataError, match="'q9' is not among them"):
        draw_orders(["plain", "I2"], ["q1"], seed=0).card("q9")
    with pytest.raises(DataError, match="0 pairs"):
        draw_pairs("I2", 4, pairs=0, seed=0)
    with pytest.raises(DataError, match="at least two"):
        williams_orders(1)
