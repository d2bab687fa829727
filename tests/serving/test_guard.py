"""What a request must bring before anything of the fleet is asked, and the policy every answer carries."""

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard.serving.configuration import ServerSettings, read_server_settings
from dashboard.serving.guard import Guard, policy_headers, script_hashes
from dashboard.serving.provider import refuse_unready_sign_in
from dashboard.serving.sessions import Ended, Session, session_of, still_holds, widest_role
from ingest.errors import PumpledgerError

PAGE = b"<html><head><script>one()</script></head><script src='x'></script></html>"


def ask(
    settings=None, *, host="127.0.0.1:8501", origin=None, path="/", kind="http", accept="text/html", page=PAGE
):
    """Return (whether the inner server was reached, the first message sent back, the body)."""
    reached, sent = [], []

    async def inner(scope, receive, send):
        reached.append(scope["path"])
        await send({"type": "http.response.start", "status": 200,
                    "headers": [(b"content-type", b"text/html"), (b"set-cookie", b"a=b")]})  # fmt: skip
        await send({"type": "http.response.body", "body": page})

    async def send(message):
        sent.append(message)

    async def receive():
        return {"type": "websocket.connect"}

    headers = [(b"host", host.encode()), (b"accept", accept.encode())]
    headers += [(b"origin", origin.encode())] if origin else []
    scope = {"type": kind, "method": "GET", "path": path, "headers": headers}
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, Guard(inner, settings or ServerSettings())(scope, receive, send)).result()
    return bool(reached), sent[0], b"".join(m.get("body", b"") for m in sent)


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8501", "localhost:9", "[::1]:8501", "LOCALHOST:8501", "127.0.0.1"]
)
def test_this_machine_is_let_through(host):
    assert ask(host=host)[0]


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example:8501", "", "pumps.example", "[::1", "10.0.0.8:8501"]
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_another_name_is_refused(host, kind):
    reached, first, _ = ask(host=host, kind=kind)
    assert not reached
    assert first.get("status") == 421 or first["type"] == "websocket.close"


def test_the_public_address_is_let_through_and_only_it():
    settings = ServerSettings(public_url="https://pumps.example")
    assert ask(settings, host="pumps.example", origin="https://pumps.example", kind="websocket")[0]
    assert not ask(settings, host="pumps.example:8443")[0]


@pytest.mark.parametrize("origin", ["https://evil.example", "null", "http://127.0.0.1:9999"])
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_page_of_another_site_reaches_nothing(origin, kind):
    reached, first, _ = ask(origin=origin, kind=kind)
    assert not reached
    assert first.get("status") == 403 or first["type"] == "websocket.close"


def test_every_answer_carries_the_policy_with_the_pages_own_scripts():
    _, first, body = ask()
    headers = dict(first["headers"])
    policy = headers[b"content-security-policy"].decode()
    # echo -n 'one()' | openssl dgst -sha256 -binary | base64
    assert "script-src 'self' blob: 'sha256-HR7iaask9daLMRRskMI++QeJtjWDOjyPA6lGzYGzKW4='" in policy
    assert "unsafe-inline" not in policy.split("script-src")[1].split(";")[0]
    assert "frame-ancestors 'none'" in policy
    assert headers[b"x-content-type-options"] == b"nosniff"
    assert headers[b"referrer-policy"] == b"no-referrer"
    assert body == PAGE


def test_cookies_are_for_https_alone_where_the_pages_are():
    plain = [(b"set-cookie", b"a=b; HttpOnly"), (b"Set-Cookie", b"c=d; Secure")]
    assert dict(policy_headers(plain, "", secure=True))[b"set-cookie"] == b"a=b; HttpOnly; Secure"
    assert dict(policy_headers(plain, "", secure=True))[b"Set-Cookie"] == b"c=d; Secure"
    assert dict(policy_headers(plain, "", secure=False))[b"set-cookie"] == b"a=b; HttpOnly"


def test_a_page_without_inline_scripts_names_none():
    assert script_hashes(b"<html><script src='x'></script></html>") == ""


@pytest.mark.parametrize("path", ["/_stcore/agent/mcp", "/_stcore/agent/interact", "/_stcore/metrics"])
def test_what_the_framework_offers_to_programs_is_closed(path):
    reached, first, _ = ask(path=path)
    assert not reached
    assert first["status"] == 404


@pytest.mark.parametrize(
    "path", ["/media/x", "/_stcore/upload_file/a/b", "/_stcore/stream", "/static/../media/x"]
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_without_a_sign_in_nothing_answers(path, kind):
    reached, _, body = ask(ServerSettings(sign_in=True), path=path, kind=kind, accept="*/*")
    assert not reached
    assert b"fleet" not in body


@pytest.mark.parametrize("path", ["/static/js/a.js", "/_stcore/health", "/auth/login", "/oauth2callback"])
def test_the_way_in_is_open(path):
    assert ask(ServerSettings(sign_in=True), path=path, accept="*/*")[0]


@pytest.mark.parametrize(
    ("claims", "role"),
    [(["technician"], "technician"), (["planner", "technician"], "planner"), ("manager", "manager"),
     ([], None), (None, None), (["stranger"], None)],
)  # fmt: skip
def test_roles_come_from_the_token(claims, role):
    assert widest_role(claims) == role


def claims(**more):
    return {"is_logged_in": True, "sub": "ann", "iat": 1000.0, "roles": ["planner"]} | more


def test_a_sign_in_holds_until_its_end_or_its_age():
    assert still_holds(session_of(claims(exp=2000.0), 12), Ended(), now=1999)
    assert not still_holds(session_of(claims(exp=2000.0), 12), Ended(), now=2000)
    assert still_holds(session_of(claims(exp=1e9), 1), Ended(), now=4599)
    assert not still_holds(session_of(claims(exp=1e9), 1), Ended(), now=4600)
    assert not still_holds(session_of(claims(), 1), Ended(), now=500)  # from the future


@pytest.mark.parametrize("missing", [{"sub": None}, {"iat": None}, {"iat": "soon"}, {"is_logged_in": False}])
def test_claims_without_a_subject_or_a_time_are_no_sign_in(missing):
    assert session_of(claims(**missing), 12) is None


def test_who_has_no_role_is_not_let_in():
    assert not still_holds(session_of(claims(roles=["stranger"]), 12), Ended(), now=1001)


def test_a_sign_out_ends_that_sign_in_alone():
    ended = Ended()
    first, second = (Session("ann", at, 1e12, "planner") for at in (1000.0, 2000.0))
    ended.end(first)
    assert not still_holds(first, ended, now=2001)
    assert still_holds(second, ended, now=2001)


def test_a_lost_role_ends_the_sign_ins_that_still_claim_it():
    ended = Ended()
    old, new = Session("ann", 1000.0, 1e12, "manager"), Session("ann", 2000.0, 1e12, "technician")
    assert still_holds(old, ended, now=2001)
    assert still_holds(new, ended, now=2001)
    assert not still_holds(old, ended, now=2001)


@pytest.mark.parametrize(
    ("told", "depots"),
    [(None, ()), ("North", ("North",)), (["South", " North "], ("North", "South"))],
)
def test_depots_come_from_the_token(told, depots):
    session = session_of(claims(depots=told), 12)
    assert session.depots == depots
    assert still_holds(session, Ended(), now=1001)


@pytest.mark.parametrize("nonsense", ["", " ", [], [""], [7], {"North": 1}, 7, True])
def test_a_claim_of_depots_that_makes_no_sense_lets_nobody_in(nonsense):
    assert not still_holds(session_of(claims(depots=nonsense), 12), Ended(), now=1001)


def test_other_depots_end_the_sign_ins_that_still_claim_the_old():
    ended = Ended()
    old = Session("ann", 1000.0, 1e12, "planner")
    new = Session("ann", 2000.0, 1e12, "planner", ("North",))
    assert still_holds(new, ended, now=2001)
    assert not still_holds(old, ended, now=2001)


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({"PUMPLEDGER_SIGN_IN": "y"}, "PUMPLEDGER_SIGN_IN is 'y'; write 1 (on) or 0 (off)."),
        (
            {"PUMPLEDGER_SIGNIN": "1"},
            "PUMPLEDGER_SIGNIN is not a setting of this program; PUMPLEDGER_SIGN_IN is meant?",
        ),
        ({"PUMPLEDGER_PUBLIC_URL": "pumps.example"}, "write what people type"),
        ({"PUMPLEDGER_PUBLIC_URL": "https://pumps.example/a"}, "leave out all but scheme, host and port"),
        ({"PUMPLEDGER_PUBLIC_URL": "https://pumps.example:99999"}, "write what people type"),
        ({"PUMPLEDGER_SESSION_HOURS": "nan"}, "write hours above 0"),
        ({"PUMPLEDGER_SESSION_HOURS": "0"}, "write hours above 0"),
    ],
)
def test_a_misspelt_setting_is_an_error(environment, said):
    with pytest.raises(PumpledgerError) as error:
        read_server_settings(environment)
    assert said in error.value.text


def test_settings_are_read():
    assert read_server_settings({}) == ServerSettings(False, "", 12.0)
    told = {
        "PUMPLEDGER_SIGN_IN": "On",
        "PUMPLEDGER_PUBLIC_URL": "https://Pumps.example/",
        "PUMPLEDGER_SESSION_HOURS": "8",
    }
    assert read_server_settings(told) == ServerSettings(True, "https://pumps.example", 8.0)
    assert read_server_settings(told).secure


PROVIDER = """[auth]
redirect_uri = "https://pumps.example/oauth2callback"
cookie_secret = "x"
client_id = "x"
client_secret = "x"
server_metadata_url = "https://people.example"
"""


@pytest.mark.parametrize(
    ("public_url", "secrets", "said"),
    [
        ("https://pumps.example", None, "redirect_uri, cookie_secret"),
        ("https://pumps.example", "auth = 7", "redirect_uri, cookie_secret"),
        (
            "https://pumps.example",
            PROVIDER.replace('client_id = "x"', 'client_id = " "'),
            "needs client_id under",
        ),
        ("https://pumps.example", "[auth", "can't be read as TOML"),
        (
            "https://pumps.example",
            PROVIDER.replace("back", "bak"),
            "set redirect_uri to https://pumps.example/oauth2",
        ),
        ("http://pumps.example", PROVIDER, "isn't this server"),
        ("https://other.example:8443", PROVIDER, "isn't this server"),
        ("", PROVIDER, "isn't this server"),
        ("", PROVIDER.replace("https://pumps.example", "http://["), "isn't this server"),
    ],
)
def test_a_server_that_nobody_could_sign_in_to_does_not_start(tmp_path, public_url, secrets, said):
    pytest.importorskip("authlib")
    if secrets is not None:
        (tmp_path / "secrets.toml").write_text(secrets)
    with pytest.raises(PumpledgerError, match=re.escape(said)):
        refuse_unready_sign_in(ServerSettings(True, public_url), [tmp_path / "secrets.toml"])


@pytest.mark.parametrize("at", ["https://pumps.example", "http://127.0.0.1:8501", "http://localhost"])
def test_the_later_of_two_descriptions_of_a_provider_counts(tmp_path, at):
    pytest.importorskip("authlib")
    files = [tmp_path / "home.toml", tmp_path / "here.toml"]
    files[0].write_text("[auth]")
    files[1].write_text(PROVIDER.replace("https://pumps.example", at))
    refuse_unready_sign_in(ServerSettings(True, at if "example" in at else ""), files)
    refuse_unready_sign_in(ServerSettings(), [tmp_path / "none"])
