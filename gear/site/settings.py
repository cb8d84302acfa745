"""The settings. Whatever differs between two installations is a variable of the environment: environment.py.

Defaults are the careful ones. Whatever is opened wider says why.
"""

import os
from pathlib import Path
from urllib.parse import urlsplit

from django.contrib.messages import constants as message_levels
from django.utils.translation import gettext_lazy as _

from gear.site import databases
from gear.site.environment import read_environment

PROJECT = Path(__file__).resolve().parent.parent.parent
ENVIRONMENT = read_environment(os.environ, project=PROJECT)

SITE_NAME = "Gear Book"
DATA_DIR = ENVIRONMENT.data_dir
BASE_URL = ENVIRONMENT.base_url
DEMO = ENVIRONMENT.demo  # invented data and published passwords: the word DEMO stands on every page

# Django
SECRET_KEY = ENVIRONMENT.secret_key
DEBUG = ENVIRONMENT.debug
ALLOWED_HOSTS = list(ENVIRONMENT.allowed_hosts)
ROOT_URLCONF = "gear.site.urls"
WSGI_APPLICATION = "gear.site.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
INSTALLED_APPS = [
    "reports",
    "inspections",
    "gear",
    "rest_framework",
    "drf_spectacular",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
]
MIDDLEWARE = [
    "gear.site.headers.ProtectiveHeaders",  # first, so that static files and refusals carry the headers too
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "gear.site.gate.Gate",
]
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "gear.site.context.site",
            ],
        },
    },
]

# Storage
DATABASES = {"default": databases.configure(ENVIRONMENT.database)}
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"},
    # Counts sign-in attempts for all workers and servers together; see throttle.py.
    "sign_in": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "sign_in_attempts",
        "OPTIONS": {"MAX_ENTRIES": 10_000},
    },
}
MEDIA_ROOT = DATA_DIR / "media"
STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = True  # a fresh clone serves its style sheet before anyone has run collectstatic
WHITENOISE_ALLOW_ALL_ORIGINS = False  # no other site embeds them
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "gear.site.static_files.HashedFiles"},
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024  # bytes of a form or API body, files apart
FILE_UPLOAD_PERMISSIONS = 0o600
FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o700

# People
AUTH_USER_MODEL = "gear.User"
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "login"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
SESSION_COOKIE_AGE = 12 * 60 * 60  # seconds: one long shift
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"  # Strict would sign a worker out on each label opened from the camera app
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "gear.site.errors.csrf_failure"

# The wire
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = ENVIRONMENT.is_https
SESSION_COOKIE_NAME = "__Host-session" if ENVIRONMENT.is_https else "session"
SECURE_REDIRECT_EXEMPT = [r"^(healthz|readyz)$"]  # asked from the machine itself, and nobody is in them
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if ENVIRONMENT.is_https else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = ENVIRONMENT.is_https
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

# Mail
globals().update(ENVIRONMENT.email)
EMAIL_TIMEOUT = 20  # seconds; without one a silent mail server holds the weekly report for ever
DEFAULT_FROM_EMAIL = SERVER_EMAIL = f"{SITE_NAME} <gear@{urlsplit(BASE_URL).hostname}>"

# Language and time
USE_I18N = USE_TZ = True
LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("fr", _("French")), ("es", _("Spanish"))]
LOCALE_PATHS = [PROJECT / "gear" / "locale"]
TIME_ZONE = ENVIRONMENT.time_zone  # the site's zone: "today" of every date is read in it
MESSAGE_TAGS = {message_levels.ERROR: "problem", message_levels.SUCCESS: "done"}

# The API: closed unless a view's row in the permission table opens it
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "gear.api.tokens.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "EXCEPTION_HANDLER": "gear.api.errors.handle",
    "DEFAULT_PERMISSION_CLASSES": ["gear.site.gate.RoutePermission"],
    "DEFAULT_PARSER_CLASSES": ["gear.api.parsing.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "gear.api.pages.Pages",
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "COERCE_DECIMAL_TO_STRING": True,
}
SPECTACULAR_SETTINGS = {
    "TITLE": SITE_NAME,
    "DESCRIPTION": "Inventory, tests and answers of one line department's insulating and grounding gear.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["gear.site.gate.RoutePermission"],
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "ENUM_NAME_OVERRIDES": {"LookEnum": ["accept", "clean", "test", "reject"]},
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"lines": {"()": "gear.site.logs.OneLineJson"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "lines"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "django": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
        "django.server": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
        "weasyprint": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
        "fontTools": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
    },
}
