"""What is in view at each size and in each scheme, and whether everybody can use it."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import samples
from browsing import SCHEMES, SIZES, TAB, Browser
from standing_in import Page, page_over

AXE = files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
FAULTS = """
    const [done] = arguments;
    axe.run(document, {resultTypes: ['violations']}).then(({violations}) => done(violations.map(
        ({id, nodes}) => `${id}: ${nodes.map((node) => node.html.slice(0, 120)).join(' | ')}`)));"""
STILL = {"prefers_reduced_motion": "reduce"}  # colours are measured, not the way to them
SHOWN = samples.ALL | {"failed": samples.FAILED, "simulated": samples.SIMULATED}
FULLEST = ("warned", "locked out")
WIDTHS = "return [document.documentElement.scrollWidth, innerWidth]"


def watching(browser: Browser, page: Page, *, unfolded: bool = True) -> None:
    browser.visit(page.url)
    browser.wait_until("document.querySelector('#trend-plot path')")
    if unfolded:
        browser.run("for (const one of document.querySelectorAll('details')) one.open = true")


def faults(browser: Browser) -> list[str]:
    found = browser.run_async(FAULTS)
    assert isinstance(found, list)
    return found


@pytest.mark.parametrize("name", SHOWN)
def test_axe_finds_nothing(browser: Browser, tmp_path: Path, name: str) -> None:
    """axe-core: WCAG 2 A and AA and what its authors call best practice.

    Each on the phone; the wider layouts, which hold the same parts, with the fullest of them.
    """
    with page_over(tmp_path, SHOWN[name]) as page:
        browser.be("phone", **STILL)
        watching(browser, page)
        browser.run(AXE)
        for size in SIZES if name in FULLEST else ("phone",):
            for scheme in SCHEMES:
                browser.be(size, scheme, **STILL)
                assert faults(browser) == [], (size, scheme)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_axe_finds_nothing_where_nothing_is_fresh(
    browser: Browser, tmp_path: Path, scheme: str
) -> None:
    with page_over(tmp_path, samples.LOCKED_OUT, age_s=3.5) as page:
        browser.be("phone", scheme, **STILL)
        watching(browser, page)
        browser.run(AXE)
        assert browser.texts("#state") == ["NO FRESH DATA"]
        assert faults(browser) == []


@pytest.mark.parametrize("scheme", SCHEMES)
def test_axe_finds_nothing_in_the_dialog_and_in_an_alarm(
    browser: Browser, tmp_path: Path, scheme: str
) -> None:
    with page_over(tmp_path, samples.CLOSED) as page:
        browser.be("phone", scheme, **STILL)
        watching(browser, page)
        browser.run(AXE)
        browser.click("#sound")
        browser.wait_for("ALARM: act now", "sound-head")
        assert faults(browser) == []
        browser.run("document.getElementById('token').value = 'a-token'")
        browser.click("#open-ask")
        browser.wait_until("!document.getElementById('open-now').disabled")
        assert faults(browser) == []


IN_VIEW = """
    const bar = document.querySelector('.hands').getBoundingClientRect().top;
    return [...document.querySelectorAll('PLACES')].filter((node) => {
        const {top, bottom, width} = node.getBoundingClientRect();
        return width === 0 || top < 0 || bottom > bar + 1;
    }).map((node) => node.id || node.className);"""
FIRST = (
    "#state, #meaning, #verdict, #first-cue .call, #front_cell span, #far_cell span, #shunt span, "
    "#margin span, #to-limit-time, #to-full, #stages [aria-current] .word"
)


@pytest.mark.parametrize("name", ["closed", "held", "warned", "probed", "simulated"])
def test_the_first_look_at_a_phone_tells_it_all(
    browser: Browser, tmp_path: Path, name: str
) -> None:
    """State, rules, cue, cells, current, margin, time to the limit and to full, stage."""
    browser.be("phone")
    with page_over(tmp_path, SHOWN[name]) as page:
        watching(browser, page, unfolded=False)
        assert browser.run(f"return document.querySelectorAll('{FIRST}').length") == 11
        assert browser.run(IN_VIEW.replace("PLACES", FIRST)) == []


@pytest.mark.parametrize("name", ["locked out", "failed", "unfit", "finished", "paused"])
def test_the_first_look_at_a_phone_when_it_is_open(
    browser: Browser, tmp_path: Path, name: str
) -> None:
    browser.be("phone")
    places = "#state, #meaning, #opened:not([hidden]), #verdict, "
    places += "#front_cell span, #far_cell span, #shunt span"
    with page_over(tmp_path, SHOWN[name]) as page:
        watching(browser, page, unfolded=False)
        assert browser.run(IN_VIEW.replace("PLACES", places)) == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("text", ["100%", "200%"])
def test_nothing_needs_scrolling_sideways(
    browser: Browser, tmp_path: Path, size: str, text: str
) -> None:
    """WCAG 2.2, 1.4.4 and 1.4.10 (memory): twice the size without loss, no second direction."""
    browser.be(size)
    for sample in (samples.WARNED, samples.LOCKED_OUT, samples.UNFIT, samples.FINISHED):
        with page_over(tmp_path, replace(sample, silent_s=61.0, simulated=True)) as page:
            watching(browser, page)
            browser.run(f"document.documentElement.style.fontSize = '{text}'")
            width, inner = browser.run(WIDTHS)
            assert width <= inner
            cut = """
                return [...document.querySelectorAll('main *, header *, .hands *')].filter((n) =>
                    n.children.length === 0 && n.clientWidth > 0 && !n.closest('svg, .aloud')
                    && n.scrollWidth > n.clientWidth + 1).map((n) => n.outerHTML.slice(0, 80));"""
            assert browser.run(cut) == []
            bars = """
                return [...document.querySelectorAll('.top, .hands')]
                    .filter((n) => getComputedStyle(n).position === 'sticky')
                    .reduce((sum, n) => sum + n.clientHeight, 0) / innerHeight;"""
            assert browser.run(bars) < 1 / 3


def test_every_finger_finds_its_place(browser: Browser, tmp_path: Path) -> None:
    """At least 44 by 44 CSS pixels: WCAG 2.2, 2.5.5 (memory)."""
    browser.be("phone")
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        small = """
            return [...document.querySelectorAll('button, .hands a, input:not([hidden])')]
                .map((n) => n.closest('label') ?? n)
                .filter((n) => n.checkVisibility())
                .map((n) => [n.id || n.textContent, n.getBoundingClientRect()])
                .filter(([, r]) => r.width < 44 || r.height < 44).map(([name]) => name);"""
        assert browser.run(small) == []


def test_by_keyboard_everything_in_its_order(browser: Browser, tmp_path: Path) -> None:
    """Each stop is seen, not hidden below a bar, and marked."""
    browser.be("phone")
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page, unfolded=False)
        expected = browser.run("""
            const stops = document.querySelectorAll('a, button, input, summary');
            const isOne = (n) => n.checkVisibility() && !n.disabled && !n.closest('dialog');
            return [...stops].filter(isOne).length;""")
        tops: list[float] = []
        for _ in range(expected):
            browser.press(TAB)
            top, outline, covered = browser.run("""
                const n = document.activeElement, {top, bottom} = n.getBoundingClientRect();
                const bar = document.querySelector('.hands').getBoundingClientRect().top;
                const head = document.querySelector('.top').getBoundingClientRect().bottom;
                return [top + scrollY, getComputedStyle(n).outlineStyle,
                    !n.closest('.hands') && (bottom > bar + 1 || top < head - 1)];""")
            assert outline != "none"
            assert not covered
            tops.append(top)
        at_hand = tops[:-2]  # the bar comes last in the page
        assert at_hand == sorted(at_hand)


def test_without_motion_nothing_moves(browser: Browser, tmp_path: Path) -> None:
    browser.be("phone", **STILL)
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        assert moving(browser) == []


def moving(browser: Browser) -> Any:
    return browser.run("""
        return [...document.querySelectorAll('*')].filter((n) => {
            const {transitionDuration, animationName} = getComputedStyle(n);
            return transitionDuration !== '0s' || animationName !== 'none';
        }).map((n) => n.tagName);""")


def test_forced_colours_keep_what_is_told_by_shape(browser: Browser, tmp_path: Path) -> None:
    browser.be("phone", forced_colors="active")
    with page_over(tmp_path, samples.CLOSED, age_s=3.5) as page:
        watching(browser, page)
        style = "const {%s: one} = getComputedStyle(document.querySelector('%s')); return one"
        assert browser.run(style % ("borderInlineStyle", "body")) == "dashed"
        assert browser.run(style % ("borderTopStyle", ".age")) == "solid"
        assert browser.run(style % ("outlineStyle", "[aria-pressed=true]")) == "solid"
        assert browser.run(style % ("textDecorationLine", "#front_cell .live")) == "line-through"


def test_live_regions_do_not_chatter(browser: Browser, tmp_path: Path) -> None:
    """Figures change each second; nobody is to have them read aloud each second."""
    assert samples.CLOSED.guidance is not None
    with page_over(tmp_path, samples.CLOSED) as page:
        watching(browser, page)
        browser.run("""
            window.told = [];
            for (const region of document.querySelectorAll('[role=alert], [role=status]'))
                new MutationObserver(() => window.told.push(region.id || region.textContent))
                    .observe(region, {childList: true, characterData: true, subtree: true});""")
        for number in range(5):
            moved = tuple(
                replace(c, value=(c.value or 0) + number / 100) for c in samples.CLOSED.channels
            )
            page.tell(replace(samples.CLOSED, channels=moved))
            browser.wait_until(
                f"document.querySelector('#front_cell .live').textContent"
                f" === '{3.462 + number / 100:.3f}'"
            )
        assert browser.run("return window.told.filter((one) => !one.startsWith('cue-'))") == []
