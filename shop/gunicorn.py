"""Gunicorn's settings where many processes serve one PostgreSQL; `serve` has its own."""

import os

bind = "0.0.0.0:8000"  # a container's own address; the host decides what is published
worker_class = "gthread"
workers = os.cpu_count() or 1
threads = 4
graceful_timeout = 20
max_requests = 10_000
max_requests_jitter = 1_000
control_socket_disable = True
