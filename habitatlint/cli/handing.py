"""Commands of what is handed over and taken in, declared: `work`, `tally`, `winds`, `compare`, `import`, `export`.

Each is a name, its options and one call; what it does stands in a file of its own, imported when it is run.
"""

from __future__ import annotations

import click

#: commands, in the order in which the help lists them
COMMANDS: list[click.Command] = []
