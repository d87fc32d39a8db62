"""The live page in a real browser, and what its server turns away.

Sources of truth: `reversal` of the same bottom for the numbers shown, `parse_profile` for the file
saved, RFC 6454 for the origin, the status codes of RFC 9110.
"""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from live_page import Watched, browser, served

from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile, parse_profile
from domemargin.profiles.units import PSI

NORTH = load_profile("north")


@pytest.fixture(scope="module")
def link(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    pytest.importorskip("bokeh", reason="the extra live is not installed")
    with served("north", "--require", "90 psi", cwd=tmp_path_factory.mktemp("live")) as link:
        yield link


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as chromium:
        yield chromium


@pytest.fixture
def tab(chromium: Any, link: str) -> Iterator[Watched]:
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    watched = Watched(context.new_page(), link)
    yield watched
    assert watched.wrong == []
    assert watched.outside == []
    context.close()


def psi(profile: Any) -> float:
    found = reversal(profile).reversal_pressure_mpa
    assert found is not None
    return float(found) / PSI


def test_a_drag_moves_the_answer_and_it_rests_at_that_of_reversal(tab: Watched) -> None:
    assert tab.pressure() == pytest.approx(psi(NORTH), abs=0.06)
    slider = tab.page.locator("#s-dome_depth")
    box = slider.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = tab.answered()
    tab.page.mouse.move(x, y)
    tab.page.mouse.down()
    for i in range(20):
        tab.page.mouse.move(x - 2 * i, y)
        time.sleep(0.02)
    tab.page.mouse.up()
    tab.rested(before)
    depth = float(tab.page.input_value("#v-dome_depth").split()[0])
    assert depth < 10.0
    tab.page.wait_for_function(f"document.getElementById('s-dome_depth').value == {depth}")
    time.sleep(0.5)
    tab.rested()
    assert tab.pressure() == pytest.approx(psi(NORTH.replaced(dome_depth=depth)), abs=0.06)
    assert len(tab.page.evaluate("window.domemarginTimes")) > 1
    tab.page.click("#undo")
    tab.page.wait_for_function("document.getElementById('v-dome_depth').value == '10.4 mm'")


def test_a_bottom_is_pinned_and_compared(tab: Watched) -> None:
    tab.page.click("#pin")
    tab.page.wait_for_selector("#rows.pinned")
    before = tab.answered()
    tab.typed("bottom_gauge", "0.275 mm")
    tab.rested(before)
    row = tab.page.locator("#rows tbody tr").first.locator("td").all_inner_texts()
    now, pinned, apart = (float(text.split()[0]) for text in row[1:])
    assert row[0] == "Reversal pressure"
    assert pinned == pytest.approx(psi(NORTH), abs=0.06)
    assert now == pytest.approx(psi(NORTH.replaced(bottom_gauge=0.275)), abs=0.06)
    assert apart == pytest.approx(now - pinned, abs=0.11)
    tab.page.click("#pin")
    tab.page.wait_for_selector("#rows:not(.pinned)")


BAD = (
    ("dome_depth", "deep", "Dome depth is 'deep'"),
    ("nose_radius", "1.5 psi", "not a unit of length"),
    ("wall_height", "900 mm", "1 to 300 mm"),
    ("stand_diameter", "66 mm", "less than body_diameter"),
    ("dome_radius", "<img src=x onerror=alert(1)>", "Dome radius is"),
    ("poisson_ratio", "1e400", "plain number"),
)


def test_bad_values_are_answered_beside_their_fields_and_the_tab_goes_on(tab: Watched) -> None:
    for name, text, said in BAD:
        tab.typed(name, text)
        line = tab.page.locator(f'.field[data-name="{name}"] .wrong')
        line.wait_for(state="visible")
        assert said in line.inner_text()
    assert tab.page.locator("img").count() == 0
    before = tab.answered()
    tab.typed("bottom_gauge", "0.27 mm")
    tab.rested(before)
    assert tab.pressure() == pytest.approx(psi(NORTH.replaced(bottom_gauge=0.27)), abs=0.06)


def test_messages_that_no_page_sends_do_not_end_the_tab(tab: Watched) -> None:
    send = "text => Bokeh.documents[0].get_model_by_name('inbox').value = text"
    odd = [
        "", "{", "[]", "null", "7", '{"do": 3}', '{"do": "set"}', '{"do": "set", "name": "x"}',
        '{"do": "set", "name": "dome_depth", "value": "x"}', '{"do": "set", "n": [], "name": 1}',
        '{"do": "set", "name": "dome_depth", "value": NaN}', '{"do": "upload", "text": 5}',
        '{"do": "set", "name": "../../etc", "value": 1}', "[" * 100_000,
        '{"do": "rank", "n": 1e99}',
        json.dumps({"do": "upload", "text": "#" * 300_000}),
        json.dumps({"do": "upload", "text": "name = '" + "<script>" * 9}),
    ]  # fmt: skip
    for text in odd:
        tab.page.evaluate(send, text)
    before = tab.answered()
    tab.typed("bottom_gauge", "0.28 mm")
    tab.rested(before)
    assert tab.pressure() == pytest.approx(psi(NORTH.replaced(bottom_gauge=0.28)), abs=0.06)


def test_two_tabs_do_not_disturb_each_other(chromium: Any, tab: Watched, link: str) -> None:
    other = Watched(tab.page.context.new_page(), link)
    before = other.answered()
    other.typed("dome_depth", "9.9 mm")
    other.rested(before)
    assert tab.page.input_value("#v-dome_depth") == "10.4 mm"
    assert tab.pressure() == pytest.approx(psi(NORTH), abs=0.06)
    other.page.close()
    before = tab.answered()
    tab.typed("dome_depth", "10.5 mm")
    tab.rested(before)
    assert tab.pressure() == pytest.approx(psi(NORTH.replaced(dome_depth=10.5)), abs=0.06)
    assert (other.wrong, other.outside) == ([], [])


def test_save_open_and_link_carry_every_value(tab: Watched, tmp_path: Path) -> None:
    before = tab.answered()
    tab.typed("nose_radius", "1.61 mm")
    tab.rested(before)
    with tab.page.expect_download() as started:
        tab.page.click("#save")
    file = tmp_path / "saved.toml"
    started.value.save_as(file)
    saved = parse_profile(file.read_text(encoding="utf-8"))
    assert saved == NORTH.replaced(nose_radius=1.61)
    tab.page.click("#copy")
    tab.page.wait_for_function("document.body.dataset.link !== undefined")
    again = Watched(tab.page.context.new_page(), tab.page.evaluate("document.body.dataset.link"))
    assert again.page.input_value("#v-nose_radius") == "1.61 mm"
    assert again.pressure() == tab.pressure()
    east = tmp_path / "other.toml"
    east.write_text(file.read_text(encoding="utf-8").replace("1.61 mm", "1.4 mm"), "utf-8")
    again.page.set_input_files("#upload", east)
    again.page.wait_for_function("document.getElementById('v-nose_radius').value == '1.4 mm'")
    broken = tmp_path / "broken.toml"
    broken.write_text('name = "<b>x"\n[shape]\n', "utf-8")
    again.page.set_input_files("#upload", broken)
    again.page.wait_for_function("document.getElementById('message').textContent !== ''")
    assert again.wrong == []


def test_the_report_of_the_bottom_at_hand_is_downloaded(tab: Watched, tmp_path: Path) -> None:
    before = tab.answered()
    tab.typed("bottom_gauge", "0.27 mm")
    tab.rested(before)
    with tab.page.expect_download() as started:
        tab.page.click("#report")
    file = tmp_path / "report.html"
    started.value.save_as(file)
    text = file.read_text(encoding="utf-8")
    assert f"{psi(NORTH.replaced(bottom_gauge=0.27)):.1f} psi" in text
    assert "The reversal in 3D" in text


def test_the_requirement_is_typed_or_taken_from_the_drink(tab: Watched) -> None:
    before = tab.answered()
    tab.page.fill("#require", "80 psi")
    tab.page.keyboard.press("Tab")
    tab.rested(before)
    assert "margin +13." in tab.page.inner_text("#verdict")
    tab.page.click("summary")
    tab.page.fill("#carbonation", "2.6 vol")
    tab.page.fill("#stage", "pasteurising 62 C")
    before = tab.answered()
    tab.page.click("#drink")
    tab.rested(before)
    assert tab.page.input_value("#require").endswith("psi")
    assert tab.page.input_value("#require") != "80 psi"


@pytest.mark.slow
def test_the_inputs_are_ranked_on_request(tab: Watched) -> None:
    tab.page.click("#rank")
    tab.page.wait_for_selector("#slopes tbody tr", timeout=60_000)
    assert "Bottom gauge" in tab.page.inner_text("#slopes tbody tr")
    tab.typed("bottom_gauge", "0.27 mm")  # slopes of another bottom are not left standing
    tab.page.wait_for_selector("#slopes", state="hidden")


@pytest.mark.parametrize(("width", "scheme"), [(1280, "dark"), (390, "light")])
def test_the_page_fits_its_screen(chromium: Any, link: str, width: int, scheme: str) -> None:
    context = chromium.new_context(color_scheme=scheme, viewport={"width": width, "height": 844})
    watched = Watched(context.new_page(), link)
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width
    for button in watched.page.locator("button:visible").all():
        assert button.inner_text().strip()
    unnamed = "i => !i.labels.length && !i.ariaLabel"
    assert watched.page.evaluate(f"[...document.querySelectorAll('input')].filter({unnamed})"
                                 ".filter(i => i.checkVisibility()).length") == 0  # fmt: skip
    assert (watched.wrong, watched.outside) == ([], [])
    context.close()


# what the server turns away


def asked(link: str, path: str, **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection(urlsplit(link).netloc, timeout=20)
    connection.request("GET", path, headers=headers)
    return connection.getresponse()


def test_it_listens_on_the_loopback_address_only(link: str) -> None:
    psutil = pytest.importorskip("psutil")
    port = urlsplit(link).port
    bound = {c.laddr.ip for c in psutil.net_connections("tcp") if c.status == "LISTEN"
             and c.laddr.port == port}  # fmt: skip
    assert bound == {"127.0.0.1"}


@pytest.mark.parametrize("query", ["", "?token=", "?token=guess", "?token=%00", "?token=%F0%9F"])
def test_a_request_without_the_token_is_turned_away(link: str, query: str) -> None:
    for path in ("/bottom", "/bottom/ws", "/bottom/autoload.js", "/bottom/metadata"):
        answer = asked(link, path + query)
        assert answer.status in (400, 403)
        assert b"inbox" not in answer.read()


def test_a_foreign_name_for_this_machine_is_turned_away(link: str) -> None:
    parts = urlsplit(link)
    path = f"{parts.path}?{parts.query}"
    assert asked(link, path).status == 200
    answer = asked(link, path, Host=f"evil.example:{parts.port}")
    assert answer.status == 403


def handshake(link: str, origin: str, cookie: str) -> int:
    path = urlsplit(link).path + "/ws"
    return asked(
        link, path, Upgrade="websocket", Connection="Upgrade", Origin=origin, Cookie=cookie,
        **{"Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Version": "13",
           "Sec-WebSocket-Protocol": "bokeh, guess"},
    ).status  # fmt: skip


def test_a_web_socket_of_another_origin_is_turned_away(link: str) -> None:
    parts = urlsplit(link)
    answer = asked(link, f"{parts.path}?{parts.query}")
    cookie = (answer.headers["Set-Cookie"] or "").split(";")[0]
    assert "HttpOnly" in answer.headers["Set-Cookie"]
    assert "SameSite=Strict" in answer.headers["Set-Cookie"]
    assert handshake(link, "https://evil.example", cookie) == 403
    assert handshake(link, f"http://127.0.0.1:{parts.port}", "") == 403


def test_no_file_of_this_machine_is_served(link: str) -> None:
    query = "?" + urlsplit(link).query
    for path in ("/static/../../../../etc/passwd", "/static/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
                 "/bottom/../../etc/passwd", "//etc/passwd"):  # fmt: skip
        answer = asked(link, path + query)
        assert answer.status in (302, 400, 403, 404)
        assert b"root:" not in answer.read()


def test_a_large_request_is_turned_away_and_the_server_goes_on(link: str) -> None:
    parts = urlsplit(link)
    connection = http.client.HTTPConnection(parts.netloc, timeout=20)
    try:
        connection.request("POST", parts.path, body=b"x" * 5_000_000)
        assert connection.getresponse().status in (400, 403, 405, 413)
    except OSError:
        pass  # closed while it was sent
    assert asked(link, f"{parts.path}?{parts.query}").status == 200
    swollen = asked(link, f"{parts.path}?{parts.query}&bottom={'A' * 20_000}")
    assert swollen.status == 200
    assert b"damaged" in swollen.read()


def test_without_the_extra_the_command_names_it(monkeypatch: pytest.MonkeyPatch) -> None:
    from domemargin.profiles import InputError
    from domemargin.studies.cli import live

    monkeypatch.setattr(live, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"domemargin\[live\]"):
        live.live("north", None, False)
