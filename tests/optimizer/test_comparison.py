"""Runs side by side: what differs, who wins, what binds; and the command that writes the page."""

from dataclasses import replace

import pytest
from PIL import Image

from optimizer.comparison import comparison_page, differing
from optimizer.figures import figure_makers
from optimizer.run_folder import Run, write_run
from optimizer.season import season_from_data
from tests.optimizer.browser import browser, complaints_of, needs_browser, open_page, requests_of
from tests.optimizer.conftest import hand_made_result

HOSTILE = "<script>alert('x')</script> & \""


def with_blank_figures(run: Run) -> Run:
    for place, _ in figure_makers(run):
        Image.new("RGB", (896, 600), "white").save(run.folder / f"{place}.png")
    return run


@pytest.fixture
def runs(tmp_path, season, result, designs) -> list[Run]:
    """The same boxes under two seasons; the second names no limit of current and lost a box."""
    source = season.source | {"season": {"name": HOSTILE, "scale": 5.0}}
    source["limits"] = source["limits"] | {"power_w": 24.0}
    del source["limits"]["amplifier_a"]
    source["search"] = source["search"] | {"seed": 7}
    other = season_from_data(source, season.path)
    there = hand_made_result(other, designs)
    fewer = replace(there, candidates=there.candidates[1:], topologies=there.topologies[1:])
    found = [write_run(tmp_path / "a", season, result), write_run(tmp_path / "b & <b>", other, fewer)]
    return [with_blank_figures(run) for run in found]


def test_what_differs(runs) -> None:
    rows = {row[0]: row[1:] for row in differing(runs)}
    assert rows["limits.power_w"] == [12.0, 24.0] and rows["limits.amplifier_a"] == [6.0, None]
    assert rows["season.name"] == ["Test league", HOSTILE] and rows["search.seed"] == [1, 7]
    assert set(rows) == {
        "season.name", "season.scale", "limits.power_w", "limits.amplifier_a", "search.seed"
    }  # fmt: skip
    assert differing([runs[0], runs[0]]) == []


def test_many_differences_beside_the_first_tables(runs, tmp_path) -> None:
    """Elements of lists go by index from 0, as everywhere; no table is empty; an empty list says so."""
    spaces = [{"name": f"court {i}", "openings": []} for i in range(9)]
    source = runs[0].record["source"] | {"spaces": spaces}
    other = replace(runs[0], record=runs[0].record | {"source": source})
    assert "spaces[0].name" in {row[0] for row in differing([runs[0], other])}
    text = comparison_page([runs[0], other], tmp_path)
    assert "more: driver, tones, spaces and the like" in text and "<tbody></tbody>" not in text
    assert "<td>spaces[8].openings</td><td>not set</td><td>none</td>" in text


def test_says_who_wins_and_what_binds(runs, tmp_path) -> None:
    text = comparison_page(runs, tmp_path)
    first, second = (run.candidates[0] for run in runs)
    gap = abs(first["score_db"] - second["score_db"])
    assert f"The best scores lie {gap:.2f} dB apart. The rules differ" in text
    for winner in (first, second):
        assert f'<p class="score">{winner["score_db"]:.2f} dB</p>' in text
    assert f"<td>{first['topology']}</td><td>{first['graph']}</td>" in text
    assert "<td class=n>none</td>" in text
    for best in (first, second):
        stops = [entry["limit"] for entry in best["limits"]]
        assert f"<td class=n>{stops.count('power')} of {len(stops)}</td>" in text
    assert HOSTILE not in text and "<b>" not in text.replace("<p><b>", "")
    assert 'href="a/report.html"' in text and 'href="b%20%26%20%3Cb%3E/report.html"' in text
    alike = comparison_page([runs[0], runs[0]], tmp_path)
    assert "All runs have the same rules" in alike and "<p>None.</p>" in alike and "a 2</a>" in alike


@needs_browser
def test_narrow_and_quiet(runs, tmp_path) -> None:
    page = tmp_path / "page.html"
    page.write_text(comparison_page(runs, tmp_path), encoding="utf-8")
    with browser(tmp_path / "profile", 390) as driver:
        open_page(driver, page)
        assert driver.execute_script("return document.documentElement.scrollWidth") == 390
        assert complaints_of(driver) == [] and requests_of(driver) == {page.as_uri()}


def test_the_command_writes_it(run, season, result, tmp_path) -> None:
    small = replace(result, candidates=result.candidates[:1], front=(), topologies=result.topologies[-1:])
    folders = [write_run(tmp_path / name, season, small).folder for name in ("a", "b")]
    status, out, err = run("report", *folders)
    pages = [str(folder / "report.html") for folder in folders] + [str(tmp_path / "comparison.html")]
    assert (status, out.splitlines()) == (0, pages)
    assert "All runs have the same rules" in (tmp_path / "comparison.html").read_text(encoding="utf-8")
    status, out, err = run("report", folders[0], "--out", tmp_path / "page.html")
    assert status == 2 and "--out" in err and "one run only" in err
    status, out, err = run("report", *folders, "--out", tmp_path)
    assert status == 2 and "--out" in err and "is a folder" in err
