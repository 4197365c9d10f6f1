import pytest

from packs.rules.trouble_codes import code_problem, failure_type_problem, normalise_code, split_code


@pytest.mark.parametrize("code", ["P0A80", "C1256", "B3FFF", "U0100", "P0A80-1F"])
def test_codes_of_the_standard_form(code: str) -> None:
    """The form of SAE J2012 and ISO 15031-6."""
    assert code_problem(code) is None


@pytest.mark.parametrize(
    "code",
    ["", "X0A80", "P4A80", "P0A8", "P0A800", "P0A8G", "p0a80", "P0A80-", "P0A80-1", "P0A80\n"],
)
def test_other_texts_are_no_codes(code: str) -> None:
    assert code_problem(code)


def test_the_sentence_names_what_was_given() -> None:
    assert "X0A80 is no trouble code" in str(code_problem("X0A80"))
    assert "not '1G'" in str(code_problem("P0A80-1G"))


def test_a_code_is_kept_in_one_form() -> None:
    assert normalise_code(" p0a 80-1f") == "P0A80-1F"
    assert split_code("P0A80-1F") == ("P0A80", "1F")
    assert split_code("P0A80") == ("P0A80", None)


@pytest.mark.parametrize(("failure_type", "good"), [("1F", True), ("00", True), ("1f", False)])
def test_failure_types_are_a_byte(failure_type: str, good: bool) -> None:
    assert (failure_type_problem(failure_type) is None) is good
