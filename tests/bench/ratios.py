"""Benchmarks as ratios in one run, printed as a table and not asserted: `python tests/bench/ratios.py`. With `--large`
it takes 100,000 trees, 500 plans and the editor too, and half an hour; with `--brief` only the first rows, and half a
minute."""

from __future__ import annotations

import gc
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(Path(__file__).parent))

from farms import farms  # noqa: E402
from lark import Lark  # noqa: E402
from properties import grown_blocks, grown_plan, one_pocket, quarter_section  # noqa: E402

from habitatlint import files  # noqa: E402
from habitatlint.check import Report  # noqa: E402
from habitatlint.cli.assembly import review  # noqa: E402
from habitatlint.cli.many import processors  # noqa: E402
from habitatlint.findings import Policy  # noqa: E402
from habitatlint.ground.scene import Scene  # noqa: E402
from habitatlint.language.blocks import Path as PathBlock  # noqa: E402
from habitatlint.language.blocks import Pocket  # noqa: E402
from habitatlint.language.plan import LAYOUT, plan_grammar, read_plan  # noqa: E402
from habitatlint.measures.free_ground import FreeGround  # noqa: E402
from habitatlint.measures.ways_out import Bars, ground_of  # noqa: E402
from habitatlint.reading.blocks import read  # noqa: E402
from habitatlint.review import Review  # noqa: E402
from habitatlint.rulebook.book import limit_fact  # noqa: E402
from habitatlint.rulebook.evaluation import Context  # noqa: E402
from habitatlint.rulebook.judging import judge  # noqa: E402
from habitatlint.rulebook.rules import Rule  # noqa: E402
from habitatlint.source import Source  # noqa: E402
from habitatlint.units import FOOT  # noqa: E402

SAMPLE = ROOT / "examples" / "fallow-ridge.habitat"


#: in which commands run: what was compiled is kept, as it is where the package is installed
ENVIRONMENT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


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
    return lambda: subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, env=ENVIRONMENT, capture_output=True, check=False
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


def told(what: str, ours: str, against: str = "", other: str = "", ratio: str = "") -> None:
    print(f"| {what} | {ours} | {against} | {other} | {ratio} |", flush=True)


def span(seconds: float) -> str:
    """A stretch of time with two or three figures."""
    if seconds >= 100:
        return f"{seconds / 60:.1f} min" if seconds >= 600 else f"{seconds:.0f} s"
    return f"{seconds:.1f} s" if seconds >= 10 else f"{seconds:.2f} s" if seconds >= 1 else f"{seconds * 1000:.0f} ms"


def main() -> None:
    gc.set_threshold(200_000, 20, 20)  # as the command does
    large, brief = "--large" in sys.argv, "--brief" in sys.argv
    machine = f"{processors()} processors ({platform.machine()}), Python {platform.python_version()}"
    print(f"Measured {date.today().isoformat()}, {machine}; medians, and a ratio below 1 is this program's favour.\n")
    print("| what | it takes | against | that takes | ratio |\n|---|---|---|---|---|")
    cold()
    reading()
    sizes = (1000, 2000) if brief else (1000, 2000, 5000, 10_000, *((100_000,) if large else ()))
    grown("trees, every rule", grown_plan, sizes)
    grown(
        "stands with walks, timbers, releases and rows, every rule",
        grown_blocks,
        (100, 200) if brief else (100, 200, 400),
    )
    plan = quarter_section()
    told("160 acres, 40 pockets, 200 rows, 5,000 trees, every rule", span(median(lambda: fresh(plan), 3)), "aim", "4 s")
    bed()
    if brief:
        return
    for size in (1000, 10_000, *((100_000,) if large else ())):
        four_checks(size)
    folder(500 if large else 26)
    if large:
        editor()


def cold() -> None:
    check = ("-m", "habitatlint", "check", str(SAMPLE))
    imports = run("-c", "import lark, shapely, click")
    one, other, ratio = paired(run(*check, "--no-cache"), imports)
    told("a cold check of one plan", span(one), "importing lark, shapely, click", span(other), f"{ratio:.2f}")
    run(*check)()
    one, other, ratio = paired(run(*check), imports)
    told("the same, unchanged since the last", span(one), "importing lark, shapely, click", span(other), f"{ratio:.2f}")


def reading() -> None:
    text = two_thousand_lines()
    grammar, bare = files.grammar("plan", plan_grammar), bare_parser()
    one, other, ratio = paired(lambda: read(Source("bench", text), grammar, LAYOUT), lambda: bare.parse(text))
    told(
        f"reading {len(text.splitlines())} lines", span(one), "bare lark on the same text", span(other), f"{ratio:.2f}"
    )


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
    told("a bed's open arc in a pocket of 125 trees", span(again), "the first of a pocket", span(once))


def grown(what: str, make: Callable[[int], str], sizes: tuple[int, ...]) -> None:
    """Seconds to check plans of growing size, each against the one before it; of large ones the memory too."""
    before, at = 0.0, 0
    for size in sizes:
        plan = make(size)
        if size < 100_000:
            seconds = median(lambda plan=plan: fresh(plan), 3 if size < 10_000 else 1)  # type: ignore[misc]
            memory = ""
        else:
            seconds, peak = apart(plan)
            memory = f", {peak / 1024:.1f} GB at most"
        doubled = (seconds / before) ** (math.log(2) / math.log(size / at)) if before else 0.0
        growth = f"a doubling costs {doubled:.2f}" if before else ""
        told(f"{size:,} {what}", f"{span(seconds)}{memory}", f"{at:,}" if before else "", span(before) if before else "",
             growth)  # fmt: skip
        before, at = seconds, size


def apart(plan: str) -> tuple[float, float]:
    """Seconds and megabytes at most of a check in a process of its own."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "county.habitat"
        path.write_text(plan, encoding="utf-8")
        return once("-m", "habitatlint", "check", "--no-cache", "--as", "gnu", str(path))


#: begins a process and tells what it took; small, for a process is said to have taken what its parent held
LAUNCHER = """
import os, subprocess, sys, time
start = time.perf_counter()
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
_, _, used = os.wait4(process.pid, 0)
print(time.perf_counter() - start, used.ru_maxrss / 1024)
"""


def once(*arguments: str) -> tuple[float, float]:
    """Seconds of one run, and the megabytes that any process of it took at most."""
    run = [sys.executable, "-S", "-c", LAUNCHER, sys.executable, *arguments]
    told = subprocess.run(run, cwd=ROOT, env=ENVIRONMENT, capture_output=True, text=True, check=True)
    seconds, megabytes = map(float, told.stdout.split())
    return seconds, megabytes


def four_checks(trees: int) -> None:
    """Four checks, each by its rule, by loops over shapely's shapes, and by joins of geopandas, on the same shapes."""
    from others import CHECKS, Shapes

    checker = review()
    plan = read_plan(Source("bench.habitat", grown_plan(trees)), checker.plan_grammar)

    def laid() -> Scene:
        scene = Scene(plan)
        checker.vocabulary.attach(scene)
        scene.table("trees"), scene.trees.fallen, scene.trees.top, scene.trees.barrier
        return scene

    scene = laid()
    shapes = Shapes(
        scene.trees.fallen, scene.trees.top, scene.trees.barrier,
        [scene.shape_of(one) for one in plan.of(PathBlock) if plan.word(one, "use") == "entry"],
        [scene.shape_of(one) for one in plan.of(Pocket)],
    )  # fmt: skip
    for check in CHECKS:
        rule = checker.rulebook.find(check.rule)
        assert rule is not None
        scene = laid()
        start = time.perf_counter()
        judgement = judge(rule, context(rule, scene, checker))
        ours = time.perf_counter() - start
        assert not any(one.label == "the plan" for one in judgement.not_judged), judgement.not_judged
        loops, joins = check.loops(shapes), check.joins(shapes)
        assert loops.reckoned or loops.found == joins.found, check
        for name, took in (("loops with shapely", loops), ("joins of geopandas", joins)):
            about = "about " if took.reckoned else ""
            told(f"{check.what} (`{check.rule}`), {trees:,} trees", span(ours), name, f"{about}{span(took.seconds)}",
                 f"{about}{ours / took.seconds:.2g}")  # fmt: skip


def context(rule: Rule, scene: Scene, checker: Review) -> Context:
    limits = {name: limit_fact(limit) for name, limit in rule.limits.items()}
    lists = {name: words.words for name, words in rule.lists.items()}
    return Context(scene, checker.vocabulary, limits, lists, date(2026, 2, 10).toordinal(), {})


def folder(number: int) -> None:
    """A folder of plans: by one process, by as many as there are processors, and unchanged since."""
    with tempfile.TemporaryDirectory() as place:
        for name, text in farms(number).items():
            (Path(place) / name).write_text(text, encoding="utf-8")
        what, check = f"{number} plans", ("-m", "habitatlint", "check", "--as", "gnu", place)
        # what was judged is kept in a folder of its own, so that cold is cold
        ENVIRONMENT["XDG_CACHE_HOME"] = str(Path(place) / "kept")
        alone, memory = once(*check, "--no-cache", "--jobs", "1")
        told(f"{what}, cold, one process", f"{span(alone)}, {memory:.0f} MB at most")
        crew, memory = once(*check, "--jobs", str(processors()))
        told(f"{what}, cold, {processors()} processors", f"{span(crew)}, {memory:.0f} MB at most each", "one process",
             span(alone), f"{crew / alone:.2f}")  # fmt: skip
        warm, _ = once(*check)
        told(f"{what}, unchanged", span(warm), "one process, cold", span(alone), f"{warm / alone:.3f}")
        first = Path(place) / "farm-0000.habitat"
        first.write_text(first.read_text(encoding="utf-8") + "# a remark\n", encoding="utf-8")
        warm, _ = once(*check)
        told(f"{what}, one of them changed", span(warm), "one process, cold", span(alone), f"{warm / alone:.3f}")


def editor() -> None:
    """From a key to the first findings of its text, in a plan of 4,000 trees."""
    from editor import latencies

    for name, times in latencies():
        slowest = sorted(times)[int(0.95 * len(times))]
        told(f"a key {name}, to its first findings", f"{statistics.median(times):.0f} ms", "of twenty the slowest",
             f"{slowest:.0f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
