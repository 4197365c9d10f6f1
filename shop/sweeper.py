"""The loop beside the web process that works out what is owed, where there is no broker."""

import logging
import threading

from django.db import Error, close_old_connections, connection
from django.utils import timezone

from reports.writes import sweeping
from shop import wake

LOOK_EVERY_S = 5.0  # what another process wrote is seen at the latest after this
PAUSE_AFTER_FAULT_S = 30.0

logger = logging.getLogger(__name__)


class Sweeper:
    """Sweeps when something was written, and every few seconds in any case."""

    def __init__(self) -> None:
        self._stopping = threading.Event()
        self._keeper = threading.Thread(target=self._keep, name="sweep-keeper", daemon=True)

    def start(self) -> None:
        self._keeper.start()

    def stop(self, *, within_s: float) -> None:
        self._stopping.set()
        wake.end_wait()
        self._keeper.join(within_s)

    def _keep(self) -> None:
        """A fault that ends the loop is printed by threading; the loop then starts again."""
        while not self._stopping.is_set():
            loop = threading.Thread(target=self._loop, name="sweep", daemon=True)
            loop.start()
            loop.join()
            if not self._stopping.is_set():
                logger.error("the sweep broke off; it starts again in %g s", PAUSE_AFTER_FAULT_S)
                self._stopping.wait(PAUSE_AFTER_FAULT_S)

    def _loop(self) -> None:
        try:
            while not self._stopping.is_set():
                self._sweep_all()
                wake.wait_for_write(timeout_s=LOOK_EVERY_S)
        finally:
            connection.close()

    def _sweep_all(self) -> None:
        """Claims until nothing is owed; a database that is away is waited for."""
        try:
            close_old_connections()
            while not self._stopping.is_set() and sweeping.sweep(at=timezone.now()) > 0:
                pass
        except Error:
            logger.exception("the sweep could not reach the database; it tries again")
            connection.close()
