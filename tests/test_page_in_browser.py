"""The page in a real browser: what leads where, by mouse and by keyboard; nothing leaves it and nothing runs in it.

Chromium (Debian's package) is driven by playwright. Where either is missing the tests skip and say why; on the
build machine, where `CI` is set, they fail instead.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from habitatlint import files
from habitatlint.findings import Policy
from habitatlint.outputs.map.drawing import draw
from habitatlint.outputs.map.picture import Picture
from habitatlint.outputs.page import MOST_LINES, Assets, page
from habitatlint.review import Review
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parent.parent
TODAY = date(2026, 2, 10)
INJECTED = "<img src=x onerror=document.body.dataset.ran=1></script><script>document.body.dataset.ran=1</script>\u202e"
WIDE, PHONE = {"width": 1440, "height": 900}, {"width": 400, "height": 800}


@pytest.fixture(scope="module")
def write(review: Review, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Writes the page of a plan's text, with a picture beneath or without, and gives its path."""
    fonts = (files.asset(f"fonts/AtkinsonHyperlegibleNext-{weight}.woff2") for weight in ("Regular", "Bold"))
    assets = Assets(files.asset("page.css").decode(), files.asset("page.js").decode(), *fonts)
    folder = tmp_path_factory.mktemp("pages")

    def written(plan: str, picture: Picture | None = None) -> Path:
        path = folder / f"page-{abs(hash((plan, picture)))}.html"
        if not path.exists():
            report = review.check(Source("plan.habitat", plan), Policy(TODAY))
            path.write_text(page(draw(report), assets, today=TODAY, picture=picture), encoding="utf-8")
        return path

    return written


@pytest.fixture
def opened(browser: Any, write: Callable[..., Path]) -> Iterator[Callable[..., Any]]:
    """Opens a plan's page in a window; when the test is over, nothing was asked of any network and no script
    complained."""
    contexts: list[Any] = []
    strangers: list[str] = []
    complaints: list[str] = []

    def open_(plan: str, size: dict[str, int] = WIDE, picture: Picture | None = None, **how: Any) -> Any:
        own = write(plan, picture).as_uri()
        context = browser.new_context(viewport=size, **how)
        contexts.append(context)
        tab = context.new_page()
        tab.on("request", lambda asked: strangers.append(asked.url) if asked.url != own else None)
        tab.on("console", lambda said: complaints.append(f"{said.type}: {said.text}"))
        tab.on("pageerror", lambda error: complaints.append(str(error)))
        tab.goto(own)
        settle(tab)
        return tab

    yield open_
    for context in contexts:
        context.close()
    assert [url for url in strangers if not url.startswith("data:")] == []
    assert complaints == []


def settle(tab: Any) -> None:
    """Waits until what was asked for is drawn."""
    tab.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def is_seen(tab: Any, selector: str) -> bool:
    """Whether an element lies within the window and nothing hides its middle."""
    return bool(
        tab.evaluate(
            """selector => {
              const one = document.querySelector(selector);
              const box = one.getBoundingClientRect();
              const top = document.elementFromPoint(box.left + Math.min(box.width, 200) / 2, box.top + box.height / 2);
              return box.width > 0 && top !== null && (one === top || one.contains(top));
            }""",
            selector,
        )
    )


def seen(tab: Any) -> list[float]:
    """What the map shows: west, top, width and height in its own millimetres."""
    settle(tab)
    return [float(value) for value in tab.get_attribute("#sheet > svg", "viewBox").split()]


@pytest.fixture(scope="module")
def strip() -> str:
    return (ROOT / "examples" / "kestwick-strip.habitat").read_text(encoding="utf-8")


# -- a finding, its lines and its place --------------------------------------------------------------------------


def test_a_finding_leads_to_its_line_and_its_place(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.click("#f20 > .head")
    settle(tab)
    assert tab.get_attribute("#f20 > .head", "aria-expanded") == "true"
    line = tab.get_attribute("#f20 [data-do=line]", "data-to")
    assert "marked" in tab.get_attribute(f"#{line}", "class") and is_seen(tab, f"#{line}")
    assert "chosen" in tab.get_attribute('.finding[data-finding="20"]:is(g)', "class")
    assert tab.locator(".overlay .ring").count() == 1
    assert tab.text_content("#told").startswith("20 ")
    assert tab.evaluate("[...CSS.highlights.get('finding')][0].toString()").strip() in tab.text_content(f"#{line} code")


def test_a_place_on_the_map_leads_to_its_finding(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.click('g.finding[data-finding="20"] rect')
    settle(tab)
    assert tab.get_attribute("#f20", "class").split()[-1] == "chosen" and is_seen(tab, "#f20 > .head")
    assert tab.locator(".text li.marked").count() >= 1


def test_a_line_of_the_plan_leads_to_its_finding(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.locator('.text .tag[data-to="12"]').click()
    settle(tab)
    assert "chosen" in tab.get_attribute("#f12", "class") and is_seen(tab, "#f12 > .head")


def test_the_keyboard_goes_the_same_ways(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    focused = "document.activeElement.closest('[data-finding],[data-to],#sheet')"
    tab.keyboard.press("n")
    tab.keyboard.press("n")
    assert tab.evaluate(f"{focused}.id") == "f2"
    tab.keyboard.press("p")
    assert tab.evaluate(f"{focused}.id") == "f1"
    tab.focus("#f1 [data-do=place]")
    tab.keyboard.press("Enter")
    assert tab.evaluate(f"{focused}.matches('g.finding[data-finding=\"1\"]')")
    tab.keyboard.press("Space")
    assert tab.evaluate(f"{focused}.id") == "f1"
    tab.focus("#f1 [data-do=line]")
    tab.keyboard.press("Enter")
    assert tab.evaluate("document.activeElement.closest('.text') !== null")
    assert tab.evaluate("document.activeElement.dataset.to") == "1"
    tab.keyboard.press("Escape")
    assert tab.locator(".chosen, .marked, .ring").count() == 0


def test_a_thing_on_the_map_shows_its_lines(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.dispatch_event('#sheet [data-block="south-plot"] path', "click", {"bubbles": True})
    marked = tab.locator(".text li.marked code").all_text_contents()
    assert marked[0].startswith("food south-plot") and marked[-1].lstrip().startswith("outline")


# -- the map ------------------------------------------------------------------------------------------------------


def test_the_map_goes_nearer_and_aside_by_keys_buttons_and_wheel(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    whole = seen(tab)
    tab.focus("#sheet")
    tab.keyboard.press("+")
    near = seen(tab)
    assert near[2] < whole[2]
    tab.keyboard.press("ArrowRight")
    assert seen(tab)[0] > near[0]
    tab.keyboard.press("-")
    tab.keyboard.press("0")
    assert seen(tab) == pytest.approx(whole)
    tab.click("[data-do=in]")
    assert seen(tab)[2] == pytest.approx(near[2])
    tab.click("[data-do=whole]")
    box = tab.locator("#sheet").bounding_box()
    at = box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.4
    tab.mouse.move(*at)
    tab.mouse.wheel(0, -300)
    now = seen(tab)
    # what lies under the pointer stays under it
    assert now[0] + now[2] * 0.3 == pytest.approx(whole[0] + whole[2] * 0.3, abs=0.5)
    tab.mouse.down()
    tab.mouse.move(at[0] - 60, at[1], steps=3)
    tab.mouse.up()
    assert seen(tab)[0] > now[0]
    assert tab.locator(".chosen").count() == 0


def test_two_fingers_go_nearer(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip, PHONE, has_touch=True)
    before = seen(tab)
    fingers = tab.context.new_cdp_session(tab)
    for kind, apart in (("touchStart", 40), ("touchMove", 80), ("touchMove", 120), ("touchEnd", 0)):
        points = [{"x": 200 + side * apart, "y": 500, "id": side + 1} for side in (-1, 1)] if apart else []
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert seen(tab)[2] < before[2] * 0.6


def test_going_nearer_keeps_the_chosen_finding_in_sight(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.click("#f20 > .head")
    for _ in range(8):
        tab.click("[data-do=in]")
        settle(tab)
    assert is_seen(tab, 'g.finding[data-finding="20"] g:has(> rect)')


def test_signs_keep_their_size_when_the_map_goes_nearer(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    badge = "document.querySelector('g.finding rect').getBoundingClientRect().width"
    before = tab.evaluate(badge)
    tab.focus("#sheet")
    for _ in range(6):
        tab.keyboard.press("+")
    settle(tab)
    assert tab.evaluate(badge) == pytest.approx(before, rel=0.02)


def test_the_bar_of_scale_is_as_long_as_it_says(opened: Callable[..., Any], strip: str) -> None:
    """Two places of the plan, 900 yd apart, give the length of a yard on the screen."""
    tab = opened(strip)
    length, unit = tab.text_content(".bar span").split()
    assert unit == "yd"
    one = tab.evaluate(
        """() => { const {scale} = JSON.parse(document.querySelector('#data').textContent).window;
        return document.querySelector('#sheet > svg').getScreenCTM().a * 1000 / scale * 0.9144 }"""
    )
    assert tab.locator(".bar i").bounding_box()["width"] == pytest.approx(float(length) * one, abs=1)


def test_a_layer_goes_and_comes(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    trees = tab.locator('.layer[data-layer="trees"]')
    assert trees.is_visible()
    tab.click(".layers summary")
    tab.uncheck('[data-layer="trees"]:is(input)')
    assert not trees.is_visible() and tab.locator('.layer[data-layer="ways"]').is_visible()
    tab.check('[data-layer="trees"]:is(input)')
    assert trees.is_visible()


def test_a_picture_lies_beneath_and_can_be_put_away(opened: Callable[..., Any]) -> None:
    """A red picture on the western half of a property of 400 m."""
    data = io.BytesIO()
    Image.new("RGB", (20, 40), (220, 20, 20)).save(data, "PNG")
    picture = Picture(data.getvalue(), "image/png", 20, 40, (10, 0, 0, 0, -10, 400))
    plan = 'plan "Red"\n  units m\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
    tab = opened(plan, picture=picture)
    box = tab.locator('.layer[data-layer="boundary"] path').first.bounding_box()

    def colour(share: float) -> tuple[int, ...]:
        seen = Image.open(io.BytesIO(tab.screenshot())).convert("RGB")
        return seen.getpixel((round(box["x"] + box["width"] * share), round(box["y"] + box["height"] * 0.57)))

    assert colour(0.3) == (220, 20, 20) and colour(0.7) != (220, 20, 20)
    tab.click(".layers summary")
    tab.uncheck('[data-layer="picture"]:is(input)')
    tab.click(".layers summary")
    assert colour(0.3) != (220, 20, 20)


def test_a_wind_shows_where_its_scent_goes(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    assert tab.locator(".plume").count() == 0
    middle = "(({left, right}) => (left + right) / 2)(document.querySelector('.plume').getBoundingClientRect())"
    tab.select_option("#wind", "W")
    east = tab.evaluate(middle)
    assert "Wind from W" in tab.text_content("#told")
    tab.select_option("#wind", "E")
    assert tab.evaluate(middle) < east
    tab.select_option("#wind", "")
    assert tab.locator(".plume").count() == 0


def test_what_was_looked_at_survives_loading_again(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.select_option("#wind", "NW")
    tab.click(".layers summary")
    tab.uncheck('[data-layer="trees"]:is(input)')
    tab.click("#f3 > .head")
    tab.focus("#sheet")
    tab.keyboard.press("+")
    tab.keyboard.press("+")
    before = seen(tab)
    tab.evaluate("document.querySelector('#plan').scrollTop = 777")
    tab.reload()
    assert seen(tab) == pytest.approx(before, abs=0.01)
    assert tab.input_value("#wind") == "NW" and tab.locator(".plume").count() > 0
    assert not tab.locator('.layer[data-layer="trees"]').is_visible()
    assert "chosen" in tab.get_attribute("#f3", "class")
    assert tab.evaluate("document.querySelector('#plan').scrollTop") == 777


# -- other windows, paper, and what is hostile ----------------------------------------------------------------------


def test_on_a_telephone_nothing_runs_off_sideways_and_parts_are_one_touch_away(
    opened: Callable[..., Any], strip: str
) -> None:
    tab = opened(strip, PHONE, has_touch=True)
    for part in ("findings", "plan", "map"):
        tab.tap(f"[data-part={part}]:is(button)")
        settle(tab)
        assert tab.evaluate("document.documentElement.scrollWidth") <= 400
        assert [one for one in ("map", "findings", "plan") if tab.locator(f"#{one}").is_visible()] == [part]
    tab.locator('g.finding[data-finding="20"] rect').tap()
    settle(tab)
    assert tab.text_content("#told").startswith("20 ") and is_seen(tab, "#told")
    tab.tap("#told button")
    settle(tab)
    assert tab.locator("#findings").is_visible() and is_seen(tab, "#f20 > .head")
    tab.tap("#f20 [data-do=line]")
    settle(tab)
    line = tab.get_attribute("#f20 [data-do=line]", "data-to")
    assert tab.locator("#plan").is_visible() and is_seen(tab, f"#{line}")
    tab.tap("[data-part=findings]:is(button)")
    tab.tap("#f20 [data-do=place]")
    settle(tab)
    assert is_seen(tab, 'g.finding[data-finding="20"] g:has(> rect)')


def test_on_paper_the_whole_map_every_reason_and_the_plan_are_seen(opened: Callable[..., Any], strip: str) -> None:
    tab = opened(strip)
    tab.focus("#sheet")
    for _ in range(4):
        tab.keyboard.press("+")
    near = seen(tab)
    tab.emulate_media(media="print")
    settle(tab)
    assert float(tab.get_attribute("#sheet > svg", "viewBox").split()[2]) > near[2]
    assert tab.locator("#f30 dl").is_visible() and tab.locator(".samples li").first.is_visible()
    assert tab.locator("#plan .text li").last.is_visible()
    assert not tab.locator(".tools").is_visible()
    tab.emulate_media(media="screen")
    assert seen(tab) == pytest.approx(near)
    assert not tab.locator("#f30 dl").is_visible()


def test_a_plan_that_would_run_something_runs_nothing(opened: Callable[..., Any]) -> None:
    plan = (
        f'plan "{INJECTED}"\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
        f'food plot "{INJECTED}"\n  outline 50,50 150,50 150,150 50,150\n'
        f'stand seat "{INJECTED}"\n  at 200,200\n# {INJECTED}\n{INJECTED}\n'
    )
    tab = opened(plan)
    tab.keyboard.press("n")
    settle(tab)
    assert tab.evaluate("document.body.dataset.ran") is None
    assert "<img src=x" in tab.text_content("h1") and tab.locator("img").count() == 0


def test_the_policy_stops_a_script_that_slips_in(browser: Any, write: Callable[..., Path], strip: str) -> None:
    """Were a plan's text ever to stand unescaped, the policy still runs nothing of it."""
    path = write(strip)
    broken = path.with_name("broken.html")
    evil = "<script>document.body.dataset.ran=1</script><img src=x onerror='document.body.dataset.ran=1'>"
    text = path.read_text(encoding="utf-8").replace("<footer>", f"{evil}<footer>")
    for policed in (True, False):
        kept = text if policed else text.replace("Content-Security-Policy", "X-Nothing")
        broken.write_text(kept, encoding="utf-8")
        tab = browser.new_page()
        tab.goto(broken.as_uri())
        settle(tab)
        assert tab.evaluate("document.body.dataset.ran") == (None if policed else "1")
        tab.close()


def test_a_plan_with_nothing_placed_opens(opened: Callable[..., Any]) -> None:
    tab = opened('plan "Bare"\npath lane\n  use entry\n')
    tab.keyboard.press("n")
    assert tab.locator(".finding.chosen").count() == 1
    assert "Nothing of this plan has a place" in tab.text_content("#map")


@pytest.mark.parametrize("size", [1, 30_000])
def test_a_property_of_a_metre_and_one_of_thirty_kilometres_fill_the_map(opened: Callable[..., Any], size: int) -> None:
    tab = opened(f'plan "Size"\n  units m\nboundary\n  outline 0,0 {size},0 {size},{size} 0,{size}\n')
    line = tab.locator('.layer[data-layer="boundary"] path').first.bounding_box()
    room = tab.locator("#sheet").bounding_box()
    share = line["height"] / room["height"]
    # about a metre more is shown on each side than the small one is wide
    assert share > (0.7 if size > 1 else 0.12) and share < 1
    tab.focus("#sheet")
    for _ in range(30):
        tab.keyboard.press("+")
    settle(tab)
    assert tab.text_content(".bar span") in ("1 m", "2 m")


def test_a_line_far_down_a_long_file_is_led_to(opened: Callable[..., Any]) -> None:
    head = 'plan "Long"\nboundary\n  outline 0,0 400,0 400,400 0,400\n'
    tab = opened(head + "# a line\n" * MOST_LINES + "stand far\n  at 900,900\n")
    number = MOST_LINES + 5
    found = tab.locator(f'.finding:has([data-to="l0-{number}"]) > .head').first
    found.click()
    settle(tab)
    assert "marked" in tab.get_attribute(f"#l0-{number}", "class") and is_seen(tab, f"#l0-{number}")


def test_twenty_thousand_trees_are_drawn_in_three_seconds(
    browser: Any, write: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(
        f"row r{row}\n  method hinge\n  stumps {60 + row % 10 * 210},{40 + row // 10 * 105} "
        f"{258 + row % 10 * 210},{40 + row // 10 * 105}\n  spacing 2\n  fall N\n  dbh 7in\n  tree-height 40ft\n"
        for row in range(200)
    )
    path = write(f'plan "Many"\nboundary\n  outline 0,0 2200,0 2200,2200 0,2200\n{rows}')
    tab = browser.new_page(viewport=WIDE)
    start = time.perf_counter()
    tab.goto(path.as_uri())
    settle(tab)
    tab.screenshot()  # only what is painted can be pictured
    drawn = time.perf_counter() - start
    tab.focus("#sheet")
    start = time.perf_counter()
    tab.keyboard.press("+")
    settle(tab)
    tab.screenshot()
    again = time.perf_counter() - start
    with capsys.disabled():
        size = path.stat().st_size / 1e6
        print(f"\n20,000 trees: a page of {size:.2f} MB, drawn in {drawn:.2f} s, nearer in {again:.2f} s")
    tab.close()
    assert drawn < 3
