"""Settings that hold everywhere; what differs by place comes from the environment: .env.example."""

from pathlib import Path

from csp.constants import NONE, SELF

from config.settings import environment

BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = Path(environment.text("FORBCAST_DATA_DIR", str(BASE_DIR / ".forbcast")))
HTTPS = environment.switch("FORBCAST_HTTPS", default=False)
REDIS_URL = environment.text("REDIS_URL")

DEBUG = False
SECRET_KEY = environment.secret_key(DATA_DIR)
ALLOWED_HOSTS = environment.names("FORBCAST_ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])

# No accounts, sessions or messages yet: nothing is kept about a caller.
INSTALLED_APPS = [
    "modelling",
    "projects",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "csp",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "config.middleware.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {"context_processors": ["django.template.context_processors.request"]},
    }
]

DATABASES = {"default": environment.database(DATA_DIR)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": REDIS_URL,
        "KEY_PREFIX": "forbcast",
    }
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

LANGUAGE_CODE = "en-gb"
LANGUAGES = [("en-gb", "British English")]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "Europe/London"  # What people are shown; the database holds UTC.

STATIC_URL = "static/"
# Served from the packages' and apps' own folders: no collecting step to forget.
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^health/$"]  # A probe on the machine itself speaks plain HTTP.
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "projects.api.errors.csrf_failure"

DATA_UPLOAD_MAX_MEMORY_SIZE = 64 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000

NUM_PROXIES = environment.whole_number("FORBCAST_NUM_PROXIES", default=0)
# One switch, for benchmarks: off lets one address ask for as much as the machine gives.
THROTTLE = environment.switch("FORBCAST_THROTTLE", default=True)

# Draws x plants x years x options x 2 forecasts that one call may compute while the caller waits.
LARGEST_CALL_CELLS = 4_000_000

REST_FRAMEWORK = {
    "DEFAULT_PARSER_CLASSES": ["projects.api.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["projects.api.renderers.FiniteJSONRenderer"],
    "DEFAULT_AUTHENTICATION_CLASSES": [],
    "DEFAULT_PERMISSION_CLASSES": [],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_METADATA_CLASS": None,
    "EXCEPTION_HANDLER": "projects.api.errors.exception_handler",
    "UNAUTHENTICATED_USER": None,
    "NUM_PROXIES": NUM_PROXIES,
    "URL_FORMAT_OVERRIDE": None,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Forbcast",
    "DESCRIPTION": "What a meadow needs, costs and becomes. Every answer is a range with its recipe.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVERS": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SWAGGER_UI_SETTINGS": {"deepLinking": True, "validatorUrl": None, "persistAuthorization": False},
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "POSTPROCESSING_HOOKS": [
        "projects.api.schema.add_problems",
        "projects.api.v1.examples.add_examples",
    ],
}

CELERY_BROKER_URL = REDIS_URL or None
CELERY_TASK_DEFAULT_QUEUE = "interactive"
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SOFT_TIME_LIMIT = 300
CELERY_TASK_TIME_LIMIT = 330
CELERY_TASK_ACKS_LATE = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "celerybeat-schedule")
# A page that starts a job does not wait long for a broker that is away; the sweep makes good.
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, object] = {
    "max_retries": 0,
    "socket_connect_timeout": 2,
    "socket_timeout": 5,
}

# To standard error only. Paths are logged by Django without their query, which may describe somebody's site.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": environment.text("FORBCAST_LOG_LEVEL", "INFO").upper()},
    "loggers": {
        "django": {"handlers": ["stderr"], "propagate": False},
        # The development server logs each address with its query, so it is kept to what went wrong.
        "django.server": {"handlers": ["stderr"], "level": "ERROR", "propagate": False},
    },
}
