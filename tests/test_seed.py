"""What the tests draw comes from one seed, in their children too, and no two of them draw the same."""

import os
import secrets
import subprocess
import sys
import uuid

import pytest

from tests.seed import draws

DRAW = "import secrets, uuid; print(secrets.token_hex(8), uuid.uuid4().hex)"


def drawn():
    return secrets.token_hex(8), uuid.uuid4().hex


def in_a_child(**surroundings):
    env = {**os.environ, **surroundings}
    ran = subprocess.run([sys.executable, "-c", DRAW], env=env, capture_output=True, text=True, check=True)
    return tuple(ran.stdout.split())


def test_a_test_draws_the_same_again_and_another_does_not():
    with draws.at("one test"):
        first = [drawn(), drawn()]
    with draws.at("another test"):
        other = drawn()
    draws.forget("one test")
    with draws.at("one test"):
        assert [drawn(), drawn()] == first
    assert len({*first, other}) == 3


def test_a_child_draws_the_same_again_and_its_sister_does_not():
    """Even where the test names the child's surroundings itself."""
    with draws.at("one test"):
        first = [in_a_child(), in_a_child(PYTHONPATH="/nowhere")]
    draws.forget("one test")
    with draws.at("one test"):
        assert [in_a_child(), in_a_child(PYTHONPATH="/elsewhere")] == first
    assert first[0] != first[1]


def test_forked_children_draw_apart():
    """Two runs that are forked from one test must not give two rows one id."""
    seen = []
    for _ in range(2):
        reader, writer = os.pipe()
        if (child := os.fork()) == 0:
            os.write(writer, "\n".join(drawn()).encode())
            os._exit(0)
        os.waitpid(child, 0)
        seen.append(tuple(os.read(reader, 200).decode().split("\n")))
        os.close(reader)
        os.close(writer)
    assert len({*seen, drawn()}) == 3


@pytest.fixture(scope="module")
def shared():
    return drawn()


@pytest.mark.parametrize("turn", [1, 2])
def test_what_tests_share_is_drawn_for_itself(shared, turn):
    assert shared != drawn()
    with draws.at(f"module {__name__.replace('.', '/')}.py shared 0"):
        draws.forget(draws._places[-1])
        assert drawn() == shared


def test_another_seed_draws_otherwise(monkeypatch):
    with draws.at("one test"):
        first = drawn()
        draws.forget("one test")
        monkeypatch.setattr(draws, "SEED", draws.SEED + 1)
        assert drawn() != first
    draws.forget("one test")
