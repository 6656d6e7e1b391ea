"""Settings of the tests: the same as everywhere, with local state in a folder that goes away."""

import os
import tempfile

if not os.environ.get("FORBCAST_DATA_DIR"):
    _scratch = tempfile.TemporaryDirectory(prefix="forbcast-test-")
    os.environ["FORBCAST_DATA_DIR"] = _scratch.name

from config.settings.base import *  # noqa: F403 - the folder must be named before base reads the environment

ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
# All tests together come from one address; those of the limit itself turn it on.
THROTTLE = False
# Several test processes may share one Redis, so each keeps to its own keys and none empties it.
# Worker processes that a test starts are told its prefix.
TEST_PREFIX = os.environ.get("FORBCAST_TEST_PREFIX") or f"forbcast-test-{os.getpid()}"
CACHES["default"]["KEY_PREFIX"] = TEST_PREFIX  # noqa: F405 - from base
CELERY_BROKER_TRANSPORT_OPTIONS["global_keyprefix"] = f"{TEST_PREFIX}:"  # noqa: F405 - from base
# A file, so that threads and worker processes of a test meet in one database, as they do in earnest.
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405 - from base
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / f"test-{os.getpid()}.sqlite3")}  # noqa: F405 - from base
# A slow hash protects people; tests have none.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
