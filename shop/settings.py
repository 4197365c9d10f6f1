"""Settings of the house; everything that varies comes from shop.environment."""

import os
import sys
import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Any

from shop.environment import PostgresqlServer, SqliteFile, read_environment

BASE_DIR = Path(__file__).resolve().parent.parent
COMMAND = sys.argv[1] if len(sys.argv) > 1 else ""

ENVIRONMENT = read_environment(
    os.environ,
    default_sqlite=BASE_DIR
    / "data"
    / ("demo.sqlite3" if COMMAND == "demo" else "register.sqlite3"),
)

SECRET_KEY = ENVIRONMENT.secret_key
DEBUG = ENVIRONMENT.debug
ALLOWED_HOSTS = list(ENVIRONMENT.allowed_hosts)
REDIS_URL = ENVIRONMENT.redis_url
TIME_ZONE = ENVIRONMENT.time_zone

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "packs",
    "reports",
    "shop",
]

MIDDLEWARE = [
    "shop.middleware.HearOut",
    "django.middleware.security.SecurityMiddleware",
    "shop.middleware.ContentSecurityPolicy",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "shop.middleware.SlashOnRead",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "shop.middleware.WakeSweep",
    "shop.middleware.BusyPage",
]

ROOT_URLCONF = "shop.urls"
WSGI_APPLICATION = "shop.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "shop" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shop.navigation.ways",
            ],
        },
    }
]

SQLITE_LOCK_WAIT_S = 20  # every write takes the one lock; measured worst wait of 4 writers: 1.4 s


def sqlite_settings(file: SqliteFile) -> dict[str, Any]:
    file.path.parent.mkdir(parents=True, exist_ok=True)
    # A file, not memory: tests with threads open connections of their own.
    test_file = Path(tempfile.gettempdir()) / f"register-test-{os.getpid()}.sqlite3"
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": file.path,
        "OPTIONS": {
            "timeout": SQLITE_LOCK_WAIT_S,
            "transaction_mode": "IMMEDIATE",
            # FULL: what was acknowledged is still there after a power cut.
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
            " PRAGMA foreign_keys=ON;",
        },
        "TEST": {"NAME": test_file},
    }


def postgresql_settings(server: PostgresqlServer) -> dict[str, Any]:
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": server.name,
        "USER": server.user,
        "PASSWORD": server.password,
        "HOST": server.host,
        "PORT": server.port,
        "OPTIONS": server.options,
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
    }


DATABASES = {
    "default": sqlite_settings(ENVIRONMENT.database)
    if isinstance(ENVIRONMENT.database, SqliteFile)
    else postgresql_settings(ENVIRONMENT.database)
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "packs.Account"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_COOKIE_AGE = int(timedelta(hours=12).total_seconds())  # a shift; common practice, no source

# English everywhere; a site says how it writes dates, and its pages activate that form of it.
LANGUAGE_CODE = "en-gb"
USE_I18N = True
FORMAT_MODULE_PATH = ["shop.formats"]
USE_TZ = True

# Where collectstatic has run, its hashed and compressed files are served; else the sources are.
COLLECTED = BASE_DIR / "static_collected"
HAS_COLLECTED = not DEBUG and (COLLECTED / "staticfiles.json").is_file()
STATIC_URL = "/static/"
STATIC_ROOT = COLLECTED if HAS_COLLECTED or COMMAND == "collectstatic" else None
WHITENOISE_USE_FINDERS = STATIC_ROOT is None
WHITENOISE_AUTOREFRESH = DEBUG
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if STATIC_ROOT is not None
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

# The service speaks plain HTTP; TLS ends at a proxy in front, which says so in this header.
if ENVIRONMENT.https:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = int(timedelta(days=365).total_seconds())
SECURE_SSL_REDIRECT = ENVIRONMENT.https
SECURE_REDIRECT_EXEMPT = [r"^health/", r"^api/v1/health/"]
SESSION_COOKIE_SECURE = ENVIRONMENT.https
CSRF_COOKIE_SECURE = ENVIRONMENT.https
CSRF_FAILURE_VIEW = "shop.refusals.expired"
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# W005 and W021 ask to bind every other host of the domain, which a workshop may not own.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

DATA_UPLOAD_MAX_MEMORY_SIZE = 20 * 1024 * 1024  # 5,000 checks in one list are about 6 MB
FILE_UPLOAD_HANDLERS = [
    "shop.uploads.UploadLimit",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "packs.api.authentication.BearerToken",
        "packs.api.authentication.PageSession",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["packs.api.permissions.RoleTable"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "packs.api.schema.Schema",
    "EXCEPTION_HANDLER": "shop.problems.handle",
    "STRICT_JSON": True,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "A register of traction packs",
    "DESCRIPTION": "Facts about hybrid-car battery packs, and what follows from them.",
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.1",
    "SCHEMA_PATH_PREFIX": "/api/v1/",
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "CheckLevelEnum": "packs.models.checks.VoltageCheck.Level",
        "OutlookLevelEnum": "reports.models.outlooks.Outlook.Level",
        "CheckOrderEnum": ["position", "monitor"],
        "CheckStoredOrderEnum": ["position"],
        "CheckConditionEnum": "packs.models.checks.VoltageCheck.Condition",
        "ShippingConditionEnum": "packs.models.stock.ShippingDecision.Condition",
        "ComponentKindEnum": "packs.models.bench_tests.Component.Kinds",
        "ComponentStatusEnum": "packs.models.bench_tests.Component.Status",
        "ModuleTestKindEnum": "packs.models.bench_tests.ModuleTest.Kinds",
        "ReassemblyKindEnum": "packs.models.bench.Reassembly.Kinds",
        "IncidentKindEnum": "packs.models.bench.Incident.Kinds",
        "PriceKindEnum": "packs.models.stock.PriceItem.Kinds",
        "EquipmentKindEnum": "packs.models.people.Equipment.Kinds",
        "SwapKindEnum": "packs.models.work.Swap.Kinds",
        "EstimateLineKindEnum": "packs.models.desk.EstimateLine.Kinds",
        "PackStatusEnum": "packs.models.packs.Pack.Status",
        "VisitStateEnum": "packs.models.visits.Visit.State",
        "CoreStateEnum": "packs.models.desk.Core.State",
        "ModuleStatusEnum": "packs.models.modules.Module.Status",
    },
}


MAIL = ENVIRONMENT.mail
EMAIL_BACKEND = {
    "none": "django.core.mail.backends.dummy.EmailBackend",
    "console": "django.core.mail.backends.console.EmailBackend",
}.get(MAIL.scheme, "django.core.mail.backends.smtp.EmailBackend")
EMAIL_HOST = MAIL.host
EMAIL_PORT = MAIL.port
EMAIL_HOST_USER = MAIL.user
EMAIL_HOST_PASSWORD = MAIL.password
EMAIL_USE_SSL = MAIL.scheme == "smtps"
EMAIL_USE_TLS = MAIL.scheme == "smtp+tls"
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = MAIL.sender

# Celery runs only where REDIS_URL is set: see shop/celery.py and shop/wake.py.
SWEEP_EVERY_S = 30
TASK_LIMIT_S = 600
BROKER_TIMEOUT_S = 1  # a request waits no longer than this for a dead broker
CELERY_BROKER_URL = REDIS_URL
CELERY_TIMEZONE = "UTC"
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_SOFT_TIME_LIMIT = TASK_LIMIT_S
CELERY_TASK_TIME_LIMIT = TASK_LIMIT_S + 60
CELERY_TASK_PUBLISH_RETRY = False
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    # Above the longest task: a shorter one hands a running task to a second worker.
    "visibility_timeout": 2 * CELERY_TASK_TIME_LIMIT,
    "socket_connect_timeout": BROKER_TIMEOUT_S,
    "socket_timeout": BROKER_TIMEOUT_S,
    "max_retries": 1,
    "interval_start": 0,
    "interval_step": 0,
    "interval_max": 0,
}
CELERY_BEAT_SCHEDULE = {
    "sweep": {
        "task": "reports.sweep",
        "schedule": SWEEP_EVERY_S,
        "options": {"expires": SWEEP_EVERY_S},
    },
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "django": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
        # Strangers who knock under another name would fill the log.
        "django.security.DisallowedHost": {"handlers": [], "propagate": False},
    },
}
