"""How far the fields of a record go, whichever door they come through, and how that is said."""

CURRENT_MAX_A = 2000.0  # the API's promise
COLDEST_C, HOTTEST_C = -40.0, 90.0  # the API's promise
FARTHEST_KM = 3_000_000  # that an odometer shows; common practice, no source
VOLTS_MAX = 1e5  # V; beyond it 0.1 mV units no longer fit an int32
POSITIONS_MAX = 2000  # of one check: more than the cells of any pack; common practice, no source
EARLIEST, LATEST = 1900, 2200  # years; no hybrid car is older, none of us will see the other
SERIAL_LENGTH = 40  # characters
CODE_LENGTH = 40
KM_PER_MILE = 1.609344  # exact, by the international agreement on the yard of 1959
SET_LENGTH = 100
INSTRUMENT_LENGTH = 100

BEYOND = frozenset(
    {"max_value", "min_value", "out_of_range", "wrong_count", "max_digits", "max_whole_digits"}
)
"""Codes of what is of the right type, but beyond what can be."""

TOO_HIGH = "At most {max_value} can be; correct it, or look at its unit."
TOO_LOW = "At least {min_value} can be; correct it, or look at its unit."
TOO_MUCH = "No more than 99999999.99 can be; correct it."
TWO_DECIMALS = "At most two decimals; round it."
TOO_LONG = "At most {max_length} characters; shorten it."
MISSING = "This field is required."
NO_CHOICE = "Not one of: {words}."
BAD_TEXT = "The text holds control characters; remove them."
BAD_YEAR = f"The year must lie between {EARLIEST} and {LATEST}."
BAD_VOLTAGE = "No pack shows such a voltage; send volts."
BAD_COUNT = f"1 to {POSITIONS_MAX} voltages can be sent."
