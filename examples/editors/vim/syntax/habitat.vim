" Made of the language's own words by tests/editor/syntax_files.py; do not edit it, make it again.
if exists("b:current_syntax") | finish | endif
syntax match habitatValue /\<\%(thousand-board-feet\|hack-and-squirt\|international\|neighbour\|treatment\|as-built\|boundary\|building\|computed\|corridor\|crossing\|firewood\|leaf-out\|magnetic\|scribner\|standing\|against\|because\|bedding\|evening\|landing\|meeting\|morning\|natural\|parking\|planned\|planted\|release\|vehicle\|version\|warning\|around\|beside\|browse\|canopy\|design\|girdle\|hollow\|logger\|scrape\|screen\|toward\|travel\|along\|block\|blown\|bucks\|cover\|doyle\|entry\|error\|every\|fence\|frill\|hinge\|leave\|litre\|right\|sound\|split\|storm\|trail\|until\|water\|width\|away\|bank\|cord\|crop\|dead\|does\|done\|down\|edge\|exit\|fell\|floz\|from\|gate\|hour\|hung\|left\|logs\|mast\|none\|note\|pack\|plot\|road\|then\|tree\|true\|wire\|work\|all\|and\|any\|bed\|cut\|gal\|off\|per\|rub\|yes\|at\|by\|ft\|no\|on\|pt\|qt\|to\|yd\|m\)\%([^a-z0-9-]\|$\)\@=/
syntax match habitatNumber /\%(\w\|-\)\@<!-\?\d\+\%(\.\d\+\)\?\%( \?\%(per acre\|floz\/ac\|sqft\/ac\|gal\/ac\|per ha\|sqm\/ha\|hours\|mL\/ha\|pt\/ac\|qt\/ac\|weeks\|years\|L\/ha\|days\|floz\|hour\|sqft\|sqyd\|week\|year\|day\|deg\|gal\|kmh\|m\/s\|mph\|sqm\|ac\|cm\|ft\|ha\|in\|kn\|mL\|pt\|qt\|yd\|L\|m\)\|%\)\?\%(\w\|-\)\@!/
syntax match habitatNumber /\<\%(ENE\|ESE\|NNE\|NNW\|SSE\|SSW\|WNW\|WSW\|NE\|NW\|SE\|SW\|E\|N\|S\|W\)\>/
syntax match habitatNumber /\<[NS]\d\+\%(\.\d\+\)\?[EW]\>/
syntax match habitatProperty /^\s\+\zs\%(stump-treatment\|crown-ratio\|crown-width\|declination\|tree-height\|basal-area\|cut-height\|condition\|corridors\|accuracy\|controls\|currency\|distance\|drawn-by\|leaf-out\|log-rule\|per-hack\|training\|aquatic\|barrier\|density\|forbids\|offsite\|outline\|picture\|purpose\|reentry\|spacing\|species\|anchor\|height\|hunted\|market\|method\|people\|period\|radius\|source\|stumps\|toward\|after\|alive\|alone\|class\|count\|cover\|falls\|found\|hours\|label\|leave\|north\|range\|reach\|shoot\|stage\|state\|units\|width\|winds\|calm\|cost\|crop\|date\|done\|fall\|from\|gear\|keep\|kind\|lean\|line\|most\|note\|part\|pays\|side\|step\|text\|wood\|year\|bed\|dbh\|for\|mix\|sit\|use\|why\|at\|by\|in\|of\|to\)\%([^a-z0-9-]\|$\)\@=/
syntax match habitatNoun /^\%(inspection\|treatment\|boundary\|planting\|include\|opening\|release\|setback\|hazard\|pocket\|timber\|drain\|level\|patch\|place\|rates\|slope\|stand\|storm\|trees\|waive\|winds\|core\|crew\|food\|path\|plan\|sign\|task\|tree\|work\|mix\|row\|set\|use\)\%([^a-z0-9-]\|$\)\@=/
syntax region habitatText start=/"/ skip=/\\./ end=/"/
syntax match habitatComment /#.*/
highlight default link habitatNoun Statement
highlight default link habitatProperty Identifier
highlight default link habitatValue Constant
highlight default link habitatNumber Number
highlight default link habitatText String
highlight default link habitatComment Comment
setlocal commentstring=#\ %s
let b:current_syntax = "habitat"
