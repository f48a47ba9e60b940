"""A scheduler in clear is refused before a byte is sent, unless it is here or that is asked for."""

import pytest
from command_line import run

from pullbook.pipeline.parallel import workers
from pullbook.schemas.errors import InputError


@pytest.mark.parametrize(
    "address", ["tcp://10.0.0.5:8786", "ws://scheduler:8786", "tcp://127.0.0.1.tern.example:8786"]
)
def test_in_clear_it_is_refused(monkeypatch, address):
    monkeypatch.setattr(workers.socket, "create_connection", lambda *_, **__: pytest.fail("sent"))
    with pytest.raises(InputError, match="not encrypted"), workers.cluster(address):
        pass


@pytest.mark.parametrize(
    ("address", "insecure"),
    [("tcp://127.0.0.1:9", False), ("tcp://localhost:9", False), ("tcp://10.0.0.5:9", True),
     ("tls://10.0.0.5:9", False)],
)  # fmt: skip
def test_here_or_asked_for_or_encrypted_it_is_tried(monkeypatch, address, insecure):
    def nobody(*_, **__):
        raise ConnectionRefusedError

    monkeypatch.setattr(workers.socket, "create_connection", nobody)
    with (
        pytest.raises(InputError, match="no scheduler answers"),
        workers.cluster(address, insecure=insecure),
    ):
        pass


def test_with_tls_encryption_is_required():
    made = workers._security(dict, encrypted=True)
    assert made == {"security": {"require_encryption": True}}
    assert workers._security(dict, encrypted=False) == {}


def test_the_command_says_what_to_do(tmp_path):
    done = run("curate", tmp_path, "--out", tmp_path / "out", "--cluster", "tcp://10.0.0.5:8786")
    assert done.returncode == 2
    assert "--insecure-cluster" in done.stderr
