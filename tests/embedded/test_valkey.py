"""The private Valkey, started for real."""

import os
import signal
from pathlib import Path

import pytest
import redis
from celery import Celery
from django.core.cache.backends.redis import RedisCache

from portal.embedded import valkey
from tests.processes import is_alive, kill_now


def client(address: str) -> redis.Redis:
    return redis.Redis.from_url(valkey.client_address(address))


def server_pid(state: Path) -> int:
    return int((state / "valkey" / "server.pid").read_text())


def test_it_stops_when_its_only_user_leaves(state: Path) -> None:
    with valkey.running(state) as address:
        pid = server_pid(state)
        with client(address) as line:
            assert line.ping()
    assert not is_alive(pid)


def test_a_second_user_keeps_it_running(state: Path) -> None:
    with valkey.running(state) as address:
        with valkey.running(state) as same:
            assert same == address
        with client(address) as line:
            assert line.ping()


def test_it_opens_no_network_port(state: Path) -> None:
    with valkey.running(state) as address, client(address) as line:
        assert line.config_get("port") == {"port": "0"}
        assert Path(address.removeprefix("redis+socket://")).stat().st_mode & 0o077 == 0


def test_it_keeps_a_queued_task_through_a_kill(state: Path) -> None:
    with valkey.running(state) as address:
        with client(address) as line:
            line.rpush("queue", "owed")
        kill_now(server_pid(state))
        with valkey.running(state) as again, client(again) as line:
            assert line.lrange("queue", 0, -1) == [b"owed"]


def test_leaving_after_somebody_killed_it_is_no_error(state: Path) -> None:
    with valkey.running(state):
        os.kill(server_pid(state), signal.SIGKILL)


@pytest.mark.parametrize("database", [0, 3])
def test_celery_and_redis_py_mean_the_same_database_by_its_address(state: Path, database: int) -> None:
    with valkey.running(state) as address:
        numbered = valkey.numbered(address, database)
        with Celery(broker=numbered, set_as_current=False) as app:
            app.send_task("anything")
        with client(numbered) as line:
            assert line.llen("celery") == 1
            assert line.connection_pool.connection_kwargs.get("db", 0) == database


def test_django_can_keep_its_cache_there(state: Path) -> None:
    with valkey.running(state) as address:
        cache = RedisCache(valkey.client_address(address), {})
        cache.set("colour", "grey")
        assert cache.get("colour") == "grey"
        cache.close()


def test_its_address_is_known_while_it_does_not_run(state: Path) -> None:
    expected = valkey.address(state)
    with valkey.running(state) as address:
        assert address == expected


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ("redis://broker.example:6379/2", "redis://broker.example:6379/2"),
        ("rediss://broker.example/0?ssl_cert_reqs=none", "rediss://broker.example/0?ssl_cert_reqs=none"),
        ("redis+socket:///run/broker.sock", "unix:///run/broker.sock"),
        ("redis+socket:///run/broker.sock?virtual_host=4", "unix:///run/broker.sock?db=4"),
        ("redis+socket:///run/broker.sock?virtual_host=/4", "unix:///run/broker.sock?db=4"),
    ],
)
def test_an_address_is_put_into_the_words_of_redis_py(given: str, expected: str) -> None:
    assert valkey.client_address(given) == expected


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ("redis://broker.example:6379/0", "redis://broker.example:6379/5"),
        ("redis://broker.example:6379", "redis://broker.example:6379/5"),
        ("redis+socket:///run/broker.sock", "redis+socket:///run/broker.sock?virtual_host=5"),
        ("redis+socket:///run/broker.sock?virtual_host=1", "redis+socket:///run/broker.sock?virtual_host=5"),
    ],
)
def test_an_address_can_be_given_another_database_number(given: str, expected: str) -> None:
    assert valkey.numbered(given, 5) == expected
