import pytest
import redis
from django.conf import settings


@pytest.fixture(scope="session", autouse=True)
def redis_left_as_found():
    """Take away what this run left in Redis, and nothing else."""
    yield
    if settings.REDIS_URL:
        with redis.Redis.from_url(settings.REDIS_URL) as server:
            keys = list(server.scan_iter(f"{settings.TEST_PREFIX}:*"))
            if keys:
                server.delete(*keys)
