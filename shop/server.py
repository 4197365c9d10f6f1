"""The web server of `serve` and `demo`: gunicorn in this process, the sweep beside it."""

from typing import Any

from django.conf import settings
from django.db import connections
from gunicorn.app.base import BaseApplication

from shop.starting import make_application
from shop.sweeper import Sweeper

THREADS = 8
GRACE_S = 20  # what a request or a sweep may still take when the server is stopped


class Server(BaseApplication):  # type: ignore[misc]  # gunicorn carries no types
    """One worker with threads: SQLite takes one writer at a time anyway."""

    def __init__(self, *, bind: str, sweeper: Sweeper | None) -> None:
        self.bind = bind
        self.sweeper = sweeper
        super().__init__()

    def load_config(self) -> None:
        chosen = {
            "bind": self.bind,
            "workers": 1,
            "threads": THREADS,
            "worker_class": "gthread",
            "graceful_timeout": GRACE_S,
            "control_socket_disable": True,
            "post_worker_init": self.begin,
            "worker_exit": self.end,
        }
        for name, value in chosen.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        return make_application()

    def begin(self, worker: object) -> None:
        if self.sweeper is not None:
            self.sweeper.start()

    def end(self, arbiter: object, worker: object) -> None:
        if self.sweeper is not None:
            self.sweeper.stop(within_s=GRACE_S)


def run_server(*, bind: str) -> None:
    """Serve until told to stop; where there is a broker, its workers sweep, not this process."""
    # The worker is forked: an open connection must not be shared with it.
    connections.close_all()
    sweeper = Sweeper() if settings.REDIS_URL is None else None
    Server(bind=bind, sweeper=sweeper).run()
