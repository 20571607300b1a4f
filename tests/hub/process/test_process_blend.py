import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fiftyover.errors import ProcessError
from fiftyover.process import blend
from references.process.reading import rows

EXAMPLES = rows("fat_blend_examples.csv")
FAT = st.floats(0.0, 1.0)
FATS = st.lists(FAT, min_size=1, max_size=5)


def of(kind):
    return pytest.mark.parametrize("row", [r for r in EXAMPLES if r["kind"] == kind], ids=lambda row: row["case"])


def numbers(text):
    return [float(part) for part in text.split("|")]


def tolerance(row):
    return float(row["tolerance"].split()[0])


def test_every_example_is_of_a_kind_that_is_tested():
    assert {row["kind"] for row in EXAMPLES} == {"two", "add", "mean"}


@of("two")
def test_pearson_square_example_comes_out(row):
    shares = blend.two(*numbers(row["fats"]), float(row["target"]))
    weights = [share * float(row["weights_lb"]) for share in shares]
    assert weights == pytest.approx(numbers(row["expected"]), rel=0, abs=tolerance(row))
    many = blend.many(numbers(row["fats"]), float(row["target"]), total_g=float(row["weights_lb"]))
    assert many.weights_g == pytest.approx(weights, rel=1e-9)


@of("add")
def test_fat_added_to_lean_comes_out(row):
    added = blend.to_add_g(float(row["weights_lb"]), *numbers(row["fats"]), float(row["target"]))
    assert added == pytest.approx(float(row["expected"]), rel=0, abs=tolerance(row))


@of("mean")
def test_fat_of_a_recipe_comes_out(row):
    fat = blend.fat_of(numbers(row["weights_lb"]), numbers(row["fats"]))
    assert fat == pytest.approx(float(row["expected"]), rel=0, abs=tolerance(row))


def test_three_pounds_into_ten_are_not_thirty_percent():
    assert blend.fat_of([10.0, 3.0], [0.0, 1.0]) == pytest.approx(3 / 13)
    assert blend.to_add_g(10.0, 0.0, 1.0, 0.30) == pytest.approx(30 / 7)


@settings(deadline=None)
@given(FAT, FAT, FAT)
def test_two_shares_keep_mass_and_fat(fat_a, fat_b, place):
    target = fat_a + place * (fat_b - fat_a)
    a, b = blend.two(fat_a, fat_b, target)
    assert 0.0 <= a <= 1.0
    assert a + b == pytest.approx(1.0)
    assert a * fat_a + b * fat_b == pytest.approx(target, abs=1e-9)
    assert blend.two(fat_b, fat_a, target) == pytest.approx((b, a), abs=1e-6) or abs(fat_a - fat_b) < 1e-9


@settings(deadline=None)
@given(FATS, FAT, st.data())
def test_many_meats_keep_mass_and_fat_and_none_is_negative(fats, place, data):
    target = min(fats) + place * (max(fats) - min(fats))
    size = len(fats)
    weights = data.draw(st.lists(st.floats(1.0, 1e4), min_size=size, max_size=size))
    total_g = data.draw(st.floats(100.0, 1e5))
    amounts = blend.many(fats, target, weights, total_g)
    assert min(amounts.weights_g) >= 0.0
    assert sum(amounts.weights_g) == pytest.approx(total_g, rel=1e-7)
    assert amounts.fat == pytest.approx(target, abs=1e-7)
    assert blend.fat_of(amounts.weights_g, fats) == pytest.approx(target, abs=1e-7)


@settings(deadline=None)
@given(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=4, unique=True), st.data())
def test_no_other_blend_changes_the_plan_less(fats, data):
    assume(max(fats) - min(fats) > 0.05)
    weights = data.draw(st.lists(st.floats(10.0, 1000.0), min_size=len(fats), max_size=len(fats)))
    target = data.draw(st.floats(min(fats), max(fats)))
    best = blend.many(fats, target, weights)
    cost = sum((a - b) ** 2 for a, b in zip(best.weights_g, weights, strict=True))
    # any other blend of that fat and weight: a mix of two leaner-and-fatter pairs of the meats
    leaner = [n for n, fat in enumerate(fats) if fat <= target]
    fatter = [n for n, fat in enumerate(fats) if fat >= target]
    first = data.draw(st.tuples(st.sampled_from(leaner), st.sampled_from(fatter)))
    second = data.draw(st.tuples(st.sampled_from(leaner), st.sampled_from(fatter)))
    mixed = data.draw(st.floats(0.0, 1.0))
    other = [0.0] * len(fats)
    for (low, high), part in ((first, mixed), (second, 1.0 - mixed)):
        for place, share in zip((low, high), blend.two(fats[low], fats[high], target), strict=True):
            other[place] += part * share * sum(weights)
    assume(blend.fat_of(other, fats) == pytest.approx(target, abs=1e-9))
    assert cost <= sum((a - b) ** 2 for a, b in zip(other, weights, strict=True)) * (1 + 1e-6) + 1e-3


def test_a_plan_that_fits_is_left_alone():
    assert blend.many([0.1, 0.3, 0.2], 0.2, [100.0, 100.0, 50.0]).weights_g == pytest.approx((100.0, 100.0, 50.0))


def test_least_change_is_the_hand_worked_one():
    # lean 0, trim 0.5, fat 1, 1 kg of each: 1500 g of fat. For 45 % 150 g must go: +150, 0, -150 g is the least
    assert blend.many([0.0, 0.5, 1.0], 0.45, [1000.0] * 3).weights_g == pytest.approx((1150.0, 1000.0, 850.0))
    # for 5 % the fat would go below none: lean and trim alone, 150 g of fat are in 300 g of trim
    assert blend.many([0.0, 0.5, 1.0], 0.05, [1000.0] * 3).weights_g == pytest.approx((2700.0, 300.0, 0.0), abs=1e-6)


@settings(deadline=None)
@given(FATS, FAT, st.floats(0.01, 100.0))
def test_a_larger_batch_is_the_same_blend(fats, place, scale):
    target = min(fats) + place * (max(fats) - min(fats))
    once = blend.many(fats, target, total_g=1000.0)
    scaled = blend.many(fats, target, total_g=1000.0 * scale)
    assert scaled.weights_g == pytest.approx([scale * weight for weight in once.weights_g], abs=1e-6 * scale)


def test_a_target_out_of_reach_is_refused_with_the_nearest_possible():
    with pytest.raises(ProcessError, match=r"nearest possible is 25\.0%"):
        blend.two(0.10, 0.25, 0.30)
    with pytest.raises(ProcessError, match=r"nearest possible is 10\.0%"):
        blend.many([0.25, 0.10, 0.15], 0.05, [1.0, 1.0, 1.0])
    with pytest.raises(ProcessError, match=r"nearest possible is 20\.0%"):
        blend.two(0.2, 0.2, 0.3)
    with pytest.raises(ProcessError, match="no weight of it"):
        blend.to_add_g(1000.0, 0.1, 0.5, 0.5)


def test_meats_of_one_fat_and_that_fat_wanted_keep_the_plan():
    assert blend.many([0.2, 0.2, 0.2], 0.2, [100.0, 250.0, 50.0]).weights_g == pytest.approx((100.0, 250.0, 50.0))


def test_two_meats_of_the_wanted_fat_are_shared_evenly():
    assert blend.two(0.2, 0.2, 0.2) == (0.5, 0.5)
    assert blend.to_add_g(1000.0, 0.2, 0.2, 0.2) == 0.0
    assert blend.many([0.2], 0.2, [700.0]) == ((700.0,), pytest.approx(0.2))


@pytest.mark.parametrize("fats", [(20.0, 0.5), (0.1, 50.0), (-0.1, 0.5), (math.nan, 0.5)])
def test_senseless_fat_is_refused(fats):
    with pytest.raises(ProcessError, match="Fat of"):
        blend.two(*fats, 0.2)
    with pytest.raises(ProcessError, match="Fat of"):
        blend.many(fats, 0.2, total_g=1000.0)


def test_percent_typed_for_the_target_is_refused():
    with pytest.raises(ProcessError, match="percent typed for fraction"):
        blend.two(0.1, 0.5, 20.0)


@pytest.mark.parametrize(
    ("weights", "total", "said"),
    [
        ([1.0], None, "1 weights for 2 meats"),
        ([-1.0, 2.0], None, "Weight of meat 1"),
        ([0.0, 0.0], 1000.0, "Weight of all meats"),
        (None, None, "Neither"),
        (None, -5.0, "Weight in all"),
        ([1.0, math.nan], None, "Weight of meat 2"),
    ],
)
def test_senseless_weights_are_refused(weights, total, said):
    with pytest.raises(ProcessError, match=said):
        blend.many([0.1, 0.5], 0.2, weights, total)


@pytest.mark.parametrize("count", [0, 11])
def test_too_few_or_too_many_meats_are_refused(count):
    with pytest.raises(ProcessError, match="meats"):
        blend.fat_of([1.0] * count, [0.2] * count)


def test_no_meat_has_no_fat():
    with pytest.raises(ProcessError, match="Weight of all meats"):
        blend.fat_of([0.0, 0.0], [0.1, 0.5])
