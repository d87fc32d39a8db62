"""Reports: one file that opens anywhere, says the record's numbers and moves.

Sources of truth: the record itself; WCAG 2.2 (success criterion 1.4.3) for contrast, by its own
formula; html.parser of the standard library for the page's text; the browser for the rest.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from live_page import browser

from domemargin.fea.bottom.frames import Frames, frames
from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.record import Record
from domemargin.fea.core.settings import Settings
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.margin.margin import MarginReport
from domemargin.studies.margin.tolerable import MORE_THAN, NOT_HELD, Tolerable
from domemargin.studies.report.heads import margin_head
from domemargin.studies.report.page import MOST_BYTES, html_of
from domemargin.studies.report.reversal import reversal_report
from domemargin.studies.report.turning import packed, turning_data
from domemargin.studies.study.study_file import load_study

NORTH = load_profile("north")
NASTY = '<script>window.hit=1</script> & "north" {{ 7*7 }}'


@pytest.fixture(scope="module")
def record() -> Record:
    return reversal(NORTH.replaced(name=NASTY), Settings(required=90 * PSI, follow=True))


@pytest.fixture(scope="module")
def turned() -> Frames:
    return frames(NORTH)


@pytest.fixture(scope="module")
def page(record: Record, turned: Frames) -> str:
    return html_of(reversal_report(record, turned, "north.toml"))


class Text(HTMLParser):
    """Text of a page, and its tags with their attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.text, self.tags = "", list[tuple[str, dict[str, str | None]]]()
        self.feed(page)

    def handle_data(self, data: str) -> None:
        self.text += data

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_it_is_one_small_file_that_asks_for_nothing(page: str) -> None:
    assert len(page.encode()) <= MOST_BYTES
    for _, attributes in Text(page).tags:
        for name in ("src", "href", "xlink:href", "action"):
            link = attributes.get(name) or "#"
            assert link.startswith(("#", "data:")), link
    assert not re.search(r"@import|url\(\s*[\"']?(?!#|data:)", page)


def test_its_numbers_are_those_of_the_record(page: str, record: Record) -> None:
    text = Text(page).text
    found = record.reversal_pressure_mpa
    assert found is not None
    assert record.margin is not None
    assert f"{found / PSI:.1f} psi" in text
    assert f"margin {100 * record.margin:+.1f} %" in text
    for growth in record.growth:
        assert growth.permanent_stand_growth_mm is not None
        assert f"{growth.permanent_stand_growth_mm:.3f}" in text
    assert record.caution in text
    assert text.index(f"{found / PSI:.1f} psi") < text.index("Given")


def test_a_name_is_text_and_never_markup(page: str) -> None:
    parsed = Text(page)
    assert NASTY in parsed.text
    assert sum(tag == "script" for tag, _ in parsed.tags) == 1  # our own
    assert "49" not in re.findall(r"<h1>(.*?)</h1>", page)[0]


def test_every_figure_has_its_words_and_every_table_its_heads(page: str) -> None:
    parsed = Text(page)
    figures = [a for tag, a in parsed.tags if tag == "figure"]
    assert len(figures) >= 2
    assert all(len(a.get("aria-label") or "") > 40 for a in figures)
    assert sum(t == "table" for t, _ in parsed.tags) == sum(t == "caption" for t, _ in parsed.tags)
    assert all(a.get("scope") in ("col", "row") for tag, a in parsed.tags if tag == "th")
    names = [a["id"] for _, a in parsed.tags if a.get("id")]
    assert len(names) == len(set(names))


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""
    share = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def colours(css: str) -> dict[str, str]:
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css))


def test_text_has_the_contrast_of_level_aa() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)  # WCAG 2.2, definition
    home = Path(__file__).parents[1] / "studies"
    report = colours((home / "report" / "page.css").read_text(encoding="utf-8"))
    for name in ("ink", "faint", "accent", "good", "bad", "doubt"):
        assert contrast(report[name], "#ffffff") >= 4.5, name
    light, dark = (home / "live" / "page.css").read_text(encoding="utf-8").split("@media", 1)
    for scheme in (colours(light), colours(dark)):
        for name in ("ink", "faint", "accent", "good", "bad", "doubt"):
            for ground in ("ground", "sheet"):
                assert contrast(scheme[name], scheme[ground]) >= 4.5, (name, ground)
        for name in ("now", "ring", "pin"):  # lines: 3 to 1, success criterion 1.4.11
            assert contrast(scheme[name], scheme["sheet"]) >= 3.0, name


def test_the_same_record_gives_the_same_bytes(record: Record, turned: Frames, page: str) -> None:
    assert html_of(reversal_report(record, turned, "north.toml")) == page


def test_a_bottom_without_an_answer_has_a_report_too() -> None:
    none = reversal(NORTH, Settings(ceiling=0.3, required=0.25, growth_at=()))
    text = Text(html_of(reversal_report(none, None, "north"))).text
    assert "No reversal pressure" in text
    assert "None found up to the ceiling of 43.5 psi." in text


def test_frames_begin_as_the_record_and_end_at_rest(turned: Frames) -> None:
    whole = reversal(NORTH, waves=0, growth_at=())
    assert turned.limit is not None
    assert turned.pressure_mpa[turned.limit] == pytest.approx(whole.limit_on_curve_mpa, rel=0.01)
    assert turned.depth_mm[0] == pytest.approx(NORTH.shape.dome_depth, abs=0.05)
    assert turned.rest
    assert abs(turned.pressure_mpa[-1]) < 1e-6
    assert turned.depth_mm[-1] < 0.5 * turned.depth_mm[0]
    assert turned.r_mm.shape == turned.plastic_strain.shape
    assert np.all(np.diff(turned.plastic_strain, axis=0) >= -1e-12)  # it never goes back
    assert len(turned.pressure_mpa) <= 50


def test_frames_are_packed_to_a_thousandth_of_a_millimetre(turned: Frames) -> None:
    data = turning_data(turned, 15.0)
    low, high = data["z_ends"]
    whole = np.frombuffer(base64.b64decode(data["z"]), "<u2").reshape(data["frames"], -1)
    z = low + (high - low) * whole / 65535.0
    assert z[:, 0] == pytest.approx(turned.z_mm[:, 0], abs=1e-3)
    assert packed(np.array([0.0, 1.0]), 0.0, 1.0) == base64.b64encode(b"\0\0\xff\xff").decode()


@pytest.fixture(scope="module")
def opened(page: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    file = tmp_path_factory.mktemp("report") / "report.html"
    file.write_text(page, encoding="utf-8")
    with browser(webgl=True) as chromium:
        page_of = chromium.new_page(viewport={"width": 390, "height": 844})
        wrong: list[str] = []
        page_of.on("console", lambda m: wrong.append(m.text) if m.type == "error" else None)
        page_of.on("pageerror", lambda error: wrong.append(str(error)))
        page_of.on("request", lambda r: wrong.append(r.url)
                   if not r.url.startswith(("file:", "data:")) else None)  # fmt: skip
        page_of.goto(file.as_uri())
        yield page_of
        assert wrong == []


def picture(page: Any) -> bytes:
    return bytes(page.locator(".turning canvas").screenshot())


def test_the_bottom_turns_out_in_the_browser(opened: Any, turned: Frames) -> None:
    assert opened.evaluate("window.hit") is None
    assert opened.evaluate("document.documentElement.scrollWidth") <= 390
    if "no WebGL" in opened.inner_text(".state"):
        pytest.skip("this Chromium draws no WebGL")
    assert opened.inner_text(".state") == "unloaded"
    seen = {picture(opened)}
    last = len(turned.pressure_mpa) - 1
    for at in (turned.limit, last):
        opened.evaluate(
            "v => { const a = document.querySelector('.along'); a.value = v;"
            "a.dispatchEvent(new Event('input')); }",
            at,
        )
        seen.add(picture(opened))
    assert "at rest after the reversal" in opened.inner_text(".state")
    opened.select_option(".by", "moved")
    assert "mm displacement" in opened.inner_text(".high")
    seen.add(picture(opened))
    opened.evaluate(
        "() => { const c = document.querySelector('.cut'); c.value = 0;"
        "c.dispatchEvent(new Event('input')); }"
    )
    seen.add(picture(opened))
    opened.focus(".turning canvas")
    opened.keyboard.press("ArrowLeft")
    seen.add(picture(opened))
    assert len(seen) == 6  # every move shows
    opened.click(".play")
    at: list[int] = []
    for _ in range(200):  # the page's policy forbids the waiting of the test library
        at.append(int(opened.evaluate("+document.querySelector('.turning').dataset.frame")))
        if 3 < at[-1] < last:
            break
        opened.wait_for_timeout(50)
    assert 3 < at[-1] < last, at
    opened.click(".play")


def test_it_prints(opened: Any) -> None:
    for paper in ("A4", "Letter"):
        assert opened.pdf(format=paper).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("losses", "reasons", "mood", "said"),
    [
        ((0.1, 0.3), ("", ""), "good", "0.100 to 0.300 mm"),
        ((0.2, None), ("", NOT_HELD), "doubt", "1 of 2 do not hold"),
        ((None, None), (f"{MORE_THAN}0.6 mm", NOT_HELD), "doubt", "1 of 2 do not hold"),
        ((None, None), (NOT_HELD, NOT_HELD), "bad", "2 of 2 do not hold"),
        ((None, None), (f"{MORE_THAN}0.6 mm", f"{MORE_THAN}0.6 mm"), "good", "every loss"),
        ((None, 0.2), ("the solve stopped", ""), "doubt", "1 of 2 have no answer"),
    ],
)
def test_a_margin_is_good_only_where_it_holds_everywhere(
    losses: tuple[float | None, ...], reasons: tuple[str, ...], mood: str, said: str
) -> None:
    study = load_study("depth-dome-radius")
    rows = tuple(Tolerable({}, "springback", loss, 0.01, 0.62, why, 3)
                 for loss, why in zip(losses, reasons, strict=True))  # fmt: skip
    report = MarginReport(study, pd.DataFrame(), {}, [], rows, (), None, None, "")
    (_, _, answer), (verdict, found) = margin_head(report)
    assert found == mood
    assert said in f"{answer}; {verdict}"


def test_the_command_writes_it(tmp_path: Path) -> None:
    from typer.testing import CliRunner

    from domemargin.studies.cli.app import app

    done = CliRunner().invoke(app, ["reversal", "north", "--report", "--out", str(tmp_path)])
    assert done.exit_code == 0, done.output
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert 50_000 < len(text.encode()) <= MOST_BYTES
    assert "report.html" in done.output
