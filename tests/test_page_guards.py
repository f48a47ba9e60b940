"""The page's guards, each tested by an attack."""

import asyncio
import re
import socket
import stat
import threading
from urllib.parse import urlsplit

import httpx
import pytest
from page_server import client, opened
from valid_sheet import sheet_text

from pullbook.commands import main
from pullbook.guards import inside_folder, policy, upload_bounds
from pullbook.page import app as page_app
from pullbook.page import state_file
from pullbook.schemas.errors import InputError
from pullbook.views import one_test
from pullbook.workspace.folder import Folder

EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Return a folder with a sheet whose texts are an attack, and a secret beside it."""
    top = tmp_path_factory.mktemp("guards")
    folder = top / "shop"
    folder.mkdir()
    quoted = EVIL.replace('"', '\\"')
    fields = {"sheet_id": f'"{quoted}"', "family": f'"{quoted}"', "notes": f'"{quoted}"'}
    (folder / "evil.csv").write_text(sheet_text(fields))
    (top / "secret.csv").write_text("secret")
    (folder / "leads-out.yaml").symlink_to(top / "secret.csv")
    return folder


@pytest.fixture(scope="module")
def address(shop, tmp_path_factory):
    with opened(tmp_path_factory.mktemp("state"), shop) as found:
        yield found


@pytest.fixture
def ours(address):
    with client(address) as found:
        yield found


def plain(address):
    return httpx.Client(base_url=f"http://{urlsplit(address).netloc}")


@pytest.mark.parametrize("path", ["/", "/ask", "/engines", "/static/page.js", "/?key=wrong"])
def test_without_the_key_there_is_nothing(address, path):
    with plain(address) as stranger:
        answer = stranger.get(path)
    assert answer.status_code == 403
    assert "pullbook open" in answer.text
    assert "set-cookie" not in answer.headers


def test_the_key_leaves_the_address_and_comes_back_as_a_cookie_of_this_site_alone(address):
    with plain(address) as browser:
        answer = browser.get(f"/ask?{urlsplit(address).query}&bore=4")
    assert (answer.status_code, answer.headers["location"]) == (303, "/ask?bore=4")
    cookie = answer.headers["set-cookie"].lower()
    assert "samesite=strict" in cookie
    assert "httponly" in cookie


def test_the_key_opens_no_way_to_another_host(address):
    with plain(address) as browser:
        answer = browser.get(f"//evil.example/ask?{urlsplit(address).query}")
    assert answer.headers["location"].startswith("/")
    assert not answer.headers["location"].startswith("//")


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "127.0.0.1:1", ""])
def test_another_name_for_this_machine_is_refused(ours, host):
    answer = ours.get("/ask", headers={"Host": host})
    assert answer.status_code in {400, 421}
    assert "tested" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://evil.example"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "http://evil.example"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "null"},
    ],
)
def test_a_post_of_another_site_does_nothing(ours, shop, headers):
    answer = ours.post("/ask/save", data={"cylinders": "6", "sheet_id": "x"}, headers=headers)
    assert answer.status_code == 403
    assert not (shop / "builds").exists()


def test_a_post_that_does_not_say_where_it_is_from_does_nothing(ours, shop):
    request = ours.build_request("POST", "/ask/save", data={"cylinders": "6"})
    for name in ("Sec-Fetch-Site", "Origin"):
        del request.headers[name]
    assert ours.send(request).status_code == 403
    assert not (shop / "builds").exists()


def test_a_picture_or_a_script_of_another_site_gets_nothing(ours):
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    assert ours.get("/ask", headers=headers).status_code == 403


@pytest.mark.parametrize("path", ["/ask", "/nothing", "/static/page.css", "/engines"])
def test_every_answer_carries_the_policy(ours, path):
    headers = ours.get(path).headers
    assert headers["content-security-policy"] == policy.POLICY
    for rule in ("default-src 'none'", "script-src 'self'", "style-src 'self'",
                 "img-src 'self' data:", "connect-src 'self'", "form-action 'self'",
                 "base-uri 'none'", "frame-ancestors 'none'"):  # fmt: skip
        assert rule in policy.POLICY
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("path", ["/ask", "/engines", "/compare", "/share", "/model", "/choose"])
def test_no_view_needs_what_the_policy_forbids_and_no_text_becomes_markup(ours, path):
    page = ours.get(path).text
    assert "alert(1)" not in page or "&lt;script&gt;" in page
    assert "<img src=x" not in page
    bare = re.sub(r'"[^"]*"', '""', page)  # what stands between quotes is a value
    assert not re.search(r"<[^>]*\s(style|on\w+)=", bare)
    assert re.findall(r"<script[^>]*>", page) == ['<script src="/static/page.js" defer>']
    assert "http://" not in page.replace('xmlns="http://www.w3.org/2000/svg"', "")


def test_texts_in_an_address_never_become_markup(ours):
    given = {"cylinders": EVIL, "sheet_id": EVIL, "bore": EVIL, "band_low": EVIL, "level": EVIL,
             "start": EVIL, "saved": EVIL, "against": EVIL,
             "against_name": EVIL, "from": EVIL}  # fmt: skip
    for path in ("/ask", "/engines", "/compare", "/choose", "/tested"):
        found = ours.get(path, params={**given, "q": EVIL, "a": EVIL, "a_is": EVIL, "done": EVIL,
                                       "list": EVIL, "name": EVIL})  # fmt: skip
        assert "<script>" not in found.text
        assert "<img src=x" not in found.text
        assert found.status_code < 500


@pytest.mark.parametrize(
    "name", ["../../out.csv", "..\\..\\out.csv", "/root/out.csv", "C:\\out.csv", ".hidden.csv",
             "a/../../out.csv", "con.csv", "x\x00y.csv", "pullbook.yaml"],
)  # fmt: skip
def test_no_name_of_a_file_leads_out_of_the_folder(ours, shop, name):
    before = {path for path in shop.parent.rglob("*") if not path.is_relative_to(shop)}
    ours.post("/engines/add", files={"files": (name, sheet_text().encode(), "text/csv")})
    after = {path for path in shop.parent.rglob("*") if not path.is_relative_to(shop)}
    assert after == before
    assert not (shop / "pullbook.yaml").exists()
    assert not any(path.name.startswith(".") for path in (shop / "sheets").glob("*"))


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/rendering.py", "/share/pack/..%2f..%2fsecret.csv",
             "/engines/..%2f..%2fsecret.csv", "/choose/list?list=../../secret.csv",
             "/share/pack/%2e%2e"],
)  # fmt: skip
def test_no_address_reads_a_file_outside_the_folder(ours, path):
    answer = ours.get(path)
    assert answer.status_code in {200, 404, 422}
    assert "secret\n" not in answer.text
    assert "from __future__" not in answer.text


def test_a_link_in_the_folder_that_leads_out_is_not_followed(shop):
    with pytest.raises(inside_folder.OutsideError):
        inside_folder.inside(shop, "leads-out.yaml")
    assert inside_folder.inside(shop, "a", "b.csv") == shop.resolve() / "a" / "b.csv"


def test_a_request_that_says_it_is_too_large_is_refused(ours):
    request = ours.build_request("POST", "/engines/add", content=b"x")
    request.headers["content-length"] = str(upload_bounds.MOST_BYTES + 1)
    request.headers["content-type"] = "multipart/form-data; boundary=x"
    with socket.create_connection((ours.base_url.host, ours.base_url.port)) as raw:
        lines = [f"{k}: {v}" for k, v in request.headers.items()]
        raw.sendall("\r\n".join(["POST /engines/add HTTP/1.1", *lines, "", ""]).encode())
        assert b"413" in raw.recv(100)


def test_a_request_without_a_length_is_stopped_where_it_grows_too_large(ours):
    seen = threading.Event()

    def endless():
        for _ in range(4 * upload_bounds.MOST_PLAIN_BYTES // 65536):
            yield b"a=" + b"x" * 65534
        seen.set()

    try:
        form = {"content-type": "application/x-www-form-urlencoded"}
        answer = ours.post("/ask/save", content=endless(), headers=form)  # fmt: skip
        assert answer.status_code in {400, 413}
    except httpx.TransportError:
        pass  # the server had enough and closed
    assert ours.get("/ask").status_code == 200


def test_too_many_files_or_fields_are_refused_with_a_sentence(ours):
    many = [("files", (f"{at}.csv", b"x")) for at in range(upload_bounds.MOST_FILES + 1)]
    answer = ours.post("/engines/add", files=many)
    assert answer.status_code == 400
    assert "Too many files" in answer.text


def test_a_line_that_no_question_offers_never_reaches_the_settings(ours, shop):
    answer = ours.post("/engines/decide", data={"line": "shop: Somebody Else"})
    assert answer.status_code == 409
    assert not (shop / "pullbook.yaml").exists()


def test_key_and_port_are_kept_for_the_user_alone(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    first, address = state_file.listen(tmp_path, None)
    first.close()
    path = state_file.state_path(tmp_path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    again, same = state_file.listen(tmp_path, None)
    again.close()
    assert same == address
    path.chmod(0o644)  # others could have read it: it counts no more
    third, other = state_file.listen(tmp_path, None)
    third.close()
    assert other.key != address.key
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_it_listens_on_this_machine_alone_and_says_if_a_port_is_taken(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    taken, address = state_file.listen(None, None)
    with taken:
        assert taken.getsockname()[0] == "127.0.0.1"
        with pytest.raises(state_file.PortError, match="--port"):
            state_file.listen(None, address.port)


def test_an_error_of_the_program_is_a_sentence_under_the_policy_and_the_page_goes_on(
    tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr(one_test, "learned", lambda _: 1 / 0)
    address = state_file.Address("k" * 30, 80)
    made = page_app.app(Folder(None), address)

    async def asked(path):
        cookies = {"pullbook-80": address.key}
        way = httpx.ASGITransport(app=made)
        async with httpx.AsyncClient(transport=way, cookies=cookies,
                                     base_url="http://127.0.0.1") as inside:  # fmt: skip
            return await inside.get(path, headers={"Host": "127.0.0.1:80"})

    answer = asyncio.run(asked("/tested"))
    assert answer.status_code == 500
    assert "this is an error in the program (ZeroDivisionError)" in answer.text
    assert answer.headers["content-security-policy"] == policy.POLICY
    assert asyncio.run(asked("/ask")).status_code == 200
    (log,) = (tmp_path / "pullbook" / "faults").iterdir()
    assert "ZeroDivisionError" in log.read_text()


def test_a_folder_that_is_not_there_is_a_sentence(tmp_path, monkeypatch, capfd):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["pullbook", "open", str(tmp_path / "none"), "--no-browser"])
    with pytest.raises(SystemExit) as end:
        main.run()
    assert end.value.code == 2
    assert "does not exist" in capfd.readouterr().err
    assert issubclass(state_file.PortError, InputError)
