"""What fuzzers begin from: blocks of the examples, rules of the packs, exported plans; and the words of the languages."""

from __future__ import annotations

import re
from pathlib import Path

from habitatlint import files
from habitatlint.exchange import forms
from habitatlint.exchange.exporting import contents
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import find_nothing, plan_grammar, read_plan
from habitatlint.reading.grammar import Grammar
from habitatlint.rulebook.rules import rule_grammar
from habitatlint.source import Source

ROOT = Path(__file__).resolve().parents[2]
#: values of every kind, as the grammar's terminals have them
VALUES = (
    "0,0", "120,45", "43.7120N,90.6210W", "44 6.3275N,92 17.9018W", "8in", "6in..14in", "25 yd", "3m", "2 ac", "25%",
    "3 of 4", "40 per acre", "110 sqft/ac", "2 floz", "1 qt/ac", "8 mph", "2 hours", "2026-11-07", "02-29",
    "2026-11-07..2027-01-18", "10-01..02-15", "NW", "N45E", "S12-30W", "N12d30'15\"E", "270deg", "1.5W", '"x"', " \\\n ",
    "# c", "\r\n", "\t", "a", "a-b", "entry/a-rule", "a-rule.limit", "-1", "999999", "0.0001", "\u202e", "\ufeff", "<=",
)  # fmt: skip


def plan_seeds() -> list[bytes]:
    """The examples in pieces of about as much as a fuzzer takes, and the plans of the rules' own examples."""
    pieces = []
    for path in sorted((ROOT / "examples").glob("*.habitat")):
        lines = re.split(r"(?m)^(?=[a-z])", path.read_text(encoding="utf-8"))
        piece = ""
        for block in lines:
            if len(piece) + len(block) > 700 and piece:
                pieces.append(piece)
                piece = ""
            piece += block
        pieces.append(piece)
    for path in sorted((ROOT / "rules").glob("*/*.rules"))[::3]:
        found = re.search(
            r"(?ms)^broken.*?\n(.*?)(?=^(?:kept|mended|broken|rule)\b|\Z)", path.read_text(encoding="utf-8")
        )
        if found:
            pieces.append(re.sub(r"(?m)^  ?", "", found[1]))
    return [piece.encode() for piece in pieces]


def rule_seeds() -> list[bytes]:
    """The rules of the packs without most of their examples, for those are plans."""
    seeds = []
    for path in sorted([*(ROOT / "rules").glob("*/*.rules"), *(ROOT / "examples/packs").glob("*/*.rules")]):
        text = path.read_text(encoding="utf-8")
        head, *examples = re.split(r"(?m)^(?=(?:broken|kept|mended)\b)", text)
        seeds.append(head.encode())
        if examples:
            seeds.append((head + min(examples, key=len)).encode())
    return seeds


def exchange_seeds() -> list[bytes]:
    """The smaller examples as GPX, KML and GeoJSON, cut at what a fuzzer takes, and one of each that is whole."""
    grammar = files.grammar("plan", plan_grammar)
    whole = 'plan "S"\n  anchor 41.8830N,91.2260W\nplace gate\n  at 0,0\npath lane "Way"\n  use entry\n  line 0,0 9,9\n'
    whole += "pocket oak\n  outline 0,0 40,0 40,40\n  bed 9,9\n"
    scene = Scene(read_plan(Source("seed.habitat", whole), grammar, find_nothing))
    gpx = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="40" lon="-93"><name>Gate</name></wpt>'
    gpx += (
        '<trk><name>Lane</name><trkseg><trkpt lat="40" lon="-93"/><trkpt lat="40.01" lon="-93"/></trkseg></trk></gpx>'
    )
    made = [write(contents(scene)).encode() for write in forms.WRITTEN.values()]
    return [*made, gpx.encode(), b'{"type": "Point", "coordinates": [-93, 40]}']


def words_of(grammar: Grammar) -> list[str]:
    """Words and signs of a language, and values of each kind."""
    return [*grammar.words.values(), *(f"\n  {word} " for word in grammar.words.values()), *VALUES]


def plan_words() -> list[str]:
    return words_of(files.grammar("plan", plan_grammar))


def rule_words() -> list[str]:
    return words_of(files.grammar("rules", rule_grammar))


def exchange_words() -> list[str]:
    tags = ("gpx", "wpt", "trk", "trkseg", "trkpt", "rte", "rtept", "name", "desc", "cmt", "type", "extensions", "kml",
            "Document", "Folder", "Placemark", "Point", "LineString", "Polygon", "outerBoundaryIs", "innerBoundaryIs",
            "LinearRing", "coordinates", "MultiGeometry", "ExtendedData", "Data", "value", "ScreenOverlay")  # fmt: skip
    keys = ("type", "features", "geometry", "geometries", "properties", "coordinates", "crs", "name", "noun", "Feature",
            "FeatureCollection", "GeometryCollection", "MultiPoint", "MultiLineString", "MultiPolygon")  # fmt: skip
    return [
        *(f"<{tag}>" for tag in tags), *(f"</{tag}>" for tag in tags), *(f'"{key}": ' for key in keys),
        'lat="40" ', 'lon="-93" ', "<![CDATA[", "]]>", "<!--", "<!DOCTYPE", "&amp;", "&#x202e;", "\\u202e", "1e999", "NaN",
        "null", "[[", "]]", "PK\x03\x04",
    ]  # fmt: skip
