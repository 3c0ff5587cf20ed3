"""The report: one file, everything escaped, readable in a browser."""

import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from optimizer.run_folder import Run, draw_run, read_run, write_run
from optimizer.season import season_from_data

HOSTILE = "<script>alert('x')</script> & \"$a_{b}$ =1+1 π"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


class Page(HTMLParser):
    """Collects tags, addresses, text and whether every tag is closed."""

    EMPTY = ("meta", "img", "br")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [value for key, value in attrs if key in ("src", "href")]
        self.ids += [value for key, value in attrs if key == "id"]
        assert not [key for key, _ in attrs if key.startswith("on")]
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


@pytest.fixture(scope="module")
def hostile_folder(tmp_path_factory):
    """Where the run with hostile names is drawn, once."""
    return tmp_path_factory.mktemp("hostile") / "run"


@pytest.fixture
def hostile_run(hostile_folder, season, result) -> Run:
    if hostile_folder.exists():
        return read_run(hostile_folder)
    source = season.source | {"season": {"name": HOSTILE, "scale": 4.0}}
    source["spaces"] = [{**source["spaces"][0], "name": HOSTILE}, *source["spaces"][1:]]
    first = result.candidates[0]
    evaluation = first.evaluation | {
        "spaces": [first.evaluation["spaces"][0] | {"name": HOSTILE}, first.evaluation["spaces"][1]],
        "reasons_not": [HOSTILE],
    }
    hostile = replace(
        first, role=HOSTILE, topology=HOSTILE, evaluation=evaluation, reasons=(HOSTILE,),
        prices=({"rule": HOSTILE, "db_per_unit": 1.0, "unit": HOSTILE, "verified": False},),
    )  # fmt: skip
    changed = replace(
        result,
        candidates=(hostile, *result.candidates[1:]),
        topologies=(
            replace(result.topologies[0], topology=HOSTILE),
            *result.topologies[1:-1],
            replace(result.topologies[-1], topology=HOSTILE, why_none=HOSTILE),
        ),
        front=(replace(result.front[0], topology=HOSTILE), *result.front[1:]),
    )
    run = write_run(hostile_folder, season_from_data(source, season.path), changed)
    draw_run(run)
    return read_run(run.folder)


def page_of(run: Run) -> str:
    return (run.folder / "report.html").read_text(encoding="utf-8")


def test_hostile_names_are_text(hostile_run) -> None:
    text = page_of(hostile_run)
    page = Page(text)
    assert "script" not in page.tags and page.open == []
    assert "<script" not in text
    assert page.text.count(HOSTILE) >= 6
    for svg in hostile_run.folder.rglob("*.svg"):
        assert "<script" not in svg.read_text(encoding="utf-8")


def test_one_file_that_needs_no_other(hostile_run) -> None:
    text = page_of(hostile_run)
    page = Page(text)
    pictures = [a for a in page.addresses if a.startswith("data:image/svg+xml;base64,")]
    inner = [a for a in page.addresses if a.startswith("#")]
    assert len(pictures) == 3 * len(hostile_run.candidates) + 2
    assert sorted(pictures + inner) == sorted(page.addresses)
    assert {a[1:] for a in inner} <= set(page.ids)
    assert "url(" not in text and "@import" not in text


def test_says_what_matters(tmp_path, season, result) -> None:
    run = write_run(tmp_path / "run", season, result)
    draw_run(run)
    text = Page(page_of(run)).text
    best = result.candidates[0]
    closed = next(c for c in result.candidates if c.graph == "oA")
    assert f"The first-ranked box is: {best.topology}. It scores {best.score_db:.1f} dB" in text
    gain = best.score_db - closed.score_db
    assert f"closed box found scores {closed.score_db:.1f} dB, a difference of {gain:+.1f} dB" in text
    assert "3 of 4 topologies gave a design that fits" in text
    assert "+1.25 dB per mm" in text and "solved again with a new box" in text
    for words in (
        "NIOSH 98-126",
        "2003/10/EC",
        "voice coils",
        "Mains",
        "Fumes",
        "Local codes",
        season.config_hash,
    ):
        assert words in text
    assert "stopped early" not in text


@pytest.mark.skipif(CHROMIUM is None, reason="needs the browser chromium (apt-get install chromium)")
@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_overflows_in_a_browser(tmp_path, hostile_run, width) -> None:
    """The page itself never scrolls sideways; wide tables scroll in their own frame."""
    measure = (
        "<script>addEventListener('load', () => { const f = document.querySelector('iframe');"
        "f.style.height = '900px'; const d = f.contentDocument;"
        "const bad = [...d.images].filter(i => !i.complete || i.naturalWidth === 0).length;"
        "const wide = d.documentElement.scrollWidth;"
        "document.title = `wide=${wide} bad=${bad} images=${d.images.length}`; });</script>"
    )
    report = hostile_run.folder / "report.html"
    frame = tmp_path / "frame.html"
    page = f'<iframe src="{report.as_uri()}" style="width:{width}px;border:0"></iframe>'
    frame.write_text(page + measure)
    dom = subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
         "--allow-file-access-from-files", f"--user-data-dir={tmp_path / 'profile'}",
         "--virtual-time-budget=5000", "--window-size=1400,1000", "--dump-dom", frame.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    ).stdout  # fmt: skip
    found = re.search(r"<title>wide=(\d+) bad=(\d+) images=(\d+)</title>", dom)
    assert found, dom[:500]
    assert int(found[1]) <= width and int(found[2]) == 0 and int(found[3]) == 11
