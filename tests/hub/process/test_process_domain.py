import math

import pytest

from fiftyover.errors import HubError, ProcessError
from fiftyover.process import domain


@pytest.mark.parametrize("check", [domain.positive, domain.not_negative, domain.number])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, "much", None])
def test_what_is_no_finite_number_is_refused_with_its_name_and_unit(check, value):
    with pytest.raises(ProcessError, match=r"^Weight is .* in g is needed\.$"):
        check("Weight", value, "g")


@pytest.mark.parametrize("value", [math.nan, math.inf, "half", None])
def test_a_fraction_or_bounded_number_is_a_number(value):
    with pytest.raises(ProcessError):
        domain.fraction("Fat", value)
    with pytest.raises(ProcessError):
        domain.between("Fill", value, 0.0, 1.0, "")


def test_bounds_belong_to_what_is_allowed_or_not():
    assert domain.positive("Weight", 1e-300, "g") == 1e-300
    assert domain.not_negative("Weight", 0.0, "g") == 0.0
    assert (domain.fraction("Fat", 0), domain.fraction("Fat", 1)) == (0.0, 1.0)
    assert (domain.between("Fill", 2, 2, 3, ""), domain.between("Fill", 3, 2, 3, "")) == (2.0, 3.0)
    for check, value in ((domain.positive, 0.0), (domain.positive, -1.0), (domain.not_negative, -1e-300)):
        with pytest.raises(ProcessError, match="Weight"):
            check("Weight", value, "g")
    for value in (-1e-9, 1.0 + 1e-9):
        with pytest.raises(ProcessError, match="Fat"):
            domain.fraction("Fat", value)
    for value in (1.999, 3.001):
        with pytest.raises(ProcessError, match=r"must lie in 2\.\.3 mm\. Inches\?$"):
            domain.between("Fill", value, 2, 3, "mm", "Inches?")


def test_a_percent_is_named_as_such():
    with pytest.raises(ProcessError, match=r"percent typed for fraction\? 20 % is 0\.2"):
        domain.fraction("Fat", 20)


def test_the_error_is_the_hubs_and_a_value_error():
    assert issubclass(ProcessError, HubError)
    assert issubclass(ProcessError, ValueError)
