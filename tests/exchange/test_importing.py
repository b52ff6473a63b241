"""Features become a plan, or are added to one that keeps every byte."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from exchange.round_trip import GRAMMAR, scene_of

from habitatlint import files
from habitatlint.cli.importing import Wanted, import_files, read_tolerance
from habitatlint.exchange import forms
from habitatlint.exchange.exporting import contents
from habitatlint.exchange.features import ExchangeTrouble
from habitatlint.exchange.importing import Brought, into_new, into_plan
from habitatlint.ground.frame import Frame

WALK = Path(__file__).parent.parent.parent / "examples" / "withy-bend.gpx"
HEAD = 'plan "Withy Bend"\n  anchor 40.6119N,93.4181W\n'


def geojson(*things: tuple[str, str, object], **properties: object) -> bytes:
    """A collection of things: name, type of geometry, coordinates in yards east and north of a place."""
    frame = Frame(40.0, -93.0)

    def earth(held: object) -> object:
        if isinstance(held, tuple):
            latitude, longitude = frame.to_earth(held[0] * 0.9144, held[1] * 0.9144)
            return [longitude, latitude]
        return [earth(one) for one in held]  # type: ignore[attr-defined]

    features = [
        {
            "type": "Feature",
            "properties": {"name": name, **properties},
            "geometry": {"type": kind, "coordinates": earth(held)},
        }
        for name, kind, held in things
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def new(data: bytes, **how: object) -> Brought:
    return into_new([("walk.geojson", forms.read("walk.geojson", {".geojson": data}))], GRAMMAR, **how)  # type: ignore[arg-type]


def added(plan: str, data: bytes) -> Brought:
    return into_plan(scene_of(plan), [("walk.geojson", forms.read("walk.geojson", {".geojson": data}))], GRAMMAR)


PLAN = 'plan "Kept"   # as I like it\n  anchor 40.0N,93.0W\n\nplace gate\n  at 10,10\n'
SQUARE = [[(0, 0), (400, 0), (400, 400), (0, 400), (0, 0)]]


# -- the shipped walk ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def withy_bend() -> Brought:
    return into_new([("withy-bend.gpx", forms.read(WALK.name, {".gpx": WALK.read_bytes()}))], GRAMMAR)


def test_the_walked_property_becomes_a_plan_of_the_right_size(withy_bend: Brought) -> None:
    scene = scene_of(withy_bend.text)
    assert scene.plan.slips == () and scene.slips == []
    acres = scene.property_.area / 4046.8564224  # type: ignore[union-attr]
    assert acres == pytest.approx(80, rel=0.01)  # it is 440 by 880 yards
    assert len(scene.property_.exterior.coords) < 12  # type: ignore[union-attr]
    assert withy_bend.told == (
        "2958 points thinned to 56, each within 3 yd",
        "waypoint 14 `White oaks`: one point, so that its radius of 10 yd is a guess: food white-oaks",
        "waypoint 15 `Old well`: no word says what it is: place old-well",
    )
    nouns = [block.noun for block in scene.plan.blocks]
    counts = {noun: nouns.count(noun) for noun in sorted(set(nouns))}
    assert counts == {
        "boundary": 1,
        "food": 2,
        "hazard": 2,
        "path": 3,
        "place": 4,
        "plan": 1,
        "pocket": 1,
        "sign": 8,
        "stand": 2,
    }


def test_blocks_stand_in_the_order_of_the_language_page_then_by_name(withy_bend: Brought) -> None:
    from habitatlint.language.blocks import BLOCKS

    order = [block.noun for block in BLOCKS]
    blocks = [(order.index(block.noun), block.name) for block in scene_of(withy_bend.text).plan.blocks]
    assert blocks == sorted(blocks)


def test_the_text_stands_in_the_standard_form_and_is_the_same_each_time(withy_bend: Brought) -> None:
    from habitatlint.language.formatting import formatted
    from habitatlint.source import Source

    assert formatted(Source("a", withy_bend.text), GRAMMAR) == withy_bend.text
    again = into_new([("withy-bend.gpx", forms.read(WALK.name, {".gpx": WALK.read_bytes()}))], GRAMMAR)
    assert again == withy_bend


def test_a_thinned_line_stays_within_the_tolerance_of_the_walked_one() -> None:
    walked = forms.read(WALK.name, {".gpx": WALK.read_bytes()})
    fine = scene_of(into_new([("w.gpx", walked)], GRAMMAR, tolerance=0).text)
    for tolerance in (1.0, 3.0):
        thinned = scene_of(into_new([("w.gpx", walked)], GRAMMAR, tolerance=tolerance).text)
        for block in fine.plan.of(type(fine.plan.names["creek"])):
            there = thinned.shape_of(thinned.plan.names[block.name])
            assert there is not None and there.hausdorff_distance(fine.shape_of(block)) <= tolerance + 0.03


# -- a new plan ------------------------------------------------------------------------------------------------


def test_the_anchor_is_a_round_place_at_the_south_west_corner() -> None:
    scene = scene_of(new(geojson(("Gate", "Point", (100, 200)), ("Clover", "Polygon", SQUARE))).text)
    frame = scene.placer.frame
    assert frame is not None and (frame.latitude, frame.longitude) == (40.0, -93.0)
    assert [block.label for block in scene.plan.blocks] == ["plan", "food clover", "place gate"]


@pytest.mark.parametrize(("units", "at"), [("yd", "100,200"), ("ft", "300,600"), ("m", "91.44,182.88")])
def test_points_are_written_in_the_plans_unit(units: str, at: str) -> None:
    text = new(geojson(("Gate", "Point", (100, 200)), ("Pin", "Point", (0, 0))), units=units).text
    assert f"units {units}\n" in text and f"place gate\n  at {at}\n" in text


def test_a_boundary_that_is_missing_is_told() -> None:
    assert any("no boundary came in" in line for line in new(geojson(("Gate", "Point", (0, 0)))).told)
    assert not any("boundary" in line for line in new(geojson(("Boundary", "Polygon", SQUARE))).told)


def test_parcels_and_holes_are_outlines_of_one_boundary_and_a_second_walk_of_it_a_task() -> None:
    hole = [(100, 100), (150, 100), (150, 150), (100, 150), (100, 100)]
    apart = [[(600, 0), (700, 0), (700, 100), (600, 0)]]
    again = [[(1, 1), (401, 0), (400, 402), (0, 400), (1, 1)]]
    made = new(
        geojson(("Boundary", "Polygon", [*SQUARE, hole]), ("Parcel", "Polygon", apart), ("Property", "Polygon", again))
    )
    scene = scene_of(made.text)
    assert scene.plan.slips == () and made.text.count("  outline ") == 4
    assert scene.property_.area / 0.9144**2 == pytest.approx(160_000 - 2_500 + 5_000, rel=1e-3)  # type: ignore[union-attr]
    assert "task property" in made.text and "The boundary walked once more" in made.text


def test_an_edge_that_was_not_walked_to_its_end_is_a_task_and_told() -> None:
    made = new(geojson(("Clover plot", "LineString", [(0, 0), (80, 0), (80, 50)]), ("Gate", "Point", (0, 0))))
    assert "task clover-plot" in made.text and "94.3 yd are missing" in made.text
    assert any("ends 94.3 yd from its start" in line for line in made.told)


def test_an_outline_that_crosses_itself_keeps_its_largest_loop() -> None:
    made = new(geojson(("Clover", "Polygon", [[(0, 0), (100, 0), (100, 100), (0, 100), (-20, 120), (-20, 50), (0, 0)]]),
                       ("Thicket", "LineString", [(0, 0), (100, 100), (100, 0), (10, 80), (0, 3)])))  # fmt: skip
    assert scene_of(made.text).slips == []
    assert any(
        "feature 2 `Thicket` crosses itself: the largest of what it encloses is taken" in line for line in made.told
    )


def test_what_a_word_does_not_tell_says_so_in_a_comment_and_at_the_prompt() -> None:
    made = new(
        geojson(("WP 7", "Point", (0, 0)), ("", "LineString", [(0, 0), (50, 50)]), ("Blob", "Polygon", SQUARE),
                ("White oak", "Point", (9, 9)))
    )  # fmt: skip
    text = made.text
    assert 'place wp-7 "WP 7"' in text and "  # Came in as feature 1 `WP 7`; no word of it says what it is." in text
    assert 'text "Say what this is: Blob"' in text
    for told in (
        "feature 1 `WP 7`: no word says what it is: place wp-7",
        "feature 2: no word says what it is: task task-1",
        "feature 3 `Blob`: no word says what it is: task blob",
        "feature 4 `White oak`: one point, so that its radius of 10 yd is a guess: food white-oak",
    ):
        assert told in made.told


def test_a_line_without_a_word_is_no_way_in_for_hunters() -> None:
    text = new(geojson(("Track 12", "LineString", [(0, 0), (50, 50)]), ("Lane", "LineString", [(0, 0), (90, 9)]))).text
    assert "task track-12" in text and text.count("use entry") == 1 and "path lane\n" in text


def test_of_many_guesses_so_many_are_told_one_by_one() -> None:
    made = new(geojson(*((f"WP {number}", "Point", (number, 0)) for number in range(30))))
    assert sum("no word says what it is" in line for line in made.told) == 20
    assert any(line.startswith("10 things more had to be guessed") for line in made.told)


# -- into a plan -----------------------------------------------------------------------------------------------


def test_what_is_there_already_is_not_added_again_and_a_same_name_elsewhere_gets_a_number() -> None:
    brought = added(PLAN, geojson(("Gate", "Point", (10, 10)), ("Gate", "Point", (50, 60)), ("Stand", "Point", (5, 5))))
    assert brought.text == (
        "\n# From walk.geojson.\n\nstand stand-1\n  at 5,5\n\nplace gate-2\n  at 50,60\n  kind gate\n"
    )
    assert (brought.added, brought.already) == (2, 1)
    assert "the plan has place gate already, 64 yd from where this lies: what came in is place gate-2" in brought.told
    twice = added(
        PLAN + brought.text,
        geojson(("Gate", "Point", (10, 10)), ("Gate", "Point", (50, 60)), ("Stand", "Point", (5, 5))),
    )
    assert twice.text == "" and twice.already == 3


LOST = """\
plan "Lost"
  anchor 40N,93W

boundary
  outline 0,0 440,0 440,880 0,880

path lane-in
  use entry
  line 0,40 100,40 200,46

place oak
  at 178,47

release r1
  outline 10,10 110,10 110,110 10,110
  basal-area 110 to 80 sqft/ac
  method fell

sign rub-1
  kind rub
  at 300,300

pocket p
  for does
  outline 210,210 310,210 310,310 210,310
"""
OTHER = """\
plan "Other"
  anchor 40N,93W

path lane-out "Way out"
  use exit
  line 0,40 100,40 200,46

stand oak
  at 178,47
  reach lane-out

release r2
  outline 10,10 110,10 110,110 10,110
  basal-area 80 to 50 sqft/ac
  method fell

sign scrape-1
  kind scrape
  at 300,300

pocket p
  for does
  outline 210,210 310,210 310,310 210,310
  bed 250,250
  why "new why"
"""


@pytest.mark.parametrize("ending", forms.WRITTEN)
def test_another_thing_at_the_same_place_is_not_there_already(ending: str) -> None:
    walked = forms.read(f"o{ending}", {ending: forms.WRITTEN[ending](contents(scene_of(OTHER))).encode()})
    brought = into_plan(scene_of(LOST), [(f"o{ending}", walked)], GRAMMAR)
    heads = {line for line in brought.text.splitlines() if line and line[0] not in " #"}
    assert heads == {'path lane-out "Way out"', "stand oak-2", "release r2", "sign scrape-1"}
    assert (brought.added, brought.already) == (4, 1)
    assert 'pocket p stands as it is; not taken over: `why "new why"`, `bed 250,250`' in brought.told
    assert "there already, and left as they stand: pocket p" in brought.told
    again = into_plan(scene_of(LOST + brought.text), [(f"o{ending}", walked)], GRAMMAR)
    assert (again.added, again.already) == (0, 5)


def test_a_thing_that_a_person_renamed_is_known_again_by_its_place() -> None:
    plan = PLAN.replace("place gate", 'place log-gate "By the landing"')
    assert added(plan, geojson(("Gate", "Point", (10, 10)))).already == 1


def test_names_among_what_comes_in_follow_it() -> None:
    data = json.loads(geojson(("lane", "LineString", [(0, 0), (0, 90)]), noun="path", use="entry"))
    data["features"] += json.loads(geojson(("seat", "Point", (0, 95)), noun="stand", reach="lane", by="gate"))[
        "features"
    ]
    plan = PLAN + "\npath lane\n  line 300,0 300,300\n  use exit\n"
    brought = added(plan, json.dumps(data).encode())
    assert "path lane-2\n" in brought.text and "reach lane-2\n" in brought.text
    assert "# by gate\n" in brought.text  # it is no crew
    assert scene_of(plan + brought.text).plan.slips == ()


def test_another_boundary_comes_in_as_a_task() -> None:
    plan = PLAN + "\nboundary\n  outline 0,0 400,0 400,400 0,400\n"
    assert added(plan, geojson(("Boundary", "Polygon", SQUARE))).already == 1
    other = added(plan, geojson(("Boundary", "Polygon", [[(9, 9), (400, 0), (400, 400), (9, 9)]])))
    assert "task boundary-1\n" in other.text and "The plan has a boundary already" in other.text
    assert scene_of(plan + other.text).plan.slips == ()


@pytest.mark.parametrize(
    ("place", "why"),
    [
        ((40.0, 93.0), "east and west look swapped"),
        ((-40.0, -93.0), "north and south look swapped"),
        ((-93.0 + 90, 40.0), "look whether it is the right file"),
        ((40.5, -93.0), "look whether it is the right file"),
    ],
)
def test_what_lies_far_from_the_anchor_is_told_and_not_placed(place: tuple[float, float], why: str) -> None:
    data = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {"name": "Gate"}, "geometry": {"type": "Point", "coordinates": [place[1], place[0]]}},
        {"type": "Feature", "properties": {"name": "Stand"}, "geometry": {"type": "Point", "coordinates": [-93.0, 40.0005]}},
    ]}  # fmt: skip
    brought = added(PLAN, json.dumps(data).encode())
    assert brought.added == 1 and "stand stand-1" in brought.text
    (line,) = [line for line in brought.told if "not placed" in line]
    assert line.startswith("1 thing not placed, ") and why in line


def test_a_file_of_which_nothing_can_be_placed_is_refused() -> None:
    far = json.dumps({"type": "Point", "coordinates": [10, 50]}).encode()
    with pytest.raises(ExchangeTrouble, match=r"nothing in it can be placed: 1 thing not placed, 4,[0-9]+ miles"):
        added(PLAN, far)


def test_a_plan_without_an_anchor_is_refused_with_the_line_to_add() -> None:
    with pytest.raises(
        ExchangeTrouble, match=r"add to its head, below `plan`, a line such as `anchor 43.7120N,90.6210W`"
    ):
        added('plan "Nowhere"\n', geojson(("Gate", "Point", (0, 0))))


@pytest.mark.parametrize(
    "before",
    [
        PLAN.encode(),
        PLAN.rstrip("\n").encode(),
        PLAN.replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf" + PLAN.encode(),
        PLAN.encode() + b"\n\n\n# the end, without a line end",
        PLAN.encode() + b"\npath broken\n  line 0,0 what\n  usee entry\n",
        PLAN.replace("at 10,10\n", "at 10,10 \\\n\n").encode(),
    ],
    ids=[
        "plain",
        "no last line end",
        "CRLF",
        "encoding mark",
        "comment at the end",
        "broken block",
        "a line that goes on",
    ],
)
def test_a_plan_keeps_every_byte_it_had(tmp_path: Path, before: bytes) -> None:
    plan, walk = tmp_path / "kept.habitat", tmp_path / "walk.geojson"
    plan.write_bytes(before)
    plan.chmod(0o640)
    walk.write_bytes(geojson(("Stand", "Point", (5, 5)), ("Lane", "LineString", [(0, 0), (9, 9)])))
    import_files([str(walk)], Wanted(into=str(plan)))
    after = plan.read_bytes()
    assert after.startswith(before) and len(after) > len(before) and plan.stat().st_mode & 0o777 == 0o640
    if b"\r\n" in before:
        assert after.count(b"\n") == after.count(b"\r\n")
    scene = scene_of(files.decode(after, "kept"))
    assert [block.label for block in scene.plan.blocks][-2:] == ["path lane", "stand stand-1"]
    import_files([str(walk)], Wanted(into=str(plan)))
    assert plan.read_bytes() == after


def test_a_plan_whose_last_line_would_swallow_what_comes_is_left_alone(tmp_path: Path) -> None:
    plan, walk = tmp_path / "kept.habitat", tmp_path / "walk.geojson"
    plan.write_text(PLAN + '\nplace last\n  at 1,1\n  note "not closed \\\n', encoding="utf-8")
    before = plan.read_bytes()
    walk.write_bytes(geojson(("Stand", "Point", (5, 5))))
    try:
        import_files([str(walk)], Wanted(into=str(plan)))
    except files.FileTrouble as trouble:
        assert "would change how its last lines read" in str(trouble) and plan.read_bytes() == before
    else:
        assert plan.read_bytes().startswith(before)
        assert scene_of(plan.read_text()).plan.blocks[-1].label == "stand stand-1"


def test_a_new_plan_takes_no_others_place(tmp_path: Path) -> None:
    walk = tmp_path / "walk.geojson"
    walk.write_bytes(geojson(("Gate", "Point", (0, 0))))
    import_files([str(walk)], Wanted(output=str(tmp_path / "a")))
    first = (tmp_path / "a.habitat").read_bytes()
    with pytest.raises(files.FileTrouble, match="is there already"):
        import_files([str(walk)], Wanted(output=str(tmp_path / "a.habitat"), units="m"))
    assert (tmp_path / "a.habitat").read_bytes() == first


def test_a_file_of_200_mb_is_refused_without_being_read_whole(tmp_path: Path) -> None:
    walk = tmp_path / "walk.gpx"
    with walk.open("wb") as file:
        file.truncate(200 * 2**20)
    with pytest.raises(files.FileTrouble, match=r"walk\.gpx: larger than 32 MB; cut it down to the property first"):
        import_files([str(walk)], Wanted())


@pytest.mark.parametrize(
    ("said", "metres"), [("3yd", 2.7432), ("2", 1.8288), ("1.5m", 1.5), ("0", 0.0), ("6 ft", 1.8288)]
)
def test_a_tolerance_is_a_length(said: str, metres: float) -> None:
    assert read_tolerance(said, "yd") == pytest.approx(metres)


@pytest.mark.parametrize("said", ["-1", "wide", "3 acres", "1e9", "nan"])
def test_what_is_no_tolerance_is_told(said: str) -> None:
    with pytest.raises(files.FileTrouble, match="give a length such as 3yd or 2m"):
        read_tolerance(said, "yd")


def test_a_walk_of_more_points_than_a_person_can_read_is_thinned_by_more_and_told() -> None:
    import random

    chance = random.Random(7)
    wild = [(chance.uniform(0, 900), chance.uniform(0, 900)) for _ in range(12_000)]
    for points in (wild, [*wild, wild[0]]):  # a way, and an outline
        made = new(geojson(("Anything", "LineString", points)), tolerance=1.0)
        assert any("still has more than 2000 points so: it is thinned by" in line for line in made.told)
        scene = scene_of(made.text)
        assert len(scene.plan.blocks) == 2 and made.text.count(",") < 2100


def test_a_noisy_outline_is_followed_even_where_nothing_is_thinned() -> None:
    walked = forms.read(WALK.name, {".gpx": WALK.read_bytes()})
    scene = scene_of(into_new([("w.gpx", walked)], GRAMMAR, tolerance=0).text)
    assert scene.slips == [] and len(scene.property_.exterior.coords) > 1500  # type: ignore[union-attr]
    assert scene.property_.area / 4046.8564224 == pytest.approx(80, rel=0.01)  # type: ignore[union-attr]
