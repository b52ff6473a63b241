"""Benchmarks as ratios in one run, printed and not asserted: `python tests/bench/ratios.py`, and with `--large`
up to 100,000 trees."""

from __future__ import annotations

import gc
import math
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(Path(__file__).parent))

from lark import Lark  # noqa: E402
from properties import grown_blocks, grown_plan, one_pocket, quarter_section  # noqa: E402

from habitatlint import files  # noqa: E402
from habitatlint.check import Report  # noqa: E402
from habitatlint.cli.assembly import review  # noqa: E402
from habitatlint.findings import Policy  # noqa: E402
from habitatlint.language.plan import LAYOUT, plan_grammar  # noqa: E402
from habitatlint.measures.free_ground import FreeGround  # noqa: E402
from habitatlint.measures.ways_out import Bars, ground_of  # noqa: E402
from habitatlint.reading.blocks import read  # noqa: E402
from habitatlint.source import Source  # noqa: E402
from habitatlint.units import FOOT  # noqa: E402

SAMPLE = ROOT / "examples" / "fallow-ridge.habitat"


def median(action: Callable[[], object], runs: int = 7) -> float:
    """Seconds of the median run, after one that is not counted."""
    action()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def paired(first: Callable[[], object], second: Callable[[], object], runs: int = 9) -> tuple[float, float, float]:
    """Medians of two actions run in turn, and the median of their ratios."""
    first(), second()
    ones, others = [], []
    for _ in range(runs):
        start = time.perf_counter()
        first()
        middle = time.perf_counter()
        second()
        ones.append(middle - start)
        others.append(time.perf_counter() - middle)
    ratios = [one / other for one, other in zip(ones, others, strict=True)]
    return statistics.median(ones), statistics.median(others), statistics.median(ratios)


def run(*arguments: str) -> Callable[[], object]:
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return lambda: subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, check=False
    )


class _Names:
    """What the bare parse needs to know a name from a keyword: no more."""

    always_accept = ("NAME",)

    def process(self, stream: object) -> object:
        return stream


def bare_parser() -> Lark:
    """Lark by itself on the same grammar: LALR, contextual, no positions."""
    return Lark(
        files.grammar_texts()["plan"], parser="lalr", lexer="contextual", start="text", postlex=_Names(),
        source_path=str(ROOT / "grammar" / "plan.lark"), maybe_placeholders=False,
    )  # fmt: skip


def two_thousand_lines() -> str:
    sample = SAMPLE.read_text(encoding="utf-8")
    return sample * (2000 // len(sample.splitlines()) + 1)


def main() -> None:
    gc.set_threshold(200_000, 20, 20)  # as the command does
    print("cold check of the sample plan, against importing its libraries")
    one, other, ratio = paired(run("-m", "habitatlint", "check", str(SAMPLE)), run("-c", "import lark, shapely, click"))
    print(f"  {one * 1000:7.0f} ms  {other * 1000:7.0f} ms  ratio {ratio:.2f} (aim: 1.5)")

    text = two_thousand_lines()
    grammar, bare = files.grammar("plan", plan_grammar), bare_parser()
    lines = len(text.splitlines())
    print(f"reading {lines} lines, against the bare parse of the same text")
    one, other, ratio = paired(lambda: read(Source("bench", text), grammar, LAYOUT), lambda: bare.parse(text))
    print(f"  {one * 1000:7.0f} ms  {other * 1000:7.0f} ms  ratio {ratio:.2f} (aim: 1.3)")

    sizes = (1000, 2000, 5000, 10_000, *((20_000, 50_000, 100_000) if "--large" in sys.argv else ()))
    grown("trees read and judged by every rule", grown_plan, sizes, {})
    grown("stands, timbers, releases and rows", grown_blocks, (100, 200, 400), {})

    plan = quarter_section()
    print("160 acres, 40 pockets, 200 rows, 5,000 trees, judged by every rule")
    print(f"  {median(lambda: fresh(plan), 3):.2f} s (aim: 4 s)")
    bed()


def fresh(plan: str) -> Report:
    """A plan read and judged anew."""
    checker = review()
    checker.memory.clear()
    return checker.check(Source("bench.habitat", plan), Policy(date(2026, 2, 10)))


def bed() -> None:
    """A bed's open arc in a pocket of 125 trees, its ground cut into triangles already."""
    scene = fresh(one_pocket(125)).scene
    place = scene.table("beds").column("at").values[0]
    ground = ground_of(scene, 0, Bars(3 * FOOT))
    assert ground is not None
    once = median(lambda: FreeGround(ground.free, ground.whole).open_directions(place, 0.0), 5)
    again = median(lambda: ground.open_directions(place, 0.0), 15)
    print("a bed's open arc in a pocket of 125 trees")
    print(f"  {again * 1000:.1f} ms (aim: 8 ms); the first of a pocket, with its triangles, {once * 1000:.0f} ms")


def grown(what: str, make: Callable[[int], str], sizes: tuple[int, ...], aims: dict[int, str]) -> None:
    """Seconds to check plans of growing size, each against the one before it."""
    before, at = 0.0, 0
    for size in sizes:
        plan = make(size)
        seconds = median(lambda plan=plan: fresh(plan), 3 if size < 10_000 else 1)  # type: ignore[misc]
        doubled = (seconds / before) ** (math.log(2) / math.log(size / at)) if before else 0.0
        growth = f"  a doubling costs {doubled:.2f} times (aim: 2.3)" if before else ""
        print(f"{size} {what}: {seconds:.2f} s{aims.get(size, '')}{growth}")
        before, at = seconds, size


if __name__ == "__main__":
    main()
