"""The report in a browser: quiet, self-contained, and its views linked."""

import json
from dataclasses import replace

import pytest
from PIL import Image

from models.score import Judge
from optimizer.design_file import read_design
from optimizer.figures import figure_makers
from optimizer.report import report_page
from optimizer.run_folder import Run, read_run, write_run
from tests.optimizer.browser import browser, complaints_of, needs_browser, open_page, requests_of, wait_for

pytest.importorskip("bokeh", reason="needs the extra report")

HOSTILE = "<img src=x onerror=alert(1)></script><script>alert('x')</script>\u2028 $$x^2$$ &amp; \"'"
READY = "document.documentElement.dataset.explored"
MODEL = (
    "const model = (name) => Bokeh.documents.map(d => d.get_model_by_name(name)).find(one => one !== null);"
)


PRICE = {
    "rule": "limits.excursion_mm", "db_per_unit": 0.000749123, "db_per_unit_more": 0.000749123,
    "db_per_unit_less": 0.0354321, "unit": "mm", "of": "free network", "base_db": 136.31, "verified": True,
    "held": "type and places of its mouths", "box": "designed anew", "unique": False,
    "unchanged_db_per_unit": -0.00123456, "dropped_gain_db": 12.34,
}  # fmt: skip
"""The widest row that a table of prices may hold."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where one run is drawn for all tests here."""
    return tmp_path_factory.mktemp("explored") / "run"


@pytest.fixture
def run(folder, season, explored_result) -> Run:
    """A run to explore, with hostile names where a file could hold them."""
    if not folder.exists():
        candidates = tuple(replace(one, prices=(PRICE,)) for one in explored_result.candidates)
        written = write_run(folder, season, replace(explored_result, candidates=candidates))
        for place, _ in figure_makers(written):  # blank ones; test_report.py looks at drawn ones
            Image.new("RGB", (896, 600), "white").save(folder / f"{place}.png")
        record = json.loads((folder / "explore.json").read_text())
        record["topology"]["names"][0] = HOSTILE
        record["curves"]["spaces"][0] = HOSTILE
        (folder / "explore.json").write_text(json.dumps(record, ensure_ascii=False))
        read = read_run(folder)
        (folder / "report.html").write_text(report_page(read), encoding="utf-8")
    return read_run(folder)


def state(driver) -> dict:
    return driver.execute_script(
        MODEL + "return {words: document.getElementById('explore-state').textContent,"
        "points: model('points').data.design.length, marked: model('points').selected.indices.length,"
        "sizes: model('sizes-lines').data.y.length, curves: model('level_db-lines').data.y.length,"
        "level: model('level_db-chosen').data.y[0], rows: document.querySelectorAll('#rows tr.on').length,"
        "name: document.getElementById('chosen-name').textContent,"
        "file: document.getElementById('chosen-file').textContent}"
    )


def drag(driver, element, start, steps) -> None:
    """A real drag of the mouse from a place of an element, given from its centre."""
    from selenium.webdriver import ActionChains

    actions = ActionChains(driver, duration=50)
    actions.move_to_element_with_offset(element, *start).click_and_hold()
    for step in steps:
        actions.move_by_offset(*step)
    actions.release().perform()


@needs_browser
def test_quiet_and_linked(tmp_path, run, season) -> None:
    with browser(tmp_path / "profile") as driver:
        open_page(driver, run.folder / "report.html", READY)
        before = state(driver)
        total = len(run.explore["candidate"])
        assert before["marked"] == before["sizes"] == before["rows"] == 0 and before["points"] > 0.9 * total
        plot = driver.find_element("id", "plot-points")
        driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", plot)
        drag(driver, plot, (-200, -140), [(200, 100), (190, 60)])
        wait_for(driver, "document.querySelectorAll('#rows tr.on').length")
        dragged = state(driver)
        assert 0 < dragged["marked"] < dragged["points"]
        assert dragged["sizes"] == dragged["curves"] == min(dragged["marked"], 60)
        assert f"{dragged['marked']} selected" in dragged["words"]
        assert dragged["rows"] == min(dragged["marked"], 100)

        driver.find_element("id", "f-clear").click()
        assert state(driver)["marked"] == 0
        rows = driver.find_elements("css selector", "#rows tr")
        rows[-1].click()
        picked = state(driver)
        assert picked["marked"] == picked["sizes"] == picked["curves"] == picked["rows"] == 1
        assert picked["level"] != before["level"] and picked["name"] != before["name"]

        path = tmp_path / "picked.toml"
        path.write_text(picked["file"], encoding="utf-8")
        judge = Judge(season.rules, backend="numpy")
        score = float(judge.scores(judge.respond(read_design(path, season.rules)))[0])
        assert f"score {score:.3f} dB" in picked["file"]

        driver.find_element("css selector", "#f-kind option:nth-child(3)").click()
        filtered = state(driver)
        assert 0 < filtered["points"] < before["points"]
        driver.find_element("id", "f-front").click()
        assert state(driver)["points"] == 1
        assert complaints_of(driver) == []
        assert requests_of(driver) == {(run.folder / "report.html").as_uri()}


@needs_browser
def test_hostile_names_stay_text(tmp_path, run) -> None:
    with browser(tmp_path / "profile") as driver:
        open_page(driver, run.folder / "report.html", READY)
        driver.execute_script(f"{MODEL} model('points').selected.indices = [0, 1, 2, 3, 4, 5]")
        texts = [one.get_attribute("textContent") for one in driver.find_elements("tag name", "option")]
        assert any(text.startswith(HOSTILE) for text in texts)
        assert driver.execute_script("return document.querySelectorAll('img[src=x]').length") == 0
        scripts = driver.execute_script("return document.scripts.length")
        assert scripts == 5 and complaints_of(driver) == []


@needs_browser
@pytest.mark.parametrize("width", [390, 1280])
def test_no_sideways_scroll(tmp_path, run, width) -> None:
    with browser(tmp_path / "profile", width) as driver:
        open_page(driver, run.folder / "report.html", READY)
        driver.execute_script("for (const one of document.querySelectorAll('details')) one.open = true")
        wide, broken = driver.execute_script(
            "return [document.documentElement.scrollWidth,"
            " [...document.images].filter(i => !i.complete || !i.naturalWidth).length]"
        )
        assert (wide, broken) == (width, 0)
        hidden = driver.execute_script(
            "return [...document.querySelectorAll('.card .wide, #rules .wide')]"
            ".map(box => box.scrollWidth - box.clientWidth).filter(more => more > 0)"
        )
        assert hidden == []  # a table of prices fits a phone, kinks and all
        broken_words = driver.execute_script(
            "return [...document.querySelectorAll('.record td:first-child')].filter(cell =>"
            " !/[ -]/.test(cell.innerText) && cell.getClientRects()[0].height > 40).map(c => c.innerText)"
        )
        assert broken_words == []
        pages = driver.execute_cdp_cmd("Page.printToPDF", {})
        assert len(pages["data"]) > 10_000 and complaints_of(driver) == []


def test_without_the_extra_nothing_is_explored(run, monkeypatch) -> None:
    monkeypatch.setattr("optimizer.report_explore.find_spec", lambda _: None)
    assert 'id="explore"' not in report_page(run)


def test_weight(run) -> None:
    """Of the four million bytes that a page may weigh, one and a half are left for figures and designs."""
    text = (run.folder / "report.html").read_text(encoding="utf-8")
    assert len(text.encode()) < 2_500_000
    without = report_page(replace(run, explore=None))
    assert len(without.encode()) < 1_000_000 and "Bokeh" not in without and 'id="explore"' not in without
