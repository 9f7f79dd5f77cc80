"""Settings: one file, all from the environment, the same code on a laptop and in production."""

from pathlib import Path

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from program.config import env
from program.config.logging import LOGGING  # noqa: F401 - a setting

BASE_DIR = Path(__file__).resolve().parents[2]
DATA_DIR = Path(env.text("DATA_DIR", str(BASE_DIR / ".local")))

# What this process is
DEBUG = env.flag("DJANGO_DEBUG", default=False)
DEMO = env.flag("DEMO", default=False)
HTTPS = env.flag("HTTPS", default=not (DEBUG or DEMO))
SECRET_KEY = env.text("DJANGO_SECRET_KEY")
ALLOWED_HOSTS = env.words("DJANGO_ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]" if DEBUG or DEMO else "")
CSRF_TRUSTED_ORIGINS = env.words("DJANGO_TRUSTED_ORIGINS")
if not DEBUG and (len(SECRET_KEY) < 50 or len(set(SECRET_KEY)) < 10):
    raise ImproperlyConfigured("DJANGO_SECRET_KEY must be 50 letters or more, made at random, and kept secret.")
if DEBUG and DEMO:
    raise ImproperlyConfigured("The demo runs without DJANGO_DEBUG: unset one of the two.")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.postgres",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "csp",
    "django_filters",
    "django_htmx",
    "template_partials",
    "rest_framework",
    "drf_spectacular",
    "program",
    "scheduling",
    "reports",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "program.web.headers.ArmourMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "program.web.headers.RequestIdMiddleware",
    "program.web.request_lines.RequestLinesMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "program.web.tokens.TokenMiddleware",
    "program.web.sessions.SessionLimitMiddleware",
    "program.web.second_factor.SecondFactorMiddleware",
    "program.web.frame.ClockMiddleware",
    "program.web.scope.ScopeMiddleware",
    "program.web.signed_in.SignedInMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

ROOT_URLCONF = "program.config.urls"
WSGI_APPLICATION = "program.config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        # Before the packages, so that our sign-in pages come before those of the library.
        "DIRS": [BASE_DIR / "program" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "program.web.frame.frame",
            ]
        },
    }
]

# Data. Requests run in one transaction each (web/scope.py); DRF rolls back a refused one.
DATABASES = {"default": env.database("DATABASE_URL") | {"ATOMIC_REQUESTS": True, "CONN_HEALTH_CHECKS": True}}
DATABASES["default"]["OPTIONS"]["pool"] = {"min_size": 1, "max_size": env.number("DATABASE_POOL", 8), "timeout": 10}
# The role that requests, tasks and commands run as, named in the grants of the migrations.
DATABASE_ROLE = env.text("DATABASE_ROLE", "service_app")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
REDIS_URL = env.text("REDIS_URL")
CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}}

# Words and time. Instants are UTC; what people see is their building's time.
LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

# People
AUTH_USER_MODEL = "program.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "program.web.sign_in.SignIn"
ACCOUNT_FORMS = {"login": "program.web.sign_in.SignInForm"}
ACCOUNT_LOGIN_METHODS = {"email", "username"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = "username"
ACCOUNT_USER_MODEL_EMAIL_FIELD = "email"
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = True
ACCOUNT_PREVENT_ENUMERATION = True
# To an address that nobody has no mail is sent: there is nothing that it could offer.
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_REAUTHENTICATION_TIMEOUT = 15 * 60
# Passwords and codes are counted by person and device (web/limits.py); by address only what floods.
ACCOUNT_RATE_LIMITS = {"login": "120/m/ip", "login_failed": None, "change_password": "10/300s/user"}
MFA_ADAPTER = "program.web.codes.SecondFactors"
MFA_FORMS = {
    "authenticate": "program.web.codes.SignInCodeForm",
    "reauthenticate": "program.web.codes.AgainCodeForm",
    "activate_totp": "program.web.codes.SetUpForm",
}
MFA_RECOVERY_CODES_SHOW_ONCE = True
EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
# Without one no mail is sent, and nobody is told that it was.
EMAIL_HOST = env.text("EMAIL_HOST", "")
EMAIL_PORT = env.number("EMAIL_PORT", 25)
EMAIL_HOST_USER = env.text("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = env.text("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = env.flag("EMAIL_USE_TLS", default=False)
DEFAULT_FROM_EMAIL = env.text("DEFAULT_FROM_EMAIL", "webmaster@localhost")
# Somebody waits for the page meanwhile.
EMAIL_TIMEOUT = 5

# Cookies and headers
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_EXPIRE_AT_BROWSER_CLOSE = True
SESSION_COOKIE_NAME = "__Host-session" if HTTPS else "session"
CSRF_COOKIE_NAME = "__Host-csrf" if HTTPS else "csrf"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "program.pages.errors.no_token"
SECURE_SSL_REDIRECT = HTTPS and env.flag("SSL_REDIRECT", default=True)
SECURE_REDIRECT_EXEMPT = [r"^(live|ready)$"]
BEHIND_PROXY = env.flag("BEHIND_PROXY", default=False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_PROXY else None
# Whose address it is: the last hop that the own proxy has seen; without one nobody's word for it counts.
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if BEHIND_PROXY else 0
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
    }
}

# Files
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
DATA_UPLOAD_MAX_MEMORY_SIZE = FILE_UPLOAD_MAX_MEMORY_SIZE = 3 * 1024 * 1024
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.MemoryFileUploadHandler"]

# The API
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "program.web.tokens.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "program.web.paging.NewestFirst",
    "DEFAULT_FILTER_BACKENDS": ["program.web.filtering.OnlyKnownFilters"],
    "DEFAULT_SCHEMA_CLASS": "program.web.schema.Schema",
    "EXCEPTION_HANDLER": "program.web.problems.answer_problem",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Strength circuit",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "COMPONENT_SPLIT_REQUEST": True,
    # Choices stay where they stand: the same word, such as “kind”, means something else for each noun.
    "POSTPROCESSING_HOOKS": [],
}

# Lines: what they hold, and what they never do, stands in program/config/logging.py.
LOGGING_CONFIG = "program.config.logging.set_up"
