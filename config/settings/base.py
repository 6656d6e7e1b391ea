"""Settings that hold everywhere; what differs by place comes from the environment: .env.example."""

from pathlib import Path

from csp.constants import NONE, SELF

from config import logs
from config.settings import environment

BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = Path(environment.text("FORBCAST_DATA_DIR", str(BASE_DIR / ".forbcast")))
HTTPS = environment.switch("FORBCAST_HTTPS", default=False)
REDIS_URL = environment.text("REDIS_URL")
LOG_FORMAT = environment.one_of("FORBCAST_LOG_FORMAT", ("line", "json"))
# Who may read /metrics from elsewhere than this machine; left out: nobody.
METRICS_TOKEN = environment.text("FORBCAST_METRICS_TOKEN")

DEBUG = False
SECRET_KEY = environment.secret_key(DATA_DIR)
ALLOWED_HOSTS = environment.names("FORBCAST_ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])

# No admin: it would be a door past the services and their audit.
INSTALLED_APPS = [
    "modelling",
    "projects",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "js_lib_leaflet",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "csp",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]
MIDDLEWARE = [
    "config.logs.RequestLogMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "config.middleware.BodyLimitMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "config.middleware.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "projects.dashboard.context.visitor",
            ]
        },
    }
]

DATABASES = {"default": environment.database(DATA_DIR)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": REDIS_URL,
        "KEY_PREFIX": "forbcast",
        # A page waits no longer than this for a Redis that does not answer, and goes on without.
        "OPTIONS": {"socket_connect_timeout": 2, "socket_timeout": 2},
    }
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

AUTH_USER_MODEL = "projects.User"
AUTHENTICATION_BACKENDS = ["django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["email", "name"]},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "front"
PASSWORD_RESET_TIMEOUT = 24 * 3600
SESSION_COOKIE_NAME = "forbcast_session"
SESSION_COOKIE_AGE = 30 * 24 * 3600  # A volunteer signs in once a month, not once a visit.
SESSION_COOKIE_SECURE = HTTPS
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# Without a mail server, letters are printed where the server runs, and pages say so.
MAIL_HOST = environment.text("FORBCAST_MAIL_HOST")
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend" if MAIL_HOST else "django.core.mail.backends.console.EmailBackend"
)
EMAIL_HOST = MAIL_HOST or "localhost"
EMAIL_PORT = environment.whole_number("FORBCAST_MAIL_PORT", default=587)
EMAIL_HOST_USER = environment.text("FORBCAST_MAIL_USER")
EMAIL_HOST_PASSWORD = environment.text("FORBCAST_MAIL_PASSWORD")
EMAIL_USE_TLS = environment.switch("FORBCAST_MAIL_TLS", default=True)
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = environment.text("FORBCAST_MAIL_FROM", "Forbcast <forbcast@localhost>")

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
# A probe on the machine itself speaks plain HTTP.
SECURE_REDIRECT_EXEMPT = [r"^health/(live|ready)?$", r"^metrics$"]
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "projects.api.errors.csrf_failure"

DATA_UPLOAD_MAX_MEMORY_SIZE = 64 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000
# Files are held in memory while they are read, all of one request together up to this, and never put on a disk.
FILE_UPLOAD_HANDLERS = ["config.uploading.InMemoryHandler"]
LARGEST_FILE = 10 * 2**20
# Files of records that jobs make; workers and whoever serves them share this folder.
EXPORTS_DIR = DATA_DIR / "exports"
# Many returns in one call.
LARGEST_BATCH = 4 * 2**20

NUM_PROXIES = environment.whole_number("FORBCAST_NUM_PROXIES", default=0)
# One switch, for benchmarks: off lets one address ask for as much as the machine gives.
THROTTLE = environment.switch("FORBCAST_THROTTLE", default=True)

# Draws x plants x years x options x 2 forecasts that one call may compute while the caller waits.
LARGEST_CALL_CELLS = 4_000_000

REST_FRAMEWORK = {
    "DEFAULT_PARSER_CLASSES": ["projects.api.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["projects.api.renderers.FiniteJSONRenderer"],
    "DEFAULT_AUTHENTICATION_CLASSES": ["projects.api.authentication.TokenAuthentication"],
    # The table of access decides, in the services; to the description this says that the token may be left out.
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.AllowAny"],
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

LOGGING = logs.described(LOG_FORMAT, environment.text("FORBCAST_LOG_LEVEL", "INFO").upper())
# Celery's own lines go where all others go.
CELERY_WORKER_HIJACK_ROOT_LOGGER = LOG_FORMAT != "json"
