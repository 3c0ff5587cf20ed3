"""The report: one file, everything escaped, readable in a browser."""

import base64
import hashlib
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any
from urllib.parse import unquote

import pytest

from optimizer.report import report_page
from optimizer.report_parts import PRINT_SCRIPT
from optimizer.run_folder import Run, draw_run, read_run, write_run
from optimizer.season import season_from_data

HOSTILE = "<script>alert('x')</script> & \"$a_{b}$ =1+1 π"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


class Page(HTMLParser):
    """Collects tags, addresses, text and whether every tag is closed."""

    EMPTY = ("meta", "img", "br", "input")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.scripts: list[str] = []
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
        if self.open and self.open[-1] in ("script", "style"):
            self.scripts.append(data)
        else:
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
    assert page.open == []
    assert page.scripts.count(PRINT_SCRIPT) == 1
    assert not [script for script in page.scripts if "alert" in script]
    assert page.text.count(HOSTILE) >= 6
    for svg in hostile_run.folder.rglob("*.svg"):
        assert "<script" not in svg.read_text(encoding="utf-8")


def test_one_file_that_needs_no_other(hostile_run) -> None:
    text = page_of(hostile_run)
    page = Page(text)
    pictures = [a for a in page.addresses if a.startswith("data:image/webp;base64,")]
    saved = [a for a in page.addresses if a.startswith("data:text/plain;base64,")]
    inner = [a for a in page.addresses if a.startswith("#")]
    files = [a for a in page.addresses if a.startswith("candidates/")]
    assert len(pictures) == 3 * len(hostile_run.candidates) + 2
    assert sorted(pictures + saved + inner + files) == sorted(page.addresses)
    assert {a[1:] for a in inner} <= set(page.ids)
    assert files and all((hostile_run.folder / unquote(a)).is_file() for a in files)
    marked = re.sub(r"<script\b.*?</script>", "", text, flags=re.S)
    assert "url(" not in marked and "@import" not in marked


def test_a_saved_design_file_is_that_of_the_folder(hostile_run) -> None:
    page = Page(page_of(hostile_run))
    saved = [a.partition(",")[2] for a in page.addresses if a.startswith("data:text/plain;base64,")]
    texts = [(hostile_run.folder / c["design"]).read_bytes() for c in hostile_run.candidates]
    assert [base64.b64decode(one) for one in saved] == texts


def test_the_policy_permits_the_page_s_own_scripts_alone(hostile_run) -> None:
    text = page_of(hostile_run)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert policy and "default-src 'none'" in policy[1] and "unsafe-eval" not in policy[1]
    allowed = set(re.findall(r"'sha256-([^']+)'", policy[1]))
    scripts = re.findall(r"<script>(.*?)</script>", text, re.S)
    digests = {base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts}
    assert digests == allowed and "'unsafe-inline'" not in policy[1].partition("script-src")[2]


def test_places_come_from_the_rank_alone(hostile_run) -> None:
    """A record that names another file does not lead the page out of its folder."""
    candidates = [dict(hostile_run.candidates[0], design="../../etc/passwd"), *hostile_run.candidates[1:]]
    page = Page(report_page(replace(hostile_run, candidates=candidates)))
    assert not [a for a in page.addresses if "passwd" in a]
    assert "candidates/01/design.toml" in page.addresses


def ceiling_of(**values: float) -> dict[str, Any]:
    rungs = {
        "driver and power alone: any enclosure": "bound",
        "certified: any closed box": "bound",
        "every tone with its own box": "evidence",
    }
    return {
        "rungs": [
            {"name": name, "value_db": value, "kind": rungs[name], "void_if": HOSTILE}
            for name, value in values.items()
        ],
        "prices": [{"rule": "limits.power_w", "dropped_gain_db": 0.75}],
        "verdict": ["Of the types, one leads."],
        "audit": {"sentences": ["A tone an octave lower would let another win."]},
    }


def test_the_ceiling_is_told_where_it_is_known(hostile_run) -> None:
    without = Page(page_of(hostile_run)).text
    assert "not sought" in without and "boxwright ceiling run/season.toml --run run" in without
    names = {"driver and power alone: any enclosure": 150.25, "every tone with its own box": 140.75}
    ceiling = ceiling_of(**names, **{"certified: any closed box": 120.0})
    text = Page(report_page(replace(hostile_run, ceiling=ceiling))).text
    assert "no enclosure can score more than 150.2 dB" in text and "reached 140.8 dB" in text
    assert "one leads" in text and "an octave lower" in text
    assert text.count(HOSTILE) >= 9 and "not sought" not in text and "0.75" in text
    evidence = ceiling_of(**{"every tone with its own box": 140.75})
    assert "about 140.8 dB" in Page(report_page(replace(hostile_run, ceiling=evidence))).text


def test_what_other_commands_add_is_shown(hostile_run) -> None:
    first = hostile_run.candidates[0]
    plain = Page(report_page(hostile_run)).text
    assert "coil hot" not in plain and "deviations" not in plain
    space = first["evaluation"]["spaces"][0]
    tones = [tone | {"hot_level_db": tone["level_db"] - 0.75} for tone in space["tones"]]
    more = first | {"evaluation": first["evaluation"] | {"spaces": [space | {"tones": tones}]}}
    page = Page(report_page(replace(hostile_run, candidates=[more])))
    assert "lose 0.8 to 0.8 dB" in page.text or "lose 0.7 to 0.8 dB" in page.text
    assert page.open == [] and not [script for script in page.scripts if "alert" in script]


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
