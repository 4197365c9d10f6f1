"""A compact array of voltages: integer[] on PostgreSQL, a little-endian int32 blob on SQLite."""

from typing import Any

import numpy as np
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from numpy.typing import NDArray

from packs.rules.voltages import MISSING

Units = NDArray[np.int32]


class VoltageArray(models.Field):  # type: ignore[type-arg]
    """Voltages in units of 0.1 mV, shape (positions,), exact in both databases.

    PostgreSQL holds an unreadable position as NULL, so that SQL reads it as such.
    """

    description = "Voltages in units of 0.1 mV"

    def db_type(self, connection: BaseDatabaseWrapper) -> str:
        return "integer[]" if connection.vendor == "postgresql" else "blob"

    def get_db_prep_value(
        self, value: Any, connection: BaseDatabaseWrapper, prepared: bool = False
    ) -> Any:
        if value is None:
            return None
        units = np.asarray(value, dtype="<i4")
        if connection.vendor == "postgresql":
            return [None if unit == MISSING else int(unit) for unit in units]
        return units.tobytes()

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Units | None:
        if value is None:
            return None
        if isinstance(value, list):
            return np.array([MISSING if v is None else v for v in value], dtype=np.int32)
        return np.frombuffer(value, dtype="<i4").astype(np.int32)
