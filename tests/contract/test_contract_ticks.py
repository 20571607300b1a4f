"""Tick arithmetic: right over the wrap, and within a board's small ints at every intermediate step."""

import ast
import inspect

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fiftyover_kit.contract import limits
from fiftyover_kit.contract.limits import ticks_add, ticks_diff

SMALL_MIN, SMALL_MAX = -(1 << 30), (1 << 30) - 1  # 31-bit small ints of a 32-bit board
EDGES = [
    SMALL_MIN,
    SMALL_MIN + 1,
    -(1 << 29) - 1,
    -(1 << 29),
    -1,
    0,
    1,
    (1 << 29) - 1,
    1 << 29,
    SMALL_MAX - 1,
    SMALL_MAX,
]
SMALL = st.integers(SMALL_MIN, SMALL_MAX) | st.sampled_from(EDGES)


class Small(int):
    """An int that refuses to leave, or to meet, what a board keeps without the heap."""

    def __new__(cls, value: int) -> "Small":
        if not SMALL_MIN <= value <= SMALL_MAX:
            raise OverflowError(f"{value} is no small int on a board")
        return super().__new__(cls, value)


def _bounded(name: str):
    plain = getattr(int, name)

    def operation(self, other):
        return Small(plain(int(self), int(Small(other))))

    return operation


for _name in ("add", "sub", "and", "or", "xor", "mul", "mod", "floordiv"):
    setattr(Small, f"__{_name}__", _bounded(f"__{_name}__"))
    setattr(Small, f"__r{_name}__", _bounded(f"__r{_name}__"))
Small.__neg__ = lambda self: Small(-int(self))


@given(SMALL, SMALL)
def test_sum_never_leaves_the_small_ints_and_is_right_modulo_the_period(a, b) -> None:
    assert ticks_add(Small(a), Small(b)) == (a + b) % 2**30


@given(SMALL, SMALL)
def test_difference_never_leaves_the_small_ints_and_is_the_nearest(a, b) -> None:
    got = int(ticks_diff(Small(a), Small(b)))
    assert -(2**29) <= got < 2**29
    assert (got - (a - b)) % 2**30 == 0


@pytest.mark.parametrize("a", EDGES)
@pytest.mark.parametrize("b", EDGES)
def test_edges_stay_within_the_small_ints(a, b) -> None:
    assert ticks_add(Small(a), Small(b)) == (a + b) % 2**30
    assert (int(ticks_diff(Small(a), Small(b))) - (a - b)) % 2**30 == 0


@given(st.integers(), st.integers(-(2**29), 2**29 - 1))
@example(2**30 - 1, 1)
def test_difference_undoes_the_sum_over_any_number_of_wraps(start, delta) -> None:
    assert ticks_diff(ticks_add(start, delta), start) == delta


def test_the_bound_catches_the_naive_forms() -> None:
    with pytest.raises(OverflowError):
        (Small(SMALL_MAX) + Small(1)) & limits.TICK_MASK
    with pytest.raises(OverflowError):
        ((Small(SMALL_MAX) - Small(0) + (1 << 29)) & limits.TICK_MASK) - (1 << 29)


def test_no_comparison_or_constant_in_the_tick_functions_is_too_large_for_a_board() -> None:
    """`Small` does not see what it is compared with: so look at every name and number the functions use."""
    for function in (ticks_add, ticks_diff):
        tree = ast.parse(inspect.getsource(function))
        names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and node.id.isupper()}
        numbers = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and type(node.value) is int]
        assert names
        for value in [getattr(limits, name) for name in names] + numbers:
            assert SMALL_MIN <= value <= SMALL_MAX
