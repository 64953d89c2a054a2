"""One settings file. Everything that differs between a laptop and a server comes from the
environment; with none of it set a clone runs on SQLite with nothing else installed.

    KERFBOOK_DATA         data folder (default .data beside manage.py)
    DATABASE_URL          postgres://... for the served stack; SQLite in the data folder otherwise
    REDIS_URL             redis://... for the served stack; a broker in the data folder otherwise
    KERFBOOK_SECRET_KEY   else made at first start, kept in the data folder
    KERFBOOK_HOSTS        host names answered to, comma separated
    KERFBOOK_ORIGINS      origins trusted behind a TLS proxy, e.g. https://kerfbook.example
    KERFBOOK_TLS          true where a proxy in front speaks HTTPS
    KERFBOOK_TRUSTED_PROXIES  addresses and networks of proxies in front, comma separated: from
                          these alone X-Forwarded-For is believed (default: none)
    KERFBOOK_SOURCE_DIRS  folders whose files signal sources may read, by whole path, colon
                          separated (default: the folder "sources" beside the data folder)
    KERFBOOK_PORT_SCHEMES  schemes of URLs that a source's port may have, comma separated
                          (default: socket,rfc2217)
    KERFBOOK_LANGUAGE     code of the language of all pages, of a catalogue in shopfloor/locale
                          (default: en, which needs none)
    KERFBOOK_DEBUG        true for development only
"""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import unquote

import environ

from shopfloor.env import (
    data_dir,
    env_bool,
    env_choice,
    env_folders,
    env_list,
    env_networks,
    languages,
    secret_key,
)
from telemetry.privacy import private_files

BASE_DIR = Path(__file__).resolve().parent.parent
private_files()  # every process of ours reads the settings before it writes anything
DATA_DIR = data_dir(BASE_DIR / ".data")
SECRET_KEY = secret_key(DATA_DIR)
DEBUG = env_bool("KERFBOOK_DEBUG", False)
ALLOWED_HOSTS = env_list("KERFBOOK_HOSTS", ["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env_list("KERFBOOK_ORIGINS", [])
TRUSTED_PROXIES = env_networks("KERFBOOK_TRUSTED_PROXIES")

SOURCE_DIRS = env_folders("KERFBOOK_SOURCE_DIRS")
# Of pyserial's others spy writes a file, alt names its own class, hwgrep and loop are for trials.
PORT_SCHEMES = tuple(
    scheme.lower() for scheme in env_list("KERFBOOK_PORT_SCHEMES", ["socket", "rfc2217"])
)

INSTALLED_APPS = [
    "shopfloor.apps.ShopfloorConfig",
    "telemetry.apps.TelemetryConfig",
    "planning.apps.PlanningConfig",
    "dashboards.apps.DashboardsConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.gzip.GZipMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "shopfloor.web.middleware.WholeText",
    "shopfloor.web.middleware.VisibleText",
    "shopfloor.web.middleware.ContentSecurityPolicy",
    "shopfloor.web.double_submit.DoubleSubmitGuard",
    "shopfloor.web.middleware.WhoActs",
    "shopfloor.web.middleware.ShopTime",
    "shopfloor.web.tables.TableFiles",
]

# Django's own prints nothing unless debugging: a page that failed would be told nowhere.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "timed": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"},
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "timed"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "django": {"handlers": [], "level": "WARNING", "propagate": True},
        "django.request": {"level": "ERROR"},  # what is not found, or not allowed, is no failure
        # Nor is a name this machine does not answer to, or a request that waits for a thread.
        "django.security.DisallowedHost": {"level": "CRITICAL"},
        "waitress.queue": {"level": "ERROR"},
    },
}

ROOT_URLCONF = "shopfloor.urls"
WSGI_APPLICATION = "shopfloor.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": sorted(Path(__file__).parent.glob("*/templates")),  # one a room
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shopfloor.web.navigation.shop",
            ],
            # Every page has text to translate, and dates and numbers of its language.
            "builtins": ["django.templatetags.i18n", "shopfloor.templatetags.local"],
        },
    },
]

_database_url = os.environ.get("DATABASE_URL")
if _database_url:
    DATABASES = {"default": environ.Env.db_url_config(_database_url)}
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    # A socket folder stands percent-encoded in the host's place, as libpq's own URIs have it.
    DATABASES["default"]["HOST"] = unquote(DATABASES["default"]["HOST"])
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": DATA_DIR / "kerfbook.sqlite3",
            # The web process, intake and the background worker all write: an immediate
            # transaction with a busy timeout is what keeps "database is locked" away.
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",
                "timeout": 20,
                "init_command": "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;",
            },
        }
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shopfloor.User"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "login"

REDIS_URL = os.environ.get("REDIS_URL", "")

LOCALE_PATHS = [BASE_DIR / "shopfloor" / "locale"]
LANGUAGES = languages(LOCALE_PATHS[0])
LANGUAGE_CODE = env_choice("KERFBOOK_LANGUAGE", "en", [code for code, _ in LANGUAGES])
TIME_ZONE = "UTC"  # stored and computed in UTC; pages convert to the shop's zone at the edge
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
MEDIA_ROOT = DATA_DIR / "files"
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG
DATA_UPLOAD_MAX_MEMORY_SIZE = 32 * 1024 * 1024  # programs of long nests come through forms
# A list of a hundred drawings is a form of 29 fields each at most; who chooses more files than are
# taken is told so by its page.
DATA_UPLOAD_MAX_NUMBER_FIELDS = 3200
DATA_UPLOAD_MAX_NUMBER_FILES = 1000
FILE_UPLOAD_MAX_MEMORY_SIZE = 8 * 1024 * 1024

_tls = env_bool("KERFBOOK_TLS", False)
SESSION_COOKIE_SECURE = _tls
CSRF_COOKIE_SECURE = _tls
CSRF_COOKIE_HTTPONLY = False  # Dash reads the token from the cookie
SECURE_SSL_REDIRECT = False  # the proxy in front does that
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if _tls else None
SECURE_HSTS_SECONDS = 31_536_000 if _tls else 0
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SILENCED_SYSTEM_CHECKS = [
    "security.W004",  # HSTS follows KERFBOOK_TLS: a plain-HTTP shop LAN must not set it
    "security.W005",  # other hosts of the shop's domain are not ours to bind to HTTPS
    "security.W021",  # and so is a browser's preload list
    "security.W008",  # the redirect belongs to the proxy
    "security.W012",
    "security.W016",
]
