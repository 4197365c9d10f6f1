"""The fields of forms: numbers as people write them, in the units of the site."""

from decimal import Decimal

import pytest
from django import forms

from packs.models import Site
from packs.pages.forms import Day, Km, Moment, MoneyField
from packs.rules.bounds import BAD_YEAR

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("written", "amount"),
    [("62.50", "62.50"), ("62,5", "62.5"), (" 350 ", "350"), ("0", "0")],
)
def test_an_amount_as_people_write_it(written: str, amount: str) -> None:
    assert MoneyField().clean(written) == Decimal(amount)


@pytest.mark.parametrize(
    ("written", "sentence"),
    [
        ("about 60", "such as 62.50"),
        ("1,234.50", "such as 62.50"),
        ("-1", "At least 0"),
        ("62.505", "two places"),
        ("999999999", "At most 99999999"),
    ],
)
def test_an_amount_that_cannot_be(written: str, sentence: str) -> None:
    with pytest.raises(forms.ValidationError, match=sentence):
        MoneyField().clean(written)


@pytest.mark.parametrize("written", ["152300", "152 300", "152\u202f300", "152,300", "152.300"])
def test_an_odometer_as_people_write_it(written: str) -> None:
    assert Km(site=Site(distance="km")).clean(written) == 152_300


def test_an_odometer_in_miles_is_kept_in_km() -> None:
    assert Km(site=Site(distance="mi")).clean("100,000") == 160_934


@pytest.mark.parametrize("written", ["152300 km", "-5", "3000001", "1e5"])
def test_an_odometer_that_cannot_be(written: str) -> None:
    with pytest.raises(forms.ValidationError):
        Km(site=Site(distance="km")).clean(written)


def test_what_was_typed_stands_in_the_box_again() -> None:
    """A box for numbers alone would drop letters before they are sent."""
    assert isinstance(MoneyField().widget, forms.TextInput)
    assert not isinstance(MoneyField().widget, forms.NumberInput)
    assert not isinstance(Km(site=Site(distance="km")).widget, forms.NumberInput)


@pytest.mark.parametrize("year", ["0001", "1900", "2200", "9999"])
def test_a_year_that_nobody_meant_is_refused(year: str) -> None:
    with pytest.raises(forms.ValidationError, match=BAD_YEAR):
        Day().clean(f"{year}-03-05")
    with pytest.raises(forms.ValidationError, match=BAD_YEAR):
        Moment().clean(f"{year}-03-05T09:00")


def test_a_year_of_our_time_is_taken() -> None:
    assert Day().clean("1901-03-05").year == 1901
    assert Moment().clean("2199-03-05T09:00").year == 2199
