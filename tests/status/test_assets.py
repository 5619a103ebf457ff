"""The page's own files: all its own, small, complete in the worker and the manifest."""

import json
import re
import struct
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from supervisor.protection.trip_names import NAMES
from supervisor.snapshot import Circuit, Stage, Urgency
from supervisor.status.app import ASSETS
from supervisor.status.status_file import PROBE_STALE_AFTER_S, STALE_AFTER_S
from supervisor.status.wellformed import RULE_STATES

Ask = Callable[..., httpx.Response]

LARGEST_BYTES = 150_000
TEXTS = [file for file in ASSETS.iterdir() if file.suffix != ".png"]
LONGEST_LINES = 300
PNG_HEADER = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"  # W3C PNG, sections 5.2 and 11.2.1


def text_of(name: str) -> str:
    return (ASSETS / name).read_text(encoding="utf-8")


def scripts() -> str:
    return "\n".join(text_of(file.name) for file in TEXTS if file.suffix == ".js")


def worker_files() -> list[str]:
    (block,) = re.findall(r"const FILES = \[(.*?)\];", text_of("service-worker.js"), re.S)
    return re.findall(r'"([^"]+)"', block)


def test_all_of_it_is_small() -> None:
    assert sum(file.stat().st_size for file in ASSETS.iterdir()) < LARGEST_BYTES


@pytest.mark.parametrize("file", TEXTS, ids=[file.name for file in TEXTS])
def test_nothing_comes_from_outside_and_nothing_is_long(file: Path) -> None:
    text = text_of(file.name).replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"(https?:)?//[\w.-]+\.\w", text)
    assert len(text.splitlines()) <= LONGEST_LINES


def test_what_the_page_names_is_served(ask: Ask) -> None:
    named = re.findall(r'(?:src|href)="((?:assets/|manifest)[^"]+)"', text_of("index.html"))
    assert len(named) >= 6
    for path in (*named, *worker_files(), "service-worker.js"):
        assert ask("/" + path.removeprefix("./")).status_code == 200, path


def test_no_inline_script_or_style() -> None:
    text = text_of("index.html")
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", text)
    assert re.findall(r"<script[^>]*>(?!</script>)", text) == []


def test_stale_until_told_otherwise() -> None:
    text = text_of("index.html")
    assert 'data-fresh="false"' in text
    assert '<h2 id="state">No fresh data</h2>' in text


def test_the_worker_keeps_the_pages_files_and_nothing_else() -> None:
    """Every script and style, as one that is missing leaves a page that cannot say it is old."""
    kept = set(worker_files())
    needed = {f"assets/{f.name}" for f in TEXTS if f.suffix in (".js", ".css", ".svg")}
    assert needed - {"assets/service-worker.js"} <= kept
    assert not [path for path in kept if "api" in path or "metrics" in path]


def test_the_only_thing_sent_is_open() -> None:
    assert re.findall(r"method: \"(\w+)\"", scripts()) == ["POST"]
    paths = set(re.findall(r"(?:fetch|EventSource)\([\"`]([\w/]+)", scripts()))
    assert paths == {"api/status", "api/stream", "api/history", "api/open"}


def test_the_manifest_and_its_icons(ask: Ask) -> None:
    answer = ask("/manifest.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    manifest = json.loads(answer.content)
    assert manifest["display"] == "standalone"
    pictures = [icon for icon in manifest["icons"] if icon["type"] == "image/png"]
    assert {icon["sizes"] for icon in pictures} == {"192x192", "512x512"}
    for icon in pictures:
        content = ask("/" + icon["src"]).content
        assert content.startswith(PNG_HEADER)
        width, height = struct.unpack_from(">II", content, len(PNG_HEADER))
        assert icon["sizes"] == f"{width}x{height}"
        assert "maskable" in icon["purpose"]
        assert len(content) < 8_000


def test_every_state_has_a_word_and_a_shape_of_its_own() -> None:
    shapes = re.findall(r'^  "([a-z ]+)": \["([a-z]+)", "([A-Z][a-z ]+)", "', scripts(), re.M)
    assert {state for state, _, _ in shapes} == {circuit.value for circuit in Circuit}
    names = [shape for _, shape, _ in shapes] + ["failed", "none"]
    assert len(set(names)) == len(Circuit) + 2
    drawn = re.findall(r'<path class="only ([a-z ]+)"', text_of("index.html"))
    pictures = {n: tuple(i for i, d in enumerate(drawn) if n in d.split()) for n in names}
    assert len(set(pictures.values())) == len(names)
    assert all(pictures.values())


@pytest.mark.parametrize(
    ("name", "seconds"),
    [("STALE_AFTER_S", STALE_AFTER_S), ("PROBE_STALE_AFTER_S", PROBE_STALE_AFTER_S)],
)
def test_page_and_metrics_agree_on_what_is_old(name: str, seconds: float) -> None:
    assert re.findall(rf"const {name} = (\d+);", scripts()) == [f"{seconds:.0f}"]


def test_the_page_says_when_lost_data_sound() -> None:
    seconds = re.findall(r"const (?:LOST_AFTER|NOTICED)_S = (\d+);", scripts())
    assert len(seconds) == 2
    told = " ".join(text_of("index.html").split())
    assert f"sound after about {sum(map(int, seconds))} s" in told
    assert f"shown after {STALE_AFTER_S:.0f} s" in told


def test_every_stage_of_a_charge_has_its_place() -> None:
    stages = [stage.value for stage in Stage if stage is not Stage.NONE]
    assert re.findall(r'<li data-stage="([a-z]+)"', text_of("index.html")) == stages


@pytest.mark.parametrize("state", [*RULE_STATES, "off", "warning", *(u.value for u in Urgency)])
def test_every_state_and_urgency_has_a_mark(state: str) -> None:
    assert f'<symbol id="mark-{state.replace(" ", "-")}"' in text_of("index.html")


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_contrast() -> None:
    """WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1, by day and by night (memory)."""
    schemes = re.findall(r":root \{(.*?)\}", text_of("status.css"), re.S)
    assert len(schemes) == 2
    for scheme in schemes:
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", scheme))
        paper = luminance(colours.pop("paper"))
        del colours["hair"]
        assert len(colours) >= 7
        for name, colour in colours.items():
            low, high = sorted((paper, luminance(colour)))
            assert (high + 0.05) / (low + 0.05) >= 4.5, name


def test_what_comes_from_outside_the_rules_is_called_the_same_everywhere() -> None:
    words = text_of("words.js")
    (names,) = re.findall(r"^const NAMES = \{ (.*) \};$", words, re.MULTILINE)
    assert names == ", ".join(f'{key}: "{name}"' for key, name in NAMES.items())
