"""Day before month."""

DATE_FORMAT = "j M Y"
SHORT_DATE_FORMAT = "j M"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = "j M Y, H:i"
