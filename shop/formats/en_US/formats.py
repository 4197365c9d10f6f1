"""Month before day."""

DATE_FORMAT = "M j, Y"
SHORT_DATE_FORMAT = "M j"
YEAR_MONTH_FORMAT = "F Y"
TIME_FORMAT = "g:i A"
DATETIME_FORMAT = "M j, Y, g:i A"
