" Made of the language's own words by tests/editor/syntax_files.py; do not edit it, make it again.
autocmd BufRead,BufNewFile *.habitat setfiletype habitat
autocmd BufRead,BufNewFile *.rules setfiletype habitat-rules
