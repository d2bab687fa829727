"""Signing in with an OpenID Connect provider on this machine, as each role, and what it then may open."""

from __future__ import annotations

import csv

import pytest

from tests.browser.browsing import LEAN, downloaded, free_port, go, served, settle

pytestmark = pytest.mark.browser

PEOPLE = {
    "tina": ["technician"], "pia": ["planner"], "mara": ["manager", "technician"], "sol": ["visitor"],
    "noa": ["planner"], "eve": ["manager"], "ada": ["manager"],
}  # fmt: skip
# A token for another program, and one that has ended.
MORE = {"noa": {"depots": ["North"]}, "eve": {"aud": "another program"}, "ada": {"exp": 1_000_000_000}}
UNTAKEN = ("sol", "eve", "ada")
SECRETS = """
[auth]
redirect_uri = "http://127.0.0.1:{port}/oauth2callback"
cookie_secret = "a secret for this test alone"
client_id = "pumpledger"
client_secret = "any"
server_metadata_url = "http://127.0.0.1:{provider}/.well-known/openid-configuration"
"""


@pytest.fixture(scope="module")
def address(ledger, tmp_path_factory):
    provider_mock = pytest.importorskip("oidc_provider_mock")
    pytest.importorskip("authlib")
    people = [
        provider_mock.User(sub=name, claims={"name": name.title(), "roles": roles} | MORE.get(name, {}))
        for name, roles in PEOPLE.items()
    ]
    folder, port = tmp_path_factory.mktemp("sign_in"), free_port()
    (folder / ".streamlit").mkdir()
    with provider_mock.run_server_in_thread(user_claims=people) as provider:
        (folder / ".streamlit" / "secrets.toml").write_text(
            SECRETS.format(port=port, provider=provider.server_port)
        )
        with served(ledger, LEAN, port=port, folder=folder, PUMPLEDGER_SIGN_IN="1") as where:
            yield where


@pytest.fixture
def sign_in(browser, address):
    contexts = []

    def enter(name: str):
        context = browser.new_context()
        context.set_default_timeout(60_000)
        contexts.append(context)
        page = context.new_page()
        page.goto(f"{address}/fleet-data")
        assert "Sign in to see the fleet." in page.inner_text("main")
        page.get_by_role("link", name="Sign in").click()
        page.get_by_role("button", name=name).click()
        page.wait_for_url(f"{address}/**")
        if name not in UNTAKEN:
            settle(page)
        return page

    yield enter
    for context in contexts:
        context.close()


def menu(page) -> set[str]:
    return set(page.get_by_test_id("stTopNavLink").all_inner_texts())


EVERYBODY = {"Today", "Log a visit", "Tray", "Pumps by risk", "Pump history", "Fleet data", "Open questions"}
OFFICE = {"Plan board", "Costs", "Forecast record"}


def test_a_technician_reaches_no_money_and_signs_out(sign_in, address):
    page = sign_in("tina")
    assert menu(page) == EVERYBODY
    assert "In the office" not in page.inner_text('[data-testid="stMain"]')
    page.goto(f"{address}/costs")  # an address known from elsewhere opens nothing
    settle(page)
    assert page.locator("h1").first.inner_text() == "Today"
    page.goto(f"{address}/fleet-data")
    settle(page)
    tabs = page.get_by_role("tab").all_inner_texts()
    assert "Prices" not in tabs
    assert "Bring in a folder" not in tabs
    assert page.get_by_text("Change a unit, or add one").count() == 0
    assert "Tina, technician" in page.inner_text("body")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/end_session**")  # the provider asks whether to end its own session too
    page.goto(f"{address}/pumps-by-risk")
    page.get_by_text("Sign in to see the fleet.").wait_for()


@pytest.mark.parametrize(("name", "sets_prices"), [("pia", False), ("mara", True)])
def test_planner_and_manager_have_every_page_and_the_manager_sets_prices(sign_in, name, sets_prices):
    page = sign_in(name)
    assert menu(page) == EVERYBODY | OFFICE
    go(page, "fleet-data?part=Prices")
    assert page.get_by_text("Planned replacement, all in").first.is_visible()
    assert (page.get_by_role("button", name="Keep this price").count() == 1) is sets_prices


def test_who_is_bound_to_a_depot_sees_and_saves_its_units_alone(sign_in):
    page = sign_in("noa")
    go(page, "pumps-by-risk")
    # Made when the button is pressed, outside of the page's run.
    saved = downloaded(page, page.get_by_role("button", name="Save as CSV"))
    rows = list(csv.DictReader(saved.decode("utf-8-sig").splitlines()))
    assert {row["unit"] for row in rows} == {"101", "102", "103", "104"}
    go(page, "pump?pump=7")
    assert "106" not in page.inner_text('[data-testid="stMain"]')


def test_a_person_without_a_role_sees_nothing_of_the_fleet(sign_in):
    page = sign_in("sol")
    assert "Sol: no role here yet" in page.inner_text("main")
    assert menu(page) == set()
    assert page.request.get(page.url.split("/")[0] + "//" + page.url.split("/")[2] + "/media/x").status == 401


@pytest.mark.parametrize("name", ["eve", "ada"])
def test_a_token_for_another_program_or_of_yesterday_lets_nobody_in(sign_in, address, name):
    page = sign_in(name)
    page.goto(f"{address}/costs")
    assert "Sign in to see the fleet." in page.inner_text("main")
    assert page.request.get(f"{address}/_stcore/host-config").status == 401


CLOSED = (
    "/media/a.png",
    "/_stcore/host-config",
    "/_stcore/upload_file/a/b",
    "/component/x/index.html",
    "/app/static/x",
)


def test_nothing_but_the_way_in_answers_without_a_sign_in(browser, address):
    context = browser.new_context()
    try:
        for path in CLOSED:
            assert context.request.get(f"{address}{path}").status == 401, path
        assert context.request.put(f"{address}/_stcore/upload_file/a/b", data=b"x").status == 401
        assert context.request.get(f"{address}/_stcore/agent/openapi.json").status == 404
        assert context.request.get(f"{address}/_stcore/health").status == 200
        page = context.new_page()
        page.goto(f"{address}/costs")
        closed = page.evaluate(
            """() => new Promise(end => {
                const line = new WebSocket(location.origin.replace('http', 'ws') + '/_stcore/stream');
                line.onopen = () => end('open'); line.onclose = () => end('closed');
            })"""
        )
        assert closed == "closed"
    finally:
        context.close()


def test_a_cookie_copied_before_signing_out_lets_nobody_in(browser, sign_in, address):
    page = sign_in("pia")
    copied = page.context.cookies()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/end_session**")
    thief = browser.new_context()
    try:
        thief.add_cookies(copied)
        assert (
            "Sign in to see the fleet."
            in thief.request.get(f"{address}/", headers={"accept": "text/html"}).text()
        )
        assert thief.request.get(f"{address}/_stcore/host-config").status == 401
    finally:
        thief.close()


def test_signing_out_in_one_tab_ends_the_other(sign_in):
    page = sign_in("pia")
    other = page.context.new_page()
    other.goto(page.url)
    settle(other)
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/end_session**")
    other.get_by_test_id("stTopNavLink").get_by_text("Pump history").click()
    other.get_by_text("Your sign-in has ended.").wait_for()


def test_a_tampered_cookie_lets_nobody_in(browser, sign_in, address):
    cookies = sign_in("tina").context.cookies()
    for cookie in cookies:
        if cookie["name"].startswith("_streamlit_user"):
            cookie["value"] = cookie["value"][:-4] + "AAAA"
    context = browser.new_context()
    try:
        context.add_cookies(cookies)
        assert context.request.get(f"{address}/_stcore/host-config").status == 401
    finally:
        context.close()
