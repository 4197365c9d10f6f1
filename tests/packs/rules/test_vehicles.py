import pytest

from packs.rules.vehicles import check_digit, normalise_vin, search_key, vin_problem, vin_warning


@pytest.mark.parametrize(("vin", "digit"), [("11111111111111111", "1"), ("1M8GDM9AXKP042788", "X")])
def test_check_digits_of_published_numbers(vin: str, digit: str) -> None:
    """49 CFR 565.15(c), worked sample: weighted sums 89 and 351, remainders 1 and 10."""
    assert check_digit(vin) == digit
    assert vin_problem(vin) is None
    assert vin_warning(vin) is None


def test_a_wrong_check_digit_is_a_warning_and_no_bar() -> None:
    assert vin_problem("1M8GDM9A1KP042788") is None
    warning = vin_warning("1M8GDM9A1KP042788")
    assert warning is not None
    assert "is 1, worked out it would be X" in warning


@pytest.mark.parametrize(
    ("vin", "said"),
    [
        ("1M8GDM9AXKP04278", "this one has 16"),
        ("1M8GDM9AXKP0427889", "this one has 18"),
        ("", "this one has 0"),
        ("1M8GDM9AXKP04278O", "this one has O"),
        ("IQ8GDM9AXKP042788", "this one has I Q"),
        ("1M8GDM9AXKP04278é", "this one has é"),
        ("00000000000000000", "all zeros"),
    ],
)
def test_what_is_no_vin(vin: str, said: str) -> None:
    problem = vin_problem(vin)
    assert problem is not None
    assert said in problem
    assert vin_warning(vin) is None


def test_a_vin_is_kept_in_one_form() -> None:
    assert normalise_vin(" 1m8 gdm9ax-kp042788 ") == "1M8GDM9AXKP042788"


@pytest.mark.parametrize(
    ("text", "key"), [("ab-12 cd", "AB12CD"), ("A.B–12\tcd", "AB12CD"), ("", ""), ("ö 1", "Ö1")]
)
def test_keys_ignore_case_and_separators(text: str, key: str) -> None:
    assert search_key(text) == key
