" Made of the language's own words by tests/editor/syntax_files.py; do not edit it, make it again.
if exists("b:current_syntax") | finish | endif
syntax match habitatrulesValue /\<\%(thousand-board-feet\|common-practice\|hack-and-squirt\|international\|regulation\|extension\|neighbour\|treatment\|analogue\|as-built\|boundary\|building\|computed\|corridor\|crossing\|firewood\|leaf-out\|magnetic\|scribner\|smallest\|standing\|against\|because\|bedding\|evening\|journal\|landing\|largest\|meeting\|morning\|natural\|parking\|planned\|planted\|release\|vehicle\|version\|warning\|around\|beside\|browse\|canopy\|design\|girdle\|hollow\|logger\|scrape\|screen\|toward\|travel\|within\|after\|along\|block\|blown\|bucks\|clear\|count\|cover\|doyle\|entry\|error\|every\|fence\|frill\|hinge\|leave\|litre\|right\|share\|sound\|split\|storm\|trail\|until\|water\|width\|away\|bank\|cord\|crop\|dead\|does\|done\|down\|edge\|exit\|fell\|floz\|from\|gate\|hour\|hung\|left\|logs\|many\|mast\|none\|note\|pack\|plot\|road\|then\|tree\|true\|when\|wire\|with\|work\|all\|and\|any\|bed\|cut\|for\|gal\|not\|off\|per\|rub\|say\|set\|sum\|yes\|at\|by\|ft\|in\|is\|no\|of\|on\|or\|pt\|qt\|to\|yd\|m\)\%([^a-z0-9-]\|$\)\@=/
syntax match habitatrulesNumber /\%(\w\|-\)\@<!-\?\d\+\%(\.\d\+\)\?\%( \?\%(per acre\|floz\/ac\|sqft\/ac\|gal\/ac\|per ha\|sqm\/ha\|hours\|mL\/ha\|pt\/ac\|qt\/ac\|weeks\|years\|L\/ha\|days\|floz\|hour\|sqft\|sqyd\|week\|year\|day\|deg\|gal\|kmh\|m\/s\|mph\|sqm\|ac\|cm\|ft\|ha\|in\|kn\|mL\|pt\|qt\|yd\|L\|m\)\|%\)\?\%(\w\|-\)\@!/
syntax match habitatrulesNumber /\<\%(ENE\|ESE\|NNE\|NNW\|SSE\|SSW\|WNW\|WSW\|NE\|NW\|SE\|SW\|E\|N\|S\|W\)\>/
syntax match habitatrulesNumber /\<[NS]\d\+\%(\.\d\+\)\?[EW]\>/
syntax match habitatrulesProperty /^\s\+\zs\%(stump-treatment\|crown-ratio\|crown-width\|declination\|tree-height\|basal-area\|cut-height\|builds-on\|condition\|corridors\|accuracy\|controls\|currency\|distance\|drawn-by\|formerly\|leaf-out\|log-rule\|per-hack\|requires\|training\|aquatic\|barrier\|because\|density\|forbids\|licence\|measure\|offsite\|outline\|picture\|purpose\|reentry\|spacing\|species\|version\|anchor\|author\|height\|hunted\|leaves\|market\|method\|people\|period\|radius\|remove\|report\|safety\|source\|stumps\|toward\|about\|after\|alive\|alone\|class\|count\|cover\|falls\|found\|hours\|label\|leave\|level\|limit\|needs\|north\|range\|reach\|shoot\|split\|stage\|state\|takes\|title\|units\|where\|width\|winds\|also\|calm\|cost\|crop\|date\|done\|each\|fall\|from\|gear\|keep\|kind\|lean\|line\|list\|many\|mark\|mend\|most\|move\|note\|part\|pays\|side\|step\|text\|turn\|wood\|year\|add\|bed\|dbh\|for\|mix\|per\|say\|set\|sit\|use\|why\|at\|by\|in\|of\|to\)\%([^a-z0-9-]\|$\)\@=/
syntax match habitatrulesNoun /^\%(broken\|mended\|kept\|pack\|rule\)\%([^a-z0-9-]\|$\)\@=/
syntax region habitatrulesText start=/"/ skip=/\\./ end=/"/
syntax match habitatrulesComment /^\s*\^\+.*/
syntax match habitatrulesComment /#.*/
highlight default link habitatrulesNoun Statement
highlight default link habitatrulesProperty Identifier
highlight default link habitatrulesValue Constant
highlight default link habitatrulesNumber Number
highlight default link habitatrulesText String
highlight default link habitatrulesComment Comment
setlocal commentstring=#\ %s
let b:current_syntax = "habitat-rules"
